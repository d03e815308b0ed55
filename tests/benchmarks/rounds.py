"""Eight rounds towards "cold, silver, skin alive, sodium left a bit": by wedge, and on the live page.

    python tests/benchmarks/rounds.py [--browser /usr/bin/chromium]

The sample scout, three stills, one look that begins with every number at rest. By wedge a round is
``lookdev wedge`` of one key at five values, pages and all, one of them taken as the look of the next round.
On the live page it is the arrow key in a number, thirty presses a second, from the value before to the one
that the wedge took, until all three stills stand there to the code; then Ctrl+S. What a person needs to look
and decide comes on top of both. CPU: of the wedge's process, and of the server; not the browser's.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lookdev
from lookdev.jobs.watch import WatchRequest, open_page

ROOT = Path(__file__).parents[2]
SCOUT = ROOT / "sample_frames"
STILLS = ("01_ferry_hall_wide.jpg", "03_loading_dock_wide.jpg", "06_net_loft_gable.jpg")
SWITCHES = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
START = """title = "Towards silver"

[exposure]
stops = 0.00

[balance]
keep = 0.50
mired = 0

[curve]
contrast = 1.00

[colour]
saturation = 1.00

[skin]
hold = 0.0
"""
LISTEN = """() => {
  window.exact = new Set();
  document.addEventListener("drawn", (event) => {
    if (event.detail.exact) window.exact.add(event.detail.still); else window.exact.clear();
  });
}"""


@dataclass(frozen=True)
class Round:
    """A key, the values of its wedge, which of them is taken, and how often the arrow goes there."""

    words: str
    key: str
    values: str
    cell: int
    presses: int


ROUNDS = (
    Round("cold", "balance.mired", "0, -12, -24, -36, -48", 4, -18),
    Round("silver", "colour.saturation", "1, 0.84, 0.7, 0.56, 0.4", 3, -15),
    Round("skin alive", "skin.hold", "0, 0.3, 0.5, 0.7, 0.9", 4, 7),
    Round("sodium left a bit", "balance.keep", "0, 0.1, 0.2, 0.3, 0.5", 2, -8),
    Round("silver, by contrast", "curve.contrast", "0.9, 1, 1.06, 1.12, 1.2", 4, 6),
    Round("under", "exposure.stops", "-0.5, -0.35, -0.2, 0, 0.2", 2, -7),
    Round("colder still", "balance.mired", "-48, -42, -36, -30, -24", 2, -3),
    Round("a little colour back", "colour.saturation", "0.6, 0.66, 0.7, 0.76, 0.82", 4, 3),
)


def main() -> None:
    """Print the table, and the look that both came to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--browser", default="/usr/bin/chromium")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        wedges, one = by_wedge(Path(folder))
        live, two = on_the_page(Path(folder), asked.browser)
    print("| round | wedge | CPU | live page | CPU of the server |\n| --- | --- | --- | --- | --- |")
    for each, (wall, cpu), (seen, served) in zip(ROUNDS, wedges, live, strict=True):
        print(f"| {each.words} | {wall:.1f} s | {cpu:.1f} s | {seen:.2f} s | {served:.2f} s |")
    sums = [sum(column) for rows in (wedges, live) for column in zip(*rows, strict=True)]
    print(f"| all | {sums[0]:.1f} s | {sums[1]:.1f} s | {sums[2]:.2f} s | {sums[3]:.2f} s |")
    print(f"load average {os.getloadavg()[0]:.1f}; both came to the same look: {one == two}")


def by_wedge(folder: Path) -> tuple[list[tuple[float, float]], lookdev.Look]:
    """Wall and CPU seconds of each round's process, and the look in the end."""
    look = folder / "start.toml"
    look.write_text(START, encoding="utf-8")
    found = []
    for number, each in enumerate(ROUNDS, 1):
        taken = folder / f"round_{number}.toml"
        vary = ["--vary", f"{each.key} = {each.values}", "--take", str(each.cell), "--take-to", str(taken)]
        stills = [part for name in STILLS for part in ("--stills", name)]
        out = ["--out", str(folder / f"wedge_{number}")]
        start, before = time.monotonic(), _children()
        subprocess.run(
            [sys.executable, "-m", "lookdev", "wedge", str(SCOUT), str(look), *vary, *stills, *out],
            check=True,
            capture_output=True,
        )
        found.append((time.monotonic() - start, _children() - before))
        look = taken
    return found, _plain(look)


def _children() -> float:
    times = os.times()
    return times.children_user + times.children_system


def _plain(path: Path) -> lookdev.Look:
    return lookdev.load_look(path).model_copy(update={"title": "-", "note": ""})


def on_the_page(folder: Path, browser: str) -> tuple[list[tuple[float, float]], lookdev.Look]:
    """Seconds of each round from the first press to exact pictures, the server's CPU, and the look."""
    from playwright.sync_api import sync_playwright

    path = folder / "live.toml"
    path.write_text(START, encoding="utf-8")
    live = open_page(WatchRequest(lookdev.open_scout(SCOUT), (path,), STILLS))
    found = []
    with live.running(), sync_playwright() as play:
        opened = play.chromium.launch(executable_path=browser, args=SWITCHES)
        page = opened.new_page(viewport={"width": 1720, "height": 960})
        page.goto(live.address)
        page.wait_for_timeout(3000)
        page.evaluate(LISTEN)
        for each in ROUNDS:
            start, before = time.monotonic(), time.process_time()
            _turn(page, each)
            while page.evaluate("window.exact.size") < len(STILLS):
                time.sleep(0.01)
            found.append((time.monotonic() - start, time.process_time() - before))
            page.keyboard.press("Control+s")
            page.wait_for_timeout(1000)
        opened.close()
    return found, _plain(path)


def _turn(page: Any, each: Round) -> None:
    """The arrow key in the key's number, thirty presses a second."""
    page.evaluate(
        """(key) => { const t = document.getElementById('text'); t.focus(); window.exact.clear();
        const i = t.value.indexOf(key + ' = ') + key.length + 4; t.setSelectionRange(i, i); }""",
        each.key.rpartition(".")[2],
    )
    start = time.monotonic()
    for number in range(abs(each.presses)):
        time.sleep(max(0.0, start + number / 30 - time.monotonic()))
        page.keyboard.press("ArrowUp" if each.presses > 0 else "ArrowDown")


if __name__ == "__main__":
    main()
