"""Weight of the results page, and when a slow phone paints it."""

import json
import statistics
import subprocess
import tempfile
import time
import urllib.error
import urllib.request

import side

# A processor four times slower, and a network of 1.6 Mbit/s with 150 ms there and back.
SLOWER = 4
NETWORK = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 93_750}

PAINTS = """
const done = arguments[arguments.length - 1];
const seen = { largest: null };
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) seen.largest = entry.startTime;
}).observe({ type: "largest-contentful-paint", buffered: true });
setTimeout(() => {
  const first = performance.getEntriesByName("first-contentful-paint")[0];
  const [page] = performance.getEntriesByType("navigation");
  const parts = performance.getEntriesByType("resource");
  done({
    first: first && first.startTime,
    largest: seen.largest,
    loaded: page.loadEventEnd,
    bytes: page.transferSize + parts.reduce((sum, part) => sum + part.transferSize, 0),
    parts: parts.map((part) => [new URL(part.name).pathname, part.transferSize]),
  });
}, 500);
"""


class Browser:
    """Headless Chromium by its driver (W3C WebDriver)."""

    def __init__(self):
        port = side.free_port()
        self.folder = tempfile.TemporaryDirectory()
        self.driver = subprocess.Popen(["chromedriver", f"--port={port}", "--log-level=OFF"], stdout=subprocess.DEVNULL)
        self.home = f"http://127.0.0.1:{port}"
        arguments = [
            "--headless=new",
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--window-size=412,915",
            f"--user-data-dir={self.folder.name}",
        ]
        wanted = {"capabilities": {"alwaysMatch": {"goog:chromeOptions": {"args": arguments}}}}
        for _ in range(50):
            try:
                self.session = self.ask("POST", "/session", wanted)["sessionId"]
                return
            except urllib.error.URLError:
                time.sleep(0.2)
        raise RuntimeError("no browser")

    def ask(self, method, path, body=None):
        """A command, and its value."""
        data = None if body is None else json.dumps(body).encode()
        asked = urllib.request.Request(self.home + path, data, {"Content-Type": "application/json"}, method=method)
        with urllib.request.urlopen(asked, timeout=60) as got:
            return json.load(got)["value"]

    def tools(self, command, **parameters):
        """A command of the developer tools."""
        self.ask("POST", f"/session/{self.session}/goog/cdp/execute", {"cmd": command, "params": parameters})

    def painted(self, address):
        """Loads a page that it has never seen."""
        self.tools("Network.clearBrowserCache")
        self.ask("POST", f"/session/{self.session}/url", {"url": address})
        return self.ask("POST", f"/session/{self.session}/execute/async", {"script": PAINTS, "args": []})

    def close(self):
        """Ends it and its driver."""
        try:
            self.ask("DELETE", f"/session/{self.session}")
        finally:
            self.driver.terminate()
            self.driver.wait()
            self.folder.cleanup()


def weight(address, path):
    """Bytes of a body as it is sent to whoever accepts gzip, and the body."""
    asked = urllib.request.Request(f"http://{address}{path}", headers={"Accept-Encoding": "gzip"})
    with urllib.request.urlopen(asked) as got:
        return got.read()


def weighed(_, repetitions):
    """The demo's page, several times, each time as if for the first."""
    path = f"/studies/{side.STUDY}"
    with side.Running("demo") as service:
        body = len(weight(service.address, path))
        browser = Browser()
        try:
            browser.tools("Network.enable")
            browser.tools("Network.emulateNetworkConditions", **NETWORK)
            browser.tools("Emulation.setCPUThrottlingRate", rate=SLOWER)
            seen = [browser.painted(f"http://{service.address}{path}") for _ in range(repetitions + 1)][1:]
        finally:
            browser.close()
    median = {what: statistics.median(one[what] for one in seen) for what in ("first", "largest", "loaded", "bytes")}
    print(f"A processor {SLOWER} times slower, 1.6 Mbit/s, 150 ms there and back, nothing kept. The page alone, ", end="")
    print(f"with its pictures: {body:,} bytes compressed.\n")
    side.table(
        ("bytes over the network", "first paint, ms", "largest paint, ms", "loaded, ms"),
        [(f"{median['bytes']:,.0f}", *(f"{median[what]:,.0f}" for what in ("first", "largest", "loaded")))],
    )
    side.table(("part", "bytes with head"), [(name, f"{size:,}") for name, size in seen[-1]["parts"]])
