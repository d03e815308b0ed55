"""A real browser, and a pitch to open in it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

import lookdev
from lookdev.colorimetry.encodings import SRGB
from lookdev.stills.writer import write_still

ROOT = Path(__file__).parents[2]
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
HALL = '"Ferry hall, Velmsund"'
LOOKS = ("slack_water", "stove_light", "wet_wool")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser a file of tests: while it is open, its event loop is the thread's, and no other can run."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no browser on this machine: apt-get install chromium")
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def scout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two places of the sample scout, and one that goes all round."""
    folder = tmp_path_factory.mktemp("trip") / "day"
    folder.mkdir()
    for name in ("03_loading_dock_wide.jpg", "06_net_loft_gable.jpg"):
        shutil.copy(ROOT / "sample_frames" / name, folder / name)
    across, down = np.meshgrid(np.linspace(0, 255, 1200), np.linspace(0, 255, 600))
    pixels = np.stack([across, down, 255 - across], axis=-1).astype(np.uint8)
    write_still(folder / "round.png", np.asarray(cv2.GaussianBlur(pixels, (0, 0), 3), np.uint8), SRGB)
    (folder / "meter.csv").write_text(
        "stills,location,source,cct_k,x,y,lux,camera_balance_k\n"
        '03*,"Loading dock 3, Østkai",HP1,1953,0.5344,0.4157,42,3200\n'
        '06*,"Net loft, Østkai",D65,5935,0.3231,0.3370,420,5200\nround*,Deck,,5600,,,900,5600\n',
        encoding="utf-8",
    )
    (folder / "scout.toml").write_text(
        'title = "Crossing"\n[plan]\nbalance_k = 4300\n[pitch]\nframe = "2.39:1"\n'
        'looks = ["Slack water", "Stove light", "Wet wool"]\n'
    )
    return folder


@pytest.fixture(scope="session")
def look_files() -> list[Path]:
    return [ROOT / "looks" / f"{name}.toml" for name in LOOKS]


@pytest.fixture(scope="session")
def pitch(scout: Path, look_files: list[Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("pitch")
    made = lookdev.pitch(lookdev.PitchRequest(lookdev.open_scout(scout), lookdev.open_looks(look_files), out))
    assert made.errors == []
    return out / "pitch.html"


Open = Callable[..., Any]


@pytest.fixture
def open_page(browser: Any, pitch: Path) -> Iterator[Open]:
    """Opens a page from its file; at the end nothing may have been asked of a network or complained of."""
    faults: list[str] = []
    contexts = []

    def opened(path: Path = pitch, width: int = 1200, height: int = 800, **more: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("dialog", lambda dialog: faults.append(f"dialog {dialog.message}"))
        page.on(
            "request",
            lambda r: faults.append(r.url) if not r.url.startswith(("file:", "blob:", "data:")) else None,
        )
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []
