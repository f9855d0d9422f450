"""Holds Data Packages against the standard with frictionless, which reads version 2 of it.

    python tests/notebook/validate.py http://127.0.0.1:8080/api/v1/studies/looser-or-tighter/aggregate …

Each address is downloaded into a folder: descriptor, tables, bytes, hashes, types, constraints,
primary and foreign keys are checked there. To know that the validator looks, every package is
spoiled in several ways and must be found out.
"""

import json
import pathlib
import sys
import tempfile
import urllib.request

import frictionless


def download(base, folder):
    def fetch(name):
        with urllib.request.urlopen(f"{base}/{name}", timeout=60) as answer:
            (folder / name).write_bytes(answer.read())

    fetch("datapackage.json")
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    for resource in package["resources"]:
        fetch(resource["path"])
    return package


def faults(folder):
    """What is wrong with the package in a folder, a sentence each."""
    report = frictionless.validate(str(folder / "datapackage.json"))
    return [message for (message,) in report.flatten(["message"])]


def spoil(folder, package):
    """Writes the package spoiled in one way after the other, and says how."""
    descriptor = folder / "datapackage.json"

    def with_descriptor(change):
        spoiled = json.loads(json.dumps(package))
        change(spoiled)
        descriptor.write_text(json.dumps(spoiled), "utf-8")

    def pooled(spoiled):
        return next(one for one in spoiled["resources"] if one["name"] == "pooled")

    def loosely(spoiled):
        for resource in spoiled["resources"]:
            del resource["hash"], resource["bytes"]

    def of_field(change):
        def changed(spoiled):
            loosely(spoiled)
            change(pooled(spoiled)["schema"]["fields"][0])

        return changed

    with_descriptor(lambda spoiled: pooled(spoiled).update(hash="sha256:" + "0" * 64))
    yield "another hash"
    with_descriptor(lambda spoiled: pooled(spoiled).update(bytes=1))
    yield "another size"
    with_descriptor(of_field(lambda field: field.update(name="result")))
    yield "another column"
    with_descriptor(of_field(lambda field: field["constraints"].update(enum=["volume"])))
    yield "a word that is not listed"
    with_descriptor(of_field(lambda field: field.update(type="number")))
    yield "another type"
    with_descriptor(lambda spoiled: spoiled["resources"][0].pop("name"))
    yield "a resource without a name"
    with_descriptor(lambda spoiled: spoiled.update(created="yesterday"))
    yield "a time that is none"
    with_descriptor(lambda spoiled: spoiled.update(licenses=[{"title": "mine"}]))
    yield "a licence without name or address"

    table = folder / "pooled.csv"
    sound = table.read_bytes()
    with_descriptor(loosely)
    lines = sound.split(b"\r\n")
    table.write_bytes(b"\r\n".join([lines[0], lines[1], *lines[1:]]))
    yield "a line twice, which the primary key forbids"
    if (folder / "rows.csv").read_bytes().count(b"\r\n") > 1:
        table.write_bytes(lines[0] + b"\r\n")
        yield "rows without their analysis, which the foreign key forbids"
    table.write_bytes(sound)


def main(bases):
    for base in bases:
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(name)
            package = download(base, folder)
            found = faults(folder)
            if found:
                sys.exit(f"{base}: " + "\n".join(found))
            n_ways = 0
            for way in spoil(folder, package):
                n_ways += 1
                if not faults(folder):
                    sys.exit(f"{base}: the validator does not see {way}")
            print(f"valid: {base}, and spoiled in {n_ways} ways it is not")


main(sys.argv[1:])
