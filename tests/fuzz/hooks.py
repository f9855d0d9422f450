"""What a fuzzer cannot guess: which study, releases and pictures there are, receipts, and documents
that keep every rule. Of values that have the right form, three in four are put in the place of
others that the service knows; what has not the right form is left as it is."""

import atexit
import collections
import json
import os
import pathlib
import re
import urllib.request
import zlib

import schemathesis

SERVICE = os.environ["SERVICE"]
STUDY = os.environ["STUDY"]
CONTRIBUTIONS = f"{SERVICE}/api/v1/studies/{STUDY}/contributions"
N_HOLDERS = 24


def read(path):
    with urllib.request.urlopen(SERVICE + path) as answer:
        return answer.read().decode()


def sent(address, document):
    body = json.dumps(document).encode()
    request = urllib.request.Request(address, body, {"content-type": "application/json"})
    with urllib.request.urlopen(request) as answer:
        return json.load(answer)


def for_this_study(document):
    consent = {**document["consent"], "text_version": TEXT_VERSION}
    return {**document, "study": STUDY, "consent": consent}


TEXT_VERSION = json.loads(read("/api/v1/studies"))["studies"][0]["consent"]["text_version"]
VALID = [
    json.loads(path.read_text())
    for path in sorted(pathlib.Path("fixtures/contributions/valid").glob("*.json"))
    if not path.name.endswith(".flags.json")
]
RECEIPTS = [sent(CONTRIBUTIONS, for_this_study(document)) for document in VALID[:N_HOLDERS]]
# What is withdrawn cannot be mended, so some are for the one and some for the other.
HELD = [held["contribution"] for held in RECEIPTS]
TO_WITHDRAW, TO_MEND = HELD[: N_HOLDERS // 3], HELD[N_HOLDERS // 3 :]
PLANS = [
    sent(f"{SERVICE}/api/v1/studies/{STUDY}/plans", {"kind": kind})["code"]
    for kind in ["two_sessions", "four_sessions"] * 3
]
PICTURES = sorted(set(re.findall(r"/pictures/([^\"?]+)\.svg", read(f"/studies/{STUDY}"))))
assert PICTURES, "the page leads to its pictures"

# Of each parameter of an address the form and what there is.
KNOWN = {
    "study": (r"[a-z0-9]+(-[a-z0-9]+)*", [STUDY]),
    "number": (r"[0-9]+", [1, 2]),
    "contribution": (r"[0-9a-f-]{36}", TO_MEND),
    "code": (r"[0-9A-HJKMNP-TV-Z]{12}", PLANS),
    "picture": (r"[a-z0-9_-]+", PICTURES),
    "name": (r"[a-z0-9_-]+", PICTURES),
}


COUNTS = collections.defaultdict(collections.Counter)


@schemathesis.hook
def after_call(context, case, response):
    COUNTS[case.operation.label][response.status_code] += 1


@atexit.register
def tell_counts():
    """How often each operation was answered with which status."""
    with open(os.environ["COUNTS"], "w") as out:
        for label, counts in sorted(COUNTS.items()):
            told = ", ".join(f"{status}: {count}" for status, count in sorted(counts.items()))
            succeeded = any(200 <= status < 300 for status in counts)
            print(f"{label}  {told}{'' if succeeded else '  NEVER SUCCEEDED'}", file=out)


def lot(value):
    """A number that is always the same for the same value."""
    return zlib.crc32(repr(value).encode())


@schemathesis.hook
def map_path_parameters(context, path_parameters):
    known = dict(path_parameters or {})
    for name, value in known.items():
        form, there = KNOWN.get(name, ("(?!)", []))
        if name == "contribution" and context.operation.method == "delete":
            there = TO_WITHDRAW
        drawn = lot((name, value))
        if re.fullmatch(form, str(value)) and drawn % 4:
            known[name] = there[drawn // 4 % len(there)]
    return known


@schemathesis.hook
def map_body(context, body):
    if not isinstance(body, dict) or "sessions" not in body:
        return body
    drawn = lot(body)
    # A document that keeps every rule is not found by chance, and to mend also takes the right
    # contribution with its receipt: so often that a short run does it every time.
    n_sound = 6 if context.operation.method == "put" else 4
    if drawn % 8 < n_sound:
        return for_this_study(VALID[drawn // 8 % len(VALID)])
    if drawn % 8 == 6 or not isinstance(body.get("consent"), dict):
        return body
    return for_this_study(body)


@schemathesis.auth(refresh_interval=None)
class Holder:
    """A receipt for every operation that takes one: that of the contribution in the address, where
    there is one. What happens without it, or with nonsense, the fuzzer tries by itself."""

    def get(self, case, context):
        wanted = (case.path_parameters or {}).get("contribution")
        drawn = RECEIPTS[lot((wanted, repr(case.body))) % len(RECEIPTS)]
        held = (held for held in RECEIPTS if held["contribution"] == wanted)
        return next(held, drawn)["receipt"]

    def set(self, case, data, context):
        if case.operation.definition.raw.get("security"):
            case.headers["Authorization"] = f"Receipt {data}"
