#!/usr/bin/env python3
"""Opens the page of a calibration in headless Chromium and looks at it as people do.

    page_in_browser.py --program build/ringtrue --rig RIG.toml --room ROOM.toml --work DIR [--screenshots DIR]

Checks, at the width of a desk and of a phone: no message on the console, no request to anywhere, nothing wider than the
screen, every chart drawn, the drawn numbers equal to those of calibration.json, size and opening time as promised, and
every control with a name (W3C Accessible Name). Speaks the W3C WebDriver protocol (REC-webdriver1) to Debian's
chromedriver. Exit status 77: there is no browser on this machine.
"""

import argparse
import json
import pathlib
import re
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request


class Browser:
    """One session with headless Chromium."""

    def __init__(self, dark=False):
        self.driver = subprocess.Popen(["chromedriver", "--port=0"], stdout=subprocess.PIPE, text=True)
        for line in self.driver.stdout:
            found = re.search(r"started successfully on port (\d+)", line)
            if found:
                self.root = f"http://127.0.0.1:{found.group(1)}"
                break
        arguments = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                     "--disable-background-networking", "--no-first-run"]
        if dark:
            arguments.append("--force-dark-mode")
        options = {"args": arguments, "perfLoggingPrefs": {"enableNetwork": True}}
        answer = self.post("/session", {"capabilities": {"alwaysMatch": {
            "browserName": "chrome", "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"}}}})
        self.root += f"/session/{answer['sessionId']}"

    def post(self, path, body=None):
        request = urllib.request.Request(self.root + path, json.dumps(body or {}).encode(),
                                         {"Content-Type": "application/json"})
        try:
            with urllib.request.urlopen(request, timeout=120) as reply:
                return json.load(reply)["value"]
        except urllib.error.HTTPError as error:
            raise RuntimeError(f"{path}: {error.read().decode()[:300]}") from error

    def run(self, script, *arguments):
        return self.post("/execute/sync", {"script": script, "args": list(arguments)})

    def size(self, width, height):
        # Headless windows have a smallest width; the emulated screen of a phone has not.
        self.post("/goog/cdp/execute", {"cmd": "Emulation.setDeviceMetricsOverride", "params": {
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}})

    def log(self, kind):
        return self.post("/se/log", {"type": kind})

    def screenshot(self, path):
        import base64
        data = self.post("/goog/cdp/execute", {"cmd": "Page.captureScreenshot", "params": {"captureBeyondViewport": True}})
        path.write_bytes(base64.b64decode(data["data"]))

    def close(self):
        try:
            request = urllib.request.Request(self.root, method="DELETE")
            urllib.request.urlopen(request, timeout=30).read()
        finally:
            self.driver.terminate()
            self.driver.wait(timeout=30)


UNDRAWN = "return [...document.querySelectorAll('canvas')].filter((c) => !c.dataset.drawn).map((c) => c.id)"
DRAWN_POINTS = """
  const chart = Chart.getChart(arguments[0]);
  return chart.data.datasets.map((set) => ({ name: set.label, points: set.data }));
"""
TOO_WIDE = "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
NAMELESS = """
  const named = (e) => (e.getAttribute('aria-label') || e.getAttribute('aria-labelledby') || e.textContent
                        || e.closest('label')?.textContent || '').trim() !== '';
  return [...document.querySelectorAll('canvas, a, button, input, select, summary, svg[role=img]')]
    .filter((e) => !named(e)).map((e) => e.outerHTML.slice(0, 120));
"""


def check(holds, words, failures):
    if not holds:
        failures.append(words)


def check_arrivals(browser, calibration, failures):
    """The drawn arrivals are those of calibration.json, counted from the earliest."""
    by_output = sorted(calibration["speakers"], key=lambda s: s["output"])
    measured = {s["label"]: s["measured"]["positions"][0]["arrival_ms"] for s in by_output}
    known = {label: ms for label, ms in measured.items() if ms is not None}
    first = min(known.values())
    sets = {s["name"]: {p["y"]: p["x"] for p in s["points"]} for s in browser.run(DRAWN_POINTS, "arrivals")}
    before, after = sets["As cabled"], sets["With these settings"]
    check(set(before) == set(known), f"arrivals drawn of {sorted(before)}, measured of {sorted(known)}", failures)
    for speaker in by_output:
        label = speaker["label"]
        if label not in before:
            continue
        wanted = known[label] - first
        check(abs(before[label] - wanted) < 1e-3, f"{label} is drawn at {before[label]} ms, not {wanted}", failures)
        delay = speaker["settings"]["delay_ms"]
        if delay is not None:
            check(abs(after[label] - wanted - delay) < 1e-3, f"{label} after is drawn at {after[label]} ms", failures)


def look(browser, page, calibration, width, screenshots, failures):
    browser.size(width, 900)
    started = time.monotonic()
    browser.post("/url", {"url": page.as_uri()})
    opened_s = browser.run("const t = performance.getEntriesByType('navigation')[0];"
                           "return (t.loadEventEnd - t.startTime) / 1000")
    deadline = time.monotonic() + 60
    while (undrawn := browser.run(UNDRAWN)) and time.monotonic() < deadline:
        time.sleep(0.05)
    at = f"at {width} px"
    check(not undrawn, f"{at}: not drawn: {undrawn}", failures)
    check(browser.run(TOO_WIDE) <= 0, f"{at}: the page is wider than the screen", failures)
    check(not (nameless := browser.run(NAMELESS)), f"{at}: without a name: {nameless}", failures)
    check_arrivals(browser, calibration, failures)
    for entry in browser.log("browser"):
        failures.append(f"{at}: console: {entry['message']}")
    for entry in browser.log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            url = message["params"]["request"]["url"]
            check(url.startswith(("file:", "data:", "blob:")), f"{at}: a request to {url}", failures)
    if screenshots:
        browser.screenshot(screenshots / f"{width}.png")
    charts = browser.run("return document.querySelectorAll('canvas').length")
    print(f"{at}: {charts} charts, opened in {opened_s:.2f} s, all drawn after {time.monotonic() - started:.1f} s")
    return charts


def main():
    parser = argparse.ArgumentParser()
    for option in ("program", "rig", "room", "work"):
        parser.add_argument(f"--{option}", required=True, type=pathlib.Path)
    parser.add_argument("--screenshots", type=pathlib.Path)
    options = parser.parse_args()
    if not shutil.which("chromedriver"):
        print("SKIPPED: no chromedriver here")
        return 77
    results = options.work / "results"
    shutil.rmtree(options.work, ignore_errors=True)
    options.work.mkdir(parents=True)
    status = subprocess.run([options.program, "calibrate", options.rig, "--virtual", options.room, "--out", results],
                            stdout=subprocess.DEVNULL).returncode
    page = (results / "report.html").resolve()
    calibration = json.loads((results / "calibration.json").read_text())

    failures = []
    check(status in (0, 1), f"calibrate ended with {status}", failures)
    check(page.stat().st_size < 3e6, f"the page has {page.stat().st_size} bytes", failures)
    check(not re.search(r"(src|href)=\"(?!#|data:)", page.read_text().split("<script>")[0]), "the page loads something", failures)
    if options.screenshots:
        options.screenshots.mkdir(parents=True, exist_ok=True)
    browser = Browser()
    try:
        counts = [look(browser, page, calibration, width, options.screenshots, failures) for width in (1280, 390)]
    finally:
        browser.close()
    check(counts[0] == counts[1] and counts[0] >= 2 + len(calibration["speakers"]), f"charts: {counts}", failures)
    for failure in failures:
        print(failure, file=sys.stderr)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
