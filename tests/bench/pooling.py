"""Pooling beside statsmodels and numpy, on the same numbers."""

import tempfile
import warnings
from pathlib import Path

import numpy as np
from statsmodels.stats.meta_analysis import combine_effects

import side

ALIKE = 1e-8


def sizes():
    """Numbers of effects."""
    return [k for k in (1_000, 10_000, 100_000, 1_000_000) if k <= side.MOST]


def reml(estimates, variances):
    """Restricted maximum likelihood by Fisher scoring (Harville 1977), in whole columns."""
    tau_squared = max(0.0, estimates.var(ddof=1) - variances.mean())
    for _ in range(100):
        weights = 1 / (variances + tau_squared)
        total = weights.sum()
        mean = weights @ estimates / total
        squares = weights * weights
        of_squares = squares.sum()
        score = squares @ (estimates - mean) ** 2 - (total - of_squares / total)
        information = of_squares - 2 * (squares @ weights) / total + (of_squares / total) ** 2
        before, tau_squared = tau_squared, max(0.0, tau_squared + score / information)
        if abs(tau_squared - before) <= 1e-10 * tau_squared:
            break
    return tau_squared, mean


def paule_mandel(estimates, variances):
    """The iterated estimator of statsmodels.

    It stops where |Q - (k - 1)| is below `atol`. With the default, 1e-5, rounding makes Q - (k - 1)
    negative before that from about a hundred thousand effects on, and 0 is what comes out.
    """
    found = combine_effects(
        estimates, variances, method_re="iterated", atol=1e-9 * len(estimates)
    )
    return found.tau2, found.mean_effect_re


def columns_of(ours, k):
    """Effects that our side made up, from the file it wrote."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "effects"
        ours.ask("effects", k, file)
        return np.fromfile(file, dtype="<f8").reshape(2, k)


def beside_peers(ours, repetitions):
    """The same estimates from the same numbers, by turns."""
    warnings.simplefilter("ignore")
    rows, bounds = [], []
    for k in sizes():
        estimates, variances = columns_of(ours, k)
        seconds, made = side.in_turns(
            repetitions,
            order=lambda: ours.ask("order"),
            ours_reml=lambda: ours.ask("reml"),
            numpy=lambda: side.timed(lambda: reml(estimates, variances)),
            ours_pm=lambda: ours.ask("paule_mandel"),
            statsmodels=lambda: side.timed(lambda: paule_mandel(estimates, variances)),
            pool=lambda: ours.ask("pool"),
            sum=lambda: ours.ask("sum"),
            division=lambda: ours.ask("division"),
        )
        for name, mine, peer in (
            ("REML, numpy", "ours_reml", "numpy"),
            ("Paule-Mandel, statsmodels", "ours_pm", "statsmodels"),
        ):
            worst = max(abs(a - b) / abs(b) for a, b in zip(made[mine], made[peer]))
            with_order = [a + b for a, b in zip(seconds[mine], seconds["order"])]
            rows.append(
                (
                    f"{k:,}",
                    name,
                    side.both(seconds[mine]),
                    side.both(seconds[peer]),
                    f"{side.ratio(seconds[peer], seconds[mine]):.1f}",
                    f"{side.ratio(seconds[peer], with_order):.1f}",
                    f"{worst:.0e}",
                    side.agree(f"{name}, {k} effects", worst <= ALIKE),
                )
            )
        per_effect = {name: min(took) / k * 1e9 for name, took in seconds.items()}
        columns = ("sum", "division", "ours_reml", "ours_pm", "pool", "order")
        bounds.append((f"{k:,}", *(f"{per_effect[name]:.2f}" for name in columns)))
    print("Milliseconds, smallest / median; ratios of the smallest, peer to ours.\n")
    head = ("k", "what", "ours", "peer", "ratio", "with ordering", "largest difference", "within 1e-8")
    side.table(head, rows)
    print("Nanoseconds an effect, smallest: what bounds it, and how near it comes.\n")
    head = ("k", "reading both columns", "a division each", "REML", "Paule-Mandel", "everything", "ordering")
    side.table(head, bounds)


def curves(ours, repetitions):
    """How the cost of pooling grows."""
    rows = []
    for k in sizes():
        ours.ask("effects", k)
        names = ("order", "order_clustered", "reml", "pool", "pool_clustered", "sum", "division")
        seconds, _ = side.in_turns(
            repetitions, **{name: (lambda name=name: ours.ask(name)) for name in names}
        )
        took = {name: min(values) for name, values in seconds.items()}
        bound = max(took["sum"], took["division"])
        rows.append(
            (
                f"{k:,}",
                *(f"{took[name] / k * 1e9:.1f}" for name in names[:5]),
                f"{took['reml'] / bound:.0f}",
                f"{took['pool'] / bound:.0f}",
            )
        )
    print("Nanoseconds an effect, smallest; passes are times what reading or dividing once takes.\n")
    head = ("k", "ordering", "with players", "REML", "everything", "and CR2", "passes, REML", "passes, everything")
    side.table(head, rows)


def many_analyses(ours, repetitions):
    """Sixty analyses of two hundred thousand effects, as of every outcome, class and band."""
    rows = []
    for threads in (1, 2):
        seconds, _ = side.in_turns(
            min(repetitions, 3), ours=lambda: ours.ask("analyses", 60, 200_000, threads)
        )
        rows.append((threads, side.both(seconds["ours"], 1), f"{min(seconds['ours']) / 12e6 * 1e9:.0f}"))
    print("12,000,000 effects of players in 60 analyses, each ordered and pooled in every way, CR2 too.\n")
    side.table(("threads", "seconds, smallest / median", "nanoseconds an effect"), rows)
