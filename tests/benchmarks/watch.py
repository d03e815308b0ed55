"""The live page in a real browser: from a file's save to its pixels, and redraws while a number is held.

    python tests/benchmarks/watch.py [--rounds 20] [--seconds 5]

Three stills at 1600 px in one look. A save counts from just before the file is written to the frame after the
last of the three pictures was drawn, whole; a redraw counts when all three are drawn, at the size that they
have while a number is held. Also for one still alone. It takes a minute and a half, most of it rests between
saves, says how far it is, and ends with status 1 where a save brings no pixels within ``--patience`` seconds.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import lookdev
from lookdev.jobs.watch import WatchRequest, open_page

ROOT = Path(__file__).parents[2]
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
STILLS = ("01_ferry_hall_wide.jpg", "03_loading_dock_wide.jpg", "06_net_loft_gable.jpg")
LISTEN = """(count) => {
  window.done = []; const drawn = new Map();
  document.addEventListener("drawn", (event) => {
    const { serial, still } = event.detail;
    const seen = drawn.get(serial) || new Set();
    drawn.set(serial, seen.add(still));
    if (seen.size < count) return;
    const now = () => window.done.push(performance.timeOrigin + performance.now());
    requestAnimationFrame(() => setTimeout(now, 0));
  });
}"""


def main() -> None:
    """Print the numbers as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--patience", type=float, default=20.0, help="seconds for one save, at the most")
    parser.add_argument("--browser", default="/usr/bin/chromium")
    asked = parser.parse_args()
    print(json.dumps({n: measured(STILLS[:n], asked) for n in (3, 1)}, indent=2))


def told(words: str) -> None:
    """How far it is, beside the numbers."""
    print(words, file=sys.stderr, flush=True)


def measured(stills: tuple[str, ...], asked: argparse.Namespace) -> dict[str, Any]:
    """Both figures for so many stills."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "look.toml"
        shutil.copy(ROOT / "looks" / "slack_water.toml", path)
        live = open_page(WatchRequest(lookdev.open_scout(ROOT / "sample_frames"), (path,), stills))
        with live.running(), sync_playwright() as play:
            told(f"{len(stills)} of {len(STILLS)} stills: opening the browser")
            browser = play.chromium.launch(executable_path=asked.browser, args=SWITCHES)
            page = browser.new_page(viewport={"width": 1720, "height": 960})
            page.set_default_timeout(1000 * asked.patience)
            page.goto(live.address)
            page.wait_for_timeout(3000)
            page.evaluate(LISTEN, len(stills))
            waits = []
            for number in range(asked.rounds):
                waits.append(saved(page, path, 0.2 + 0.02 * number, asked.patience))
                told(f"save {number + 1} of {asked.rounds}: {waits[-1]:.0f} ms")
            told(f"a number held for {asked.seconds:g} s")
            rate = held(page, asked.seconds)
            browser.close()
    return {
        "load average": round(os.getloadavg()[0], 1),
        "save to pixels, ms": {
            "least": round(min(waits)),
            "median": round(statistics.median(waits)),
            "most": round(max(waits)),
        },
        "redraws a second while held": round(rate, 1),
    }


def saved(page: Any, path: Path, keep: float, patience: float) -> float:
    """Milliseconds from saving another ``keep`` to its pixels."""
    page.wait_for_timeout(1500)
    page.evaluate("() => { window.done.length = 0; }")
    lines = path.read_text(encoding="utf-8").splitlines()
    text = "\n".join(f"keep = {keep:.2f}" if line.startswith("keep") else line for line in lines)
    start = time.time() * 1000
    path.write_text(text + "\n", encoding="utf-8")
    while not (done := page.evaluate("() => window.done")):
        if time.time() * 1000 - start > 1000 * patience:
            raise SystemExit(f"no pixels within {patience:g} s of a save: the page stands still")
        page.wait_for_timeout(20)
    return float(done[-1]) - start


def held(page: Any, seconds: float) -> float:
    """Redraws a second while the up arrow is held at 30 repeats a second."""
    page.evaluate(
        """() => { const t = document.getElementById('text'), i = t.value.indexOf('mired = ') + 9;
        t.focus(); t.setSelectionRange(i, i); }"""
    )
    page.wait_for_timeout(500)
    page.evaluate("() => { window.done.length = 0; }")
    start = time.monotonic()
    count = 0
    while (now := time.monotonic() - start) < seconds:
        page.keyboard.down("ArrowUp" if count < 60 * seconds / 4 else "ArrowDown")
        count += 1
        time.sleep(max(0.0, count / 30 - now))
    page.keyboard.up("ArrowUp")
    return len(page.evaluate("() => window.done")) / (time.monotonic() - start)


if __name__ == "__main__":
    main()
