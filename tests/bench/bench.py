"""Runs the parts and prints what came of them; see `run` beside this file."""

import argparse
import importlib
import platform
import shutil
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version

import side

PARTS = {
    "pooling": "pooling.beside_peers",
    "curves": "pooling.curves",
    "analyses": "pooling.many_analyses",
    "schema": "schema.beside_peer",
    "serving": "serving.beside_peer",
    "writing": "writing.beside_peer",
    "page": "page.weighed",
}


def programs():
    """What takes part, with versions; what is not there is left out."""
    for name in ("numpy", "statsmodels", "jsonschema"):
        try:
            yield f"{name} {version(name)}"
        except PackageNotFoundError:
            pass
    for command in (("rustc", "--version"), ("nginx", "-v"), ("chromium", "--version")):
        if shutil.which(command[0]):
            said = subprocess.run(command, capture_output=True, text=True, check=False)
            yield (said.stdout or said.stderr).strip().splitlines()[0]


def machine():
    """On what the tables were made."""
    with open("/proc/cpuinfo", encoding="utf-8") as info:
        lines = info.readlines()
    model = next(line.split(":")[1].strip() for line in lines if line.startswith("model name"))
    cores = sum(line.startswith("processor") for line in lines)
    print(f"{model}, {cores} cores, Linux {platform.release()}; Python {platform.python_version()}; ", end="")
    print(f"{'; '.join(programs())}.\n", flush=True)


def main():
    """Fails when two sides that should agree do not."""
    parser = argparse.ArgumentParser(prog="tests/bench/run")
    parser.add_argument("part", nargs="*", choices=[[], *PARTS], help="every one unless some are named")
    parser.add_argument("--repetitions", type=int, default=9, help="turns that count")
    parser.add_argument("--most", type=int, default=1_000_000, help="most effects of an analysis")
    parser.add_argument("--build", default="release", help="which build of ours, below target/")
    options = parser.parse_args()
    side.BUILD = options.build
    side.MOST = options.most
    machine()
    for name in options.part or PARTS:
        print(f"## {name}\n", flush=True)
        module, function = PARTS[name].split(".")
        getattr(importlib.import_module(module), function)(side.Ours(), options.repetitions)
    return 1 if side.differences else 0


if __name__ == "__main__":
    sys.exit(main())
