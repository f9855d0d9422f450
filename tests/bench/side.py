"""What every part needs: our side, turns, and tables."""

import json
import os
import socket
import statistics
import subprocess
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
STUDY = "looser-or-tighter"

# Which build of ours, and the most effects of an analysis.
BUILD = "release"
MOST = 1_000_000

# What should agree and does not, in words.
differences = []


def program():
    """The built program."""
    return ROOT / "target" / BUILD / "tautpool"


def agree(what, is_so):
    """Notes a disagreement, and says so in a table."""
    if not is_so:
        differences.append(what)
        print(f"{what} disagree.\n")
    return "yes" if is_so else "NO"


class Ours:
    """The example `bench`, asked a line at a time."""

    def __init__(self):
        self.process = subprocess.Popen(
            [ROOT / "target" / BUILD / "examples/bench"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, *words):
        """Seconds, and what was made."""
        print(*words, file=self.process.stdin, flush=True)
        answer = json.loads(self.process.stdout.readline())
        return answer["seconds"], answer["made"]


def timed(what):
    """Seconds that something took, and what it made."""
    began = time.perf_counter()
    made = what()
    return time.perf_counter() - began, made


def in_turns(repetitions, **sides):
    """Lets each side have its turn, again and again; the first round warms up and does not count.

    A side is a function that gives seconds and what it made. Returns the seconds of each and what it
    made last.
    """
    seconds = {name: [] for name in sides}
    made = {}
    for turn in range(repetitions + 1):
        for name, side in sides.items():
            took, made[name] = side()
            if turn:
                seconds[name].append(took)
    return seconds, made


def both(seconds, unit=1e3, digits=2):
    """Smallest and median in thousandths of a second."""
    low, middle = min(seconds) * unit, statistics.median(seconds) * unit
    return f"{low:.{digits}f} / {middle:.{digits}f}"


def ratio(peer, ours):
    """How many times as long the peer took, by the smallest: whatever else ran disturbs it least."""
    return min(peer) / min(ours)


def table(head, rows):
    """A Markdown table."""
    print(f"| {' | '.join(head)} |")
    print(f"|{'---|' * len(head)}")
    for row in rows:
        print(f"| {' | '.join(str(cell) for cell in row)} |")
    print(flush=True)


def free_port():
    """A port of this machine that nobody listens at."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


class Running:
    """The program, serving at an address of this machine until the end of a `with`."""

    def __init__(self, *arguments, workers=2):
        environment = {**os.environ, "TAUTPOOL_REQUESTS_A_MINUTE": "0", "TAUTPOOL_WORKERS": str(workers)}
        self.process = subprocess.Popen(
            [program(), *arguments, "--listen", "127.0.0.1:0"],
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for line in self.process.stdout:
            if "http://" in line:
                address = line.split("http://")[1].split()[0].split("/")[0]
                if not line.startswith("Figures on"):
                    self.address = address
                    return
                self.figures = address
        raise RuntimeError("the program said no address")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait()


def folder_with_study(folder):
    """A data folder with the demo's study, open, with batches as large as they may be."""
    study = json.loads((ROOT / "fixtures/demo/study.json").read_text(encoding="utf-8"))
    study["protocol"]["batch_players"] = 1_000
    said = [program(), "host", "study"]
    subprocess.run(
        [*said, "add", "-", "--data", folder], input=json.dumps(study), text=True, check=True, capture_output=True
    )
    subprocess.run([*said, "open", STUDY, "--data", folder], check=True, capture_output=True)
