"""Reads the tables of a running demo with the lines of the README, and pools every analysis anew.

    python tests/notebook/pool.py 127.0.0.1:8080

The estimators are written here from their papers and share nothing with the program: DerSimonian &
Laird 1986 (equations 8 and 9), REML by the score of the restricted likelihood (Viechtbauer 2005,
equation 21), found by bisection inside a bracket from a scan.
"""

import pathlib
import re
import sys

import numpy as np
import pandas as pd
from scipy.optimize import brentq

README = pathlib.Path(__file__).parents[2] / "README.md"
BY = ["outcome", "stroke", "direction", "band"]
# Figures are compared in units of their own standard error, variances relative to theirs.
CLOSE = 1e-8


def of_readme(address):
    """What the README's Python leaves behind, run as it stands but for the address of the demo."""
    (lines,) = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    assert len(lines.splitlines()) == 3, lines
    assert "http://127.0.0.1:8080/" in lines, lines
    left = {}
    exec(lines.replace("127.0.0.1:8080", address), left)
    return left["rows"]


def weighted(estimate, variance, tau2):
    """Mean, standard error and Q of effects under a between-effects variance."""
    weight = 1 / (variance + tau2)
    mean = (weight * estimate).sum() / weight.sum()
    return mean, weight.sum() ** -0.5, (weight * (estimate - mean) ** 2).sum()


def dersimonian_laird(estimate, variance):
    weight = 1 / variance
    _, _, q = weighted(estimate, variance, 0)
    over = weight.sum() - (weight**2).sum() / weight.sum()
    return max(0, (q - (len(estimate) - 1)) / over), q


def reml(estimate, variance):
    def log_likelihood(tau2):
        total = variance + tau2
        _, _, q = weighted(estimate, variance, tau2)
        return -(np.log(total).sum() + np.log((1 / total).sum()) + q) / 2

    def score(tau2):
        weight = 1 / (variance + tau2)
        mean, _, _ = weighted(estimate, variance, tau2)
        leverage = weight.sum() - (weight**2).sum() / weight.sum()
        return ((weight * (estimate - mean)) ** 2).sum() - leverage

    scan = np.concatenate([[0], np.geomspace(1e-6, 1e3, 400) * np.median(variance)])
    best = int(np.argmax([log_likelihood(tau2) for tau2 in scan]))
    if best == 0 and score(0) <= 0:
        return 0.0
    low, high = scan[max(best - 1, 0)], scan[best + 1]
    return brentq(score, low, high, xtol=1e-14 * high, rtol=1e-14)


def check(name, actual, expected, scale):
    if not abs(actual - expected) <= CLOSE * scale:
        sys.exit(f"{name}: {actual} from the rows, {expected} in the pooled table")


def main(address):
    base = f"http://{address}/api/v1/studies/looser-or-tighter/aggregate/"
    rows = pd.read_csv(base + "rows.csv")
    lines = pd.read_json(base + "rows.ndjson", lines=True, precise_float=True)
    assert list(rows.columns) == list(lines.columns)
    numbers = ["group", "pair", "gap_lb", "estimate", "variance", "imputed_variance"]
    for name in numbers:
        assert np.allclose(rows[name], lines[name], rtol=1e-15, atol=0), name
    read = of_readme(address)
    assert list(read.columns) == list(rows.columns) and len(read) == len(rows)
    assert np.allclose(read["estimate"], rows["estimate"], rtol=1e-12, atol=0)

    pooled = pd.read_csv(base + "pooled.csv")
    shown = pooled[pooled["withheld"].isna()]
    assert 20 < len(shown), "the demo publishes more"
    for _, line in shown.iterrows():
        name = " ".join(line[BY])
        cell = rows[(rows[BY] == line[BY]).all(axis=1)]
        if line["basis"] == "planned_pairs":
            cell = cell[cell["planned"]]
        assert len(cell) == line["k"] and cell["group"].nunique() == line["players"], name
        estimate, variance = (cell[part].to_numpy(float) for part in ("estimate", "variance"))
        tau2_dl, q = dersimonian_laird(estimate, variance)
        typical = np.median(variance)
        check(f"{name} q", q, line["q"], max(1, q))
        check(f"{name} dl_tau2", tau2_dl, line["dl_tau2"], typical)
        tau2_reml = reml(estimate, variance)
        check(f"{name} tau2", tau2_reml, line["tau2"], typical)
        for model, tau2 in [("fixed", 0), ("dl", tau2_dl), ("reml", tau2_reml)]:
            mean, se, _ = weighted(estimate, variance, tau2)
            check(f"{name} {model}_estimate", mean, line[f"{model}_estimate"], se)
            check(f"{name} {model}_se", se, line[f"{model}_se"], se)
        check(f"{name} estimate", line["estimate"], line["reml_estimate"], line["se"])
    print(f"{len(rows)} rows read; {len(shown)} analyses agree")


main(sys.argv[1])
