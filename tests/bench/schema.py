"""The corpus of contributions against their schema, beside another validator."""

import json
import re

from jsonschema import Draft202012Validator, FormatChecker, ValidationError
from jsonschema.validators import extend

import side


def pattern(validator, wanted, instance, _):
    """As JSON Schema has it, where `$` is the end; in Python it is also before a last line break."""
    if validator.is_type(instance, "string"):
        has_end = wanted.endswith("$") and not wanted.endswith("\\$")
        ended = wanted[:-1] + "\\Z" if has_end else wanted
        if not re.search(ended, instance):
            yield ValidationError(f"{instance!r} does not match {wanted!r}")


def beside_peer(ours, repetitions):
    """The same verdicts on the same documents, by turns."""
    corpus = side.ROOT / "fixtures/contributions"
    with open(side.ROOT / "schema/contribution.v1.schema.json", encoding="utf-8") as file:
        mended = extend(Draft202012Validator, {"pattern": pattern})
        validator = mended(json.load(file), format_checker=FormatChecker())
    _, verdicts = ours.ask("schema", corpus)
    documents = {name: json.loads((corpus / name).read_bytes()) for name in verdicts}

    def peer():
        """Every fault, as ours finds every fault."""
        return {name: not list(validator.iter_errors(one)) for name, one in documents.items()}

    seconds, made = side.in_turns(
        repetitions, ours=lambda: ours.ask("schema", corpus), peer=lambda: side.timed(peer)
    )
    differ = [name for name in verdicts if made["ours"][name] != made["peer"][name]]
    n = len(documents)
    agreed = side.agree(f"verdicts on {differ}", not differ)
    print(f"{n} documents, {sum(made['ours'].values())} of them taken. The same verdicts: {agreed}.\n")
    side.table(
        ("microseconds a document, smallest / median", "ours", "jsonschema (Python)", "ratio"),
        [
            (
                "every fault found",
                side.both(seconds["ours"], 1e6 / n, 1),
                side.both(seconds["peer"], 1e6 / n, 1),
                f"{side.ratio(seconds['peer'], seconds['ours']):.0f}",
            )
        ],
    )
