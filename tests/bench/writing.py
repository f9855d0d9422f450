"""Contributions taken over HTTP, beside the same rows put into SQLite by hand."""

import hashlib
import sqlite3
import tempfile
from pathlib import Path

import side

# Fewer than close a batch, since figures are not what is measured here.
COUNT = 900
SENDERS = (1, 16, 64)
GROUPS = (1, 4, 16, 64)

TABLES = """
PRAGMA journal_mode = WAL;
PRAGMA synchronous = FULL;
CREATE TABLE player (id INTEGER PRIMARY KEY, receipt BLOB NOT NULL UNIQUE) STRICT;
CREATE TABLE contribution (
    id TEXT PRIMARY KEY, player INTEGER NOT NULL REFERENCES player (id), received TEXT NOT NULL,
    document TEXT NOT NULL, hash BLOB NOT NULL
) STRICT;
"""


def bare(documents, group, folder):
    """Seconds to put documents into a new database, so many to a transaction, each synced."""
    with tempfile.TemporaryDirectory(dir=folder) as fresh:
        database = sqlite3.connect(Path(fresh, "bare"), isolation_level=None)
        database.executescript(TABLES)

        def put():
            for begin in range(0, len(documents), group):
                database.execute("BEGIN IMMEDIATE")
                for number, document in enumerate(documents[begin : begin + group], begin):
                    digest = hashlib.sha256(document.encode()).digest()
                    database.execute("INSERT INTO player VALUES (?, ?)", (number, digest))
                    row = (f"contribution-{number}", number, "2026-01-01T00:00:00Z", document, digest)
                    database.execute("INSERT INTO contribution VALUES (?, ?, ?, ?, ?)", row)
                database.execute("COMMIT")

        took, _ = side.timed(put)
        database.close()
        return took, len(documents)


def sent(ours, senders, folder):
    """Seconds to send new players' documents to a service that has none yet."""
    with tempfile.TemporaryDirectory(dir=folder) as data:
        side.folder_with_study(data)
        with side.Running("serve", "--data", data) as service:
            return ours.ask("send", service.address, side.STUDY, COUNT, senders)


def beside_peer(ours, repetitions):
    """By turns, on the same disk."""
    repetitions = min(repetitions, 3)
    target = side.ROOT / "target"
    with tempfile.TemporaryDirectory(dir=target) as folder:
        file = Path(folder, "documents")
        ours.ask("documents", COUNT, file)
        documents = file.read_text(encoding="utf-8").splitlines()
        sides = {
            f"ours {senders}": (lambda senders=senders: sent(ours, senders, folder)) for senders in SENDERS
        }
        sides |= {f"bare {group}": (lambda group=group: bare(documents, group, folder)) for group in GROUPS}
        seconds, made = side.in_turns(repetitions, **sides)
    rates = {name: COUNT / min(took) for name, took in seconds.items()}
    agreed = side.agree("sent and acknowledged", all(made[name] == COUNT for name in sides))
    print(f"Contributions a second, largest; {COUNT} at a time, all acknowledged: {agreed}. ", end="")
    print("Each is checked, screened, stored and synced before it is acknowledged. In brackets ours to the peer.\n")
    rows = [
        (
            f"ours, {senders} senders",
            f"{rates[f'ours {senders}']:,.0f}",
            *(f"{rates[f'ours {senders}'] / rates[f'bare {group}']:.2f}" for group in GROUPS),
        )
        for senders in SENDERS
    ]
    rows.append(("SQLite alone", "", *(f"{rates[f'bare {group}']:,.0f}" for group in GROUPS)))
    side.table(("", "a second", *(f"{group} rows to a transaction" for group in GROUPS)), rows)
