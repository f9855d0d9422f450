"""Contributions taken over HTTP, beside the rows this makes put into the same tables by SQLite alone."""

import re
import tempfile
import urllib.request
from pathlib import Path

import side

# Fewer than close a batch, since figures are not what is measured here; the first ones warm up.
COUNT = 900
WARM_UP = 90
SENDERS = (1, 16, 64)


def transactions(service):
    """In how many the service has stored what it took."""
    with urllib.request.urlopen(f"http://{service.figures}/metrics") as answer:
        return int(re.search(r"^tautpool_shared_transactions_total (\d+)$", answer.read().decode(), re.M)[1])


def sent(ours, senders, folder, groups):
    """Seconds to send new players' documents to a service that has few yet."""
    with tempfile.TemporaryDirectory(dir=folder) as data:
        side.folder_with_study(data)
        with side.Running("serve", "--data", data, "--metrics-listen", "127.0.0.1:0") as service:
            ours.ask("send", service.address, side.STUDY, WARM_UP, senders)
            before = transactions(service)
            told = ours.ask("send", service.address, side.STUDY, COUNT, senders)
            groups[senders] = COUNT / (transactions(service) - before)
            return told


def filled(ours, folder):
    """The database of a service that was sent as many."""
    data = Path(folder, "filled")
    side.folder_with_study(data)
    with side.Running("serve", "--data", data) as service:
        ours.ask("send", service.address, side.STUDY, COUNT, 1)
    return data / "tautpool.sqlite"


def bare(ours, database, group, folder):
    """Seconds to put its contributions into a new database, so many to a transaction, each synced."""
    with tempfile.TemporaryDirectory(dir=folder) as fresh:
        return ours.ask("bare", database, Path(fresh, "bare"), group)


def beside_peer(ours, repetitions):
    """By turns, on the same disk."""
    repetitions = min(repetitions, 5)
    target = side.ROOT / "target"
    with tempfile.TemporaryDirectory(dir=target) as folder:
        database = filled(ours, folder)
        groups = {}
        sides = {}
        for senders in SENDERS:
            sides[f"ours {senders}"] = lambda senders=senders: sent(ours, senders, folder, groups)
            sides[f"bare {senders}"] = lambda senders=senders: bare(ours, database, round(groups[senders]), folder)
        seconds, made = side.in_turns(repetitions, **sides)
    rates = {name: COUNT / min(took) for name, took in seconds.items()}
    agreed = side.agree("sent and acknowledged", all(made[name] == COUNT for name in sides))
    print(f"Contributions a second, largest; {COUNT} at a time, all acknowledged: {agreed}. ", end="")
    print("Ours are sent by a generator on the same cores, and each is checked, screened, stored and synced before ", end="")
    print("it is acknowledged; SQLite alone has the same rows, checks and transactions as large.\n")
    rows = [
        (
            senders,
            f"{groups[senders]:.1f}",
            f"{rates[f'ours {senders}']:,.0f}",
            f"{rates[f'bare {senders}']:,.0f}",
            f"{rates[f'ours {senders}'] / rates[f'bare {senders}']:.2f}",
        )
        for senders in SENDERS
    ]
    side.table(("senders", "to a transaction", "ours", "SQLite alone", "ours to SQLite"), rows)
