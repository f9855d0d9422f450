"""The pooled document beside the same bytes as a file of nginx, which the kernel hands over by itself, or
which is copied through nginx as what a program makes always is."""

import gzip
import re
import statistics
import subprocess
import tempfile
import time
import urllib.request
from pathlib import Path

import side

WORKERS = 2
CONNECTIONS = 16
SECONDS = 4

CONFIGURATION = """
daemon off;
pid {folder}/pid;
error_log {folder}/errors;
worker_processes {workers};
events {{ worker_connections 1024; }}
http {{
    access_log off;
    sendfile on;
    tcp_nopush on;
    keepalive_requests 100000000;
    open_file_cache max=10;
    gzip_static {gzip_static};
    client_body_temp_path {folder}/a;
    proxy_temp_path {folder}/b;
    fastcgi_temp_path {folder}/c;
    uwsgi_temp_path {folder}/d;
    scgi_temp_path {folder}/e;
    server {{
        listen 127.0.0.1:{port};
        root {folder};
        default_type application/json;
        location /copied/ {{
            alias {folder}/;
            sendfile off;
        }}
    }}
}}
"""


def answer(address, path, coding):
    """Body and length of the head of an answer."""
    asked = urllib.request.Request(f"http://{address}{path}", headers={"Accept-Encoding": coding})
    with urllib.request.urlopen(asked) as got:
        return got.read(), len(str(got.headers))


def wrk(address, path, coding):
    """Answers a second."""
    said = subprocess.run(
        ["wrk", "-t1", f"-c{CONNECTIONS}", f"-d{SECONDS}s", "-H", f"Accept-Encoding: {coding}", f"http://{address}{path}"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    if "Non-2xx" in said:
        raise RuntimeError(said)
    return float(re.search(r"Requests/sec:\s+([\d.]+)", said)[1])


def beside_peer(_, repetitions):
    """Both serve at the same time, and are asked by turns."""
    path = f"/api/v1/studies/{side.STUDY}/pooled"
    rows = []
    with side.Running("demo", workers=WORKERS) as ours, tempfile.TemporaryDirectory() as folder:
        plain, head = answer(ours.address, path, "identity")
        packed, _ = answer(ours.address, path, "gzip")
        if gzip.decompress(packed) != plain:
            raise RuntimeError("the two codings hold other bytes")
        Path(folder, "pooled").write_bytes(plain)
        Path(folder, "pooled.gz").write_bytes(packed)
        Path(folder).chmod(0o755)
        port = side.free_port()
        configuration = Path(folder, "nginx.conf")
        configuration.write_text(
            CONFIGURATION.format(folder=folder, port=port, workers=WORKERS, gzip_static="on"), encoding="utf-8"
        )
        peer = subprocess.Popen(["nginx", "-c", configuration, "-e", f"{folder}/errors"])
        time.sleep(0.5)
        try:
            address = f"127.0.0.1:{port}"
            for coding, body in (("identity", plain), ("gzip", packed)):
                sides = {"ours": (ours.address, path), "file": (address, "/pooled"), "copied": (address, "/copied/pooled")}
                if any(answer(*at, coding)[0] != body for at in sides.values()):
                    raise RuntimeError("the peer serves other bytes")
                rates = {name: [] for name in sides}
                for turn in range(min(repetitions, 5) + 1):
                    for name, at in sides.items():
                        rate = wrk(*at, coding)
                        rates[name] += [rate] if turn else []
                rows.append(
                    (
                        coding,
                        f"{len(body):,}",
                        *(f"{max(rate):,.0f} / {statistics.median(rate):,.0f}" for rate in rates.values()),
                        *(f"{max(rates['ours']) / max(rates[peer]):.2f}" for peer in ("file", "copied")),
                    )
                )
        finally:
            peer.terminate()
            peer.wait()
    print(f"Answers a second, largest / median; {WORKERS} workers each, {CONNECTIONS} connections that are kept, ", end="")
    print(f"one generator on the same cores. Our head has {head:,} bytes.\n")
    head = ("coding", "bytes", "ours", "nginx, a file", "nginx, copied", "ours to a file", "ours to a copy")
    side.table(head, rows)
