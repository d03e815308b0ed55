"""The whole evening: ``lookdev batch`` over every kind of still, against what its libraries alone take.

    python tests/benchmarks/evening.py                        # 24 MP; some ten minutes on an idle machine
    python tests/benchmarks/evening.py --quick                # 4 MP, fewer stills, no repeats
    python tests/benchmarks/evening.py --only jpeg,resume     # some of: jpeg day heic raw tiff tiff16 exr
                                                              # mixed one cold resume workers cluster large
    python tests/benchmarks/evening.py --megapixels 24 --count 6 --repeats 1 --only raw

It makes its own scouts. Every measurement is a process of its own; ours and its floor take turns, and the
smallest of the repeats counts. The floor is: decode each still once and encode each output, with the
libraries, settings and number of threads that the batch uses, loaded before the clock starts, and nothing
else: no look, no sheet, no pitch, no .cube. Ours is the whole command, start-up included.

CPU seconds stand beside the wall's: on a machine that does other work too, read the ratio of those.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
ROOT = HERE.parents[2]
sys.path[:0] = [str(HERE.parent), str(ROOT / "tests")]

from run import CORES, QUALITY, SUBSAMPLING, table  # noqa: E402

LAMPS = [(1960, 3200), (2850, 3200), (3980, 4800), (5200, 5600), (2400, 3200), (6480, 5600)]
SUFFIX = {"jpeg": ".jpg", "heic": ".heic", "raw": ".dng", "tiff": ".tif", "exr": ".exr"}
LOOKS, PICTURES = 4, 4
LARGE_BYTES = 20_000_000
TIFF16 = ("--format", "tiff16")


@dataclass(frozen=True)
class Card:
    """A scout to measure: how many stills of which kind, in how many places; and how the batch is asked."""

    name: str
    words: str
    stills: tuple[tuple[str, int], ...]
    places: int
    goal: float | None
    looks: int = LOOKS
    options: tuple[str, ...] = ()
    megapixels: float | None = None


CARDS = {
    card.name: card
    for card in (
        Card("jpeg", "24 JPEG, 12 places", (("jpeg", 24),), 12, 1.9),
        Card("day", "120 JPEG, 12 places", (("jpeg", 120),), 12, 1.6),
        Card("heic", "6 HEIC of 12 MP", (("heic", 6),), 3, 1.5, megapixels=12),
        Card("raw", "4 raw (DNG)", (("raw", 4),), 2, 1.5),
        Card("tiff", "2 TIFF, 16 bits, to JPEG", (("tiff", 2),), 1, 3.0),
        Card("tiff16", "2 TIFF, 16 bits, to 16-bit TIFF", (("tiff", 2),), 1, 1.5, LOOKS, TIFF16),
        Card("exr", "2 EXR, half float", (("exr", 2),), 1, None),
        Card("mixed", "40 JPEG, 20 HEIC, 10 raw, 2 TIFF",
             (("jpeg", 40), ("heic", 20), ("raw", 10), ("tiff", 2)), 12, None),
        Card("one", "1 JPEG, one look", (("jpeg", 1),), 1, None, looks=1),
    )
}  # fmt: skip


# ---- inputs


def size_of(megapixels: float) -> tuple[int, int]:
    """(width, height) of a 3:2 picture, both multiples of 16."""
    return tuple(max(16, round((megapixels * 1e6 * r) ** 0.5 / 16) * 16) for r in (1.5, 1 / 1.5))  # type: ignore[return-value]


def picture(number: int, width: int, height: int) -> np.ndarray:
    """A sample frame enlarged, and a camera's noise, (h, w, 3) float32 in [0, 1]; the same every time."""
    import cv2

    frames = sorted((ROOT / "sample_frames").glob("*.jpg"))
    small = cv2.imread(str(frames[number % len(frames)]))[..., ::-1]
    large = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC).astype(np.float32) / 255
    noise = np.random.default_rng(number).normal(0.0, 0.01, large.shape).astype(np.float32)
    return np.clip(large + noise, 0, 1)


def encoded(kind: str, signal: np.ndarray) -> bytes:
    """A picture as a file of ``kind``."""
    import io

    import cv2

    if kind == "jpeg":
        codes = (signal[..., ::-1] * 255 + 0.5).astype(np.uint8)
        return cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
    out = io.BytesIO()
    if kind == "heic":
        import pillow_heif

        codes = (signal * 255 + 0.5).astype(np.uint8)
        pillow_heif.from_bytes("RGB", signal.shape[1::-1], codes.tobytes()).save(out, quality=80)
    elif kind == "tiff":
        import tifffile

        tifffile.imwrite(out, (signal * 65535 + 0.5).astype(np.uint16), photometric="rgb", metadata=None)
    elif kind == "raw":
        from still_files import dng

        return dng(signal**2.2 * 0.8)
    else:
        import OpenEXR

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.exr"
            head = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
            light = {"RGB": np.ascontiguousarray((signal**2.2 * 1.5).astype(np.float16))}
            OpenEXR.File(head, light).write(str(path))
            return path.read_bytes()
    return out.getvalue()


def wide_jpeg(width: int, height: int) -> bytes:
    """A large picture laid out of mirrored smaller ones, in codes: as floats it would take gigabytes."""
    import cv2

    tile = (picture(0, 3200, 2000)[..., ::-1] * 255 + 0.5).astype(np.uint8)
    row = np.concatenate([tile, tile[:, ::-1]] * (-(-width // 6400)), axis=1)[:, :width]
    codes = np.concatenate([row, row[::-1]] * (-(-height // 4000)), axis=0)[:height]
    return cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()


def make_scout(folder: Path, card: Card, megapixels: float) -> Path:
    """The card's stills and a log; no two JPEGs with the same bytes."""
    width, height = size_of(card.megapixels if card.megapixels and megapixels > 12 else megapixels)
    scout = folder / f"{card.name}_{width}_{sum(n for _, n in card.stills)}"
    if (scout / "meter.csv").exists():
        return scout
    scout.mkdir(parents=True, exist_ok=True)
    files: dict[tuple[str, int], bytes] = {}
    number, total = 0, sum(count for _, count in card.stills)
    for kind, count in card.stills:
        for i in range(count):
            which = (kind, i % PICTURES)
            if which not in files:
                files[which] = encoded(kind, picture(i % PICTURES, width, height))
            data = files[which]
            if kind == "jpeg":  # ITU-T T.81 B.2.4.5, a comment
                words = f"still {i}".encode()
                data = data[:2] + b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words + data[2:]
            place = number * card.places // total
            (scout / f"{place:02}_{number:03}{SUFFIX[kind]}").write_bytes(data)
            number += 1
    rows = ["stills,location,source,cct_k,duv,lux,camera_balance_k"]
    for place in range(card.places):
        lamp, camera = LAMPS[place % len(LAMPS)]
        rows.append(f"{place:02}_*,Location {place + 1},lamp {place + 1},{lamp},0.002,{100 + place},{camera}")
    (scout / "meter.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return scout


def look_files(count: int) -> list[str]:
    """Of the shipped looks, some that change something."""
    from lookdev.looks.toml_file import load_look

    acting = [p for p in sorted((ROOT / "looks").glob("*.toml")) if not load_look(p).is_identity]
    return [str(path) for path in acting[:count]]


# ---- what is measured, each in a process of its own


def floor(scout: str, out: str) -> dict[str, float]:
    """Decode each still once, and encode what the batch made of it; nothing else."""
    import cv2
    import imagecodecs
    import OpenEXR
    import pillow_heif
    import rawpy
    import tifffile

    from lookdev.colorimetry.encodings import SRGB
    from lookdev.stills import jpeg, writer

    cv2.setNumThreads(1)
    graded: dict[str, list[Path]] = {}
    for path in sorted((Path(out) / "graded").rglob("*__*")):
        graded.setdefault(path.name.split("__")[0], []).append(path)
    shown = {}  # what is encoded: the outputs of one still of each kind and size
    stills = sorted(p for p in Path(scout).iterdir() if p.suffix in SUFFIX.values())
    for still in stills:
        if still.suffix not in shown:
            mine = next(v for k, v in graded.items() if still.stem in k)
            shown[still.suffix] = [
                tifffile.imread(p) if p.suffix == ".tif" else imagecodecs.jpeg8_decode(p.read_bytes())
                for p in mine
            ]

    def work(path: Path) -> None:
        data = path.read_bytes()
        if path.suffix == ".jpg":
            imagecodecs.jpeg8_decode(data)
        elif path.suffix == ".heic":
            np.asarray(pillow_heif.open_heif(path))
        elif path.suffix == ".tif":
            tifffile.imread(path)
        elif path.suffix == ".exr":
            OpenEXR.File(str(path)).channels()["RGB"].pixels  # noqa: B018
        else:
            with rawpy.imread(str(path)) as raw:
                raw.postprocess(
                    gamma=(1, 1), output_bps=16, no_auto_bright=True, use_camera_wb=True,
                    adjust_maximum_thr=0.0, output_color=rawpy.ColorSpace.raw,
                )  # fmt: skip
        for pixels in shown[path.suffix]:
            if pixels.dtype == np.uint8:
                jpeg.encode(pixels, QUALITY, SUBSAMPLING)
            else:
                writer.still_bytes(".tif", pixels, SRGB)

    start, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(work, stills))
    return {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu}


@dataclass
class Call:
    """A call of a codec: what it was asked for, and the file that it made (empty for a decoder)."""

    name: str
    function: Any
    args: tuple[Any, ...]
    options: dict[str, Any]
    made: bytes

    def again(self) -> float:
        """Do it again; seconds of the thread."""
        start = time.thread_time()
        self.function(*self.args, **self.options)
        return time.thread_time() - start


def noted_calls(*functions: tuple[Any, str], below_bytes: float = float("inf")) -> list[Call]:
    """From now on, the calls of ``functions`` (module, name) whose first argument is smaller than that."""
    calls: list[Call] = []

    def note(module: Any, name: str) -> None:
        real = getattr(module, name)

        def noted(*args: Any, **options: Any) -> Any:
            made = real(*args, **options)
            if memoryview(args[0]).nbytes < below_bytes:
                is_file = isinstance(made, (bytes, bytearray))
                calls.append(Call(name, real, args, options, bytes(made) if is_file else b""))
            return made

        setattr(module, name, noted)

    for module, name in functions:
        note(module, name)
    return calls


def pictures(scout: str, out: str, looks: str) -> dict[str, float]:
    """Encode again all that a batch leaves of pictures beside the graded stills: those of the page and of the
    PDFs (WebP, JPEG), the sheets' PNG, the small ones. Encodes that were tried and not kept are no part."""
    import base64
    import hashlib

    import imagecodecs
    import simplejpeg

    import lookdev

    calls = noted_calls(
        (simplejpeg, "encode_jpeg"), (imagecodecs, "jpeg8_encode"), (imagecodecs, "webp_encode"),
        (imagecodecs, "deflate_encode"), below_bytes=LARGE_BYTES,  # above it are those of :func:`floor`
    )  # fmt: skip
    chosen = tuple(lookdev.load_look(Path(path)) for path in look_files(int(looks)))
    lookdev.batch(lookdev.BatchRequest(lookdev.open_scout(Path(scout)), chosen, Path(out), workers=CORES))
    page = (Path(out) / "pitch" / "pitch.html").read_bytes()
    paged = b"".join(
        path.read_bytes() for folder in ("pitch", "sheets") for path in Path(out, folder).glob("*.p*")
    )
    small = {hashlib.sha256(p.read_bytes()).digest() for p in Path(out, ".lookdev", "thumbnails").iterdir()}
    kept = [
        call
        for call in calls
        if hashlib.sha256(call.made).digest() in small
        or call.made in paged
        or base64.b64encode(call.made) in page
    ]
    del calls[:]
    start, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(Call.again, kept))
    return {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu, "count": len(kept)}


def hashing(scout: str, out: str) -> dict[str, float]:
    """SHA-256 of every still, and of every graded one beside it."""
    from lookdev.stills.digest import file_sha256

    found = {}
    for name, folders in (("stills", [scout]), ("all", [scout, str(Path(out) / "graded")])):
        paths = [p for folder in folders for p in sorted(Path(folder).rglob("*")) if p.is_file()]
        start, cpu = time.perf_counter(), time.process_time()
        with ThreadPoolExecutor(CORES) as pool:
            list(pool.map(file_sha256, paths))
        found |= {name: time.perf_counter() - start, f"{name}_cpu": time.process_time() - cpu}
    return {**found, "wall": found["all"], "cpu": found["all_cpu"]}


MEASURES: dict[str, Any] = {f.__name__: f for f in (floor, pictures, hashing)}


def child(name: str, *args: str) -> dict[str, float]:
    """One of the above, in a process of its own."""
    command = [sys.executable, "-P", str(HERE), "--measure", json.dumps([name, *args])]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def installed() -> dict[str, str]:
    """The environment of somebody who installed the tool: Python keeps its bytecode."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


MEASURED = """
import json, os, subprocess, sys, time
start = time.perf_counter()
running = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, used = os.wait4(running.pid, 0)
wall, cpu = time.perf_counter() - start, used.ru_utime + used.ru_stime
print(json.dumps({"wall": wall, "cpu": cpu, "memory": used.ru_maxrss / 1024}))
sys.exit(os.waitstatus_to_exitcode(status))
"""
"""Runs a command from a process that is small itself: Linux counts the memory of who began a command as its
own. That made of all cards what this process holds, 1,187 MB."""


def batch(
    scout: Path,
    out: Path,
    looks: int,
    options: Iterable[str] = (),
    cache: Path | None = None,
    workers: int = CORES,
) -> dict[str, float]:
    """The whole command: wall, CPU, peak memory; and when the first and last file of each kind was there."""
    chosen = [word for path in look_files(looks) for word in ("--looks", path)]
    environment = {**installed(), **({"NUMBA_CACHE_DIR": str(cache)} if cache else {})}
    command = [sys.executable, "-P", "-m", "lookdev", "batch", str(scout), *chosen, "--out", str(out)]
    began = time.time()
    measured = [sys.executable, "-c", MEASURED, *command, "--workers", str(workers), *options]
    running = subprocess.run(measured, capture_output=True, text=True, env=environment)
    if running.returncode:
        raise SystemExit(running.stderr[-2000:])
    found = dict(json.loads(running.stdout))
    for kind in ("graded", "cubes", "sheets", "pitch"):
        times = [p.stat().st_mtime - began for p in (out / kind).rglob("*") if p.is_file()]
        times = [t for t in times if t > 0]
        if times:
            found |= {f"{kind}_first": min(times), f"{kind}_last": max(times)}
    if "pitch_first" in found:  # a still that has an output is decoded; one more a worker may be
        done = [p for p in (out / "graded").rglob("*__*") if p.stat().st_mtime - began < found["pitch_first"]]
        found["pitch_after_stills"] = len({p.name.split("__")[0] for p in done})
    return found


def least(runs: list[dict[str, float]]) -> dict[str, float]:
    """The run of the least wall, with the least CPU of all."""
    return {**min(runs, key=lambda run: run["wall"]), "cpu": min(run["cpu"] for run in runs)}


# ---- reports


def two(ours: dict[str, float], base: dict[str, float]) -> tuple[str, str]:
    """Ratios of wall and of CPU."""
    return tuple(f"{ours[kind] / base[kind]:.2f}" for kind in ("wall", "cpu"))  # type: ignore[return-value]


def fresh(folder: Path) -> Path:
    """An empty folder of that name."""
    import shutil

    shutil.rmtree(folder, ignore_errors=True)
    return folder


def report_cards(folder: Path, cards: list[Card], megapixels: float, repeats: int) -> None:
    """Ours against its floor for each card, and the stages of it."""
    rows: list[tuple[object, ...]] = []
    stages: list[tuple[object, ...]] = []
    more: list[tuple[object, ...]] = []
    whole: list[tuple[object, ...]] = []
    for card in cards:
        scout, out = make_scout(folder, card, megapixels), folder / f"out_{card.name}"
        ours, base = [], []
        batch(
            scout, fresh(out), card.looks, card.options
        )  # compiles, fills the file cache, makes the outputs
        for _ in range(repeats):
            ours.append(batch(scout, fresh(out), card.looks, card.options))
            base.append(child("floor", str(scout), str(out)))
        best, least_base = least(ours), least(base)
        print(f"{card.name} done", file=sys.stderr)
        if card.name == "jpeg":
            whole.append(with_pictures(scout, fresh(out), card, repeats, best, least_base))
        if len(card.stills) == 1 and card.stills[0][1] <= 6:
            more.append(still_more(folder, card, megapixels, repeats, best, least_base))
        rows.append(
            (
                card.words, f"{best['wall']:.2f} s", f"{least_base['wall']:.2f} s",
                *two(best, least_base), card.goal or "", f"{best['cpu']:.1f} / {least_base['cpu']:.1f} s",
                f"{best['cpu'] / best['wall']:.2f}", f"{best['memory']:.0f} MB",
            )
        )  # fmt: skip
        spans = (
            f"{best[f'{kind}_first']:.2f} to {best[f'{kind}_last']:.2f}" if f"{kind}_first" in best else ""
            for kind in ("graded", "cubes", "sheets", "pitch")
        )
        stages.append((card.words, *spans, f"{best.get('pitch_after_stills', '')}", f"{best['wall']:.2f}"))
    ratios = ("wall, times the floor", "CPU, times the floor", "goal", "CPU, ours / floor")
    heads = ("what", "ours", "floor", *ratios, "cores busy", "peak memory")
    table(f"`lookdev batch`, whole, {megapixels:g} MP, {CORES} workers", heads, rows)
    if whole:
        heads = (
            "what",
            "pictures",
            "ours",
            "floor with them",
            "wall, times it",
            "CPU, times it",
            "CPU, ours / it",
        )
        table(
            "The same against a floor that encodes every picture that is left, those of pages too",
            heads,
            whole,
        )
    if more:
        heads = (
            "what",
            "ours",
            "floor",
            "wall, times the floor",
            "CPU, times the floor",
            "CPU, ours / floor",
        )
        table("A still more: twice as many in the same places, against the above, by still", heads, more)
    before = "stills with an output before the pitch's first frame"
    heads = ("what", "graded stills", ".cube", "sheets", "pitch", before, "end")
    table(
        "Stage by stage: when the first and the last file was there, seconds after the start", heads, stages
    )


def with_pictures(
    scout: Path, out: Path, card: Card, repeats: int, ours: dict[str, float], base: dict[str, float]
) -> tuple[object, ...]:
    """Ours against the floor and the encodes of the pictures on sheets, in the pitch, and for them."""
    runs = [child("pictures", str(scout), str(fresh(out)), str(card.looks)) for _ in range(repeats)]
    more = least(runs)
    both = {what: base[what] + more[what] for what in ("wall", "cpu")}
    return (
        card.words, f"{more['count']:.0f}", f"{ours['wall']:.2f} s", f"{both['wall']:.2f} s",
        *two(ours, both), f"{ours['cpu']:.1f} / {both['cpu']:.1f} s",
    )  # fmt: skip


def still_more(
    folder: Path, card: Card, megapixels: float, repeats: int, ours: dict[str, float], base: dict[str, float]
) -> tuple[object, ...]:
    """What each still costs of as many again in the same places: no start-up, sheet or .cube of its own."""
    ((kind, count),) = card.stills
    twice = replace(card, stills=((kind, 2 * count),))
    scout, out = make_scout(folder, twice, megapixels), folder / f"out_{card.name}_twice"
    runs, floors = [], []
    for _ in range(repeats):
        runs.append(batch(scout, fresh(out), card.looks, card.options))
        floors.append(child("floor", str(scout), str(out)))
    large, floor_of_large = least(runs), least(floors)
    mine, theirs = (
        {what: max(b[what] - a[what], 1e-9) / count for what in ("wall", "cpu")}
        for a, b in ((ours, large), (base, floor_of_large))
    )
    seconds = (f"{found['wall']:.2f} s" for found in (mine, theirs))
    return (card.words, *seconds, *two(mine, theirs), f"{mine['cpu']:.2f} / {theirs['cpu']:.2f} s")


def report_resume(folder: Path, card: Card, megapixels: float, repeats: int) -> None:
    """Nothing to do: against start-up and hashing."""
    scout, out = make_scout(folder, card, megapixels), folder / f"out_{card.name}"
    batch(scout, out, card.looks, ("--resume",))
    ours = least([batch(scout, out, card.looks, ("--resume",)) for _ in range(max(2, repeats))])
    base = least([child("hashing", str(scout), str(out)) for _ in range(max(2, repeats))])
    help_ = [sys.executable, "-P", "-m", "lookdev", "encodings"]
    starts = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run(help_, check=True, capture_output=True, env=installed())
        starts.append(time.perf_counter() - start)
    rows = [
        (f"{card.words}, `--resume`, nothing to do", f"{ours['wall']:.2f} s", f"{ours['cpu']:.2f} s"),
        ("hashing the stills", f"{base['stills']:.2f} s", f"{base['stills_cpu']:.2f} s"),
        ("hashing stills and graded stills", f"{base['all']:.2f} s", f"{base['all_cpu']:.2f} s"),
        ("a command that does next to nothing (`lookdev encodings`)", f"{min(starts):.2f} s", ""),
    ]
    table("Nothing to do", ("what", "wall", "CPU"), rows)


def report_cold(folder: Path, card: Card, megapixels: float) -> None:
    """First use against the next: what compiling costs."""
    scout = make_scout(folder, card, megapixels)
    cache = fresh(folder / "kernels")
    cold = batch(scout, fresh(folder / "out_cold"), card.looks, cache=cache)
    warm = batch(scout, fresh(folder / "out_cold"), card.looks, cache=cache)
    rows = [(n, f"{f['wall']:.2f} s", f"{f['cpu']:.2f} s") for n, f in (("first use", cold), ("next", warm))]
    table(f"Cold and warm, {card.words}", ("what", "wall", "CPU"), rows)


def report_workers(folder: Path, card: Card, megapixels: float) -> None:
    """One worker and two."""
    scout = make_scout(folder, card, megapixels)
    found = {n: batch(scout, fresh(folder / "out_workers"), card.looks, workers=n) for n in (1, 2)}
    rows = [
        (n, f"{f['wall']:.2f} s", f"{f['cpu']:.2f} s", f"{f['cpu'] / f['wall']:.2f}",
         f"{found[1]['wall'] / f['wall']:.2f}") for n, f in found.items()
    ]  # fmt: skip
    table(f"Workers, {card.words}", ("workers", "wall", "CPU", "cores busy", "times one"), rows)


def report_cluster(folder: Path, card: Card, megapixels: float) -> None:
    """The same tasks on a Dask scheduler of this machine, workers of one thread each."""
    import distributed

    scout, rows, one = make_scout(folder, card, megapixels), [], 0.0
    for count in (1, 2, 4):
        with distributed.LocalCluster(
            n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster:
            where = ("--cluster", cluster.scheduler_address)
            for warm in (True, False):  # the first run has the workers load kernels and libraries
                found = batch(scout, fresh(folder / "out_cluster"), card.looks, where)
                last = found["graded_last"]
                if not warm:
                    one = one or last
                    rows.append((count, f"{last:.2f} s", f"{one / last:.2f}", f"{found['wall']:.2f} s"))
    heads = ("workers of one thread", "last graded still", "times one", "the whole command")
    table(f"On a cluster of this machine, {card.words}", heads, rows)


def report_large(folder: Path, width: int, height: int) -> None:
    """One JPEG of 200 MP through four looks: how long, how much memory."""
    scout = folder / f"large_{width}"
    if not (scout / "meter.csv").exists():
        scout.mkdir(parents=True, exist_ok=True)
        (scout / "wide.jpg").write_bytes(wide_jpeg(width, height))
        (scout / "meter.csv").write_text("stills,location,source,cct_k\nwide.jpg,Location,lamp,4300\n")
    found = batch(scout, fresh(folder / "out_large"), LOOKS, ("--max-pixels", "250000000"))
    row = (
        f"{width} x {height}",
        f"{found['wall']:.1f} s",
        f"{found['cpu']:.1f} s",
        f"{found['memory']:.0f} MB",
    )
    table("One large JPEG, four looks", ("what", "wall", "CPU", "peak memory"), [row])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--measure", help=argparse.SUPPRESS)
    parser.add_argument("--quick", action="store_true", help="4 MP, fewer stills, no repeats")
    parser.add_argument("--only", default="", help="parts, separated by commas")
    parser.add_argument("--megapixels", type=float, help="of a still")
    parser.add_argument("--count", type=int, help="stills of each card, at most")
    parser.add_argument("--repeats", type=int, help="of each measurement")
    parser.add_argument("--stills", type=Path, help="folder to keep the stills in, for another run")
    options = parser.parse_args()
    if options.measure:
        name, *args = json.loads(options.measure)
        print(json.dumps(MEASURES[name](*args)))
        return
    megapixels = options.megapixels or (4.0 if options.quick else 24.0)
    repeats = options.repeats or (1 if options.quick else 3)
    rest = ("resume", "cold", "workers", "cluster", "large")
    parts = options.only.split(",") if options.only else [*CARDS, *rest]
    most = options.count or (12 if options.quick else 1000)
    cards = {
        n: Card(**{**vars(c), "stills": tuple((k, min(m, most)) for k, m in c.stills)})
        for n, c in CARDS.items()
    }
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.stills or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        chosen = [cards[name] for name in parts if name in cards]
        if chosen:
            report_cards(folder, chosen, megapixels, repeats)
        if "resume" in parts:
            report_resume(folder, cards["jpeg"], megapixels, repeats)
        if "cold" in parts:
            report_cold(folder, cards["one"], megapixels)
        if "workers" in parts:
            report_workers(folder, cards["jpeg"], megapixels)
        if "cluster" in parts:
            report_cluster(folder, cards["raw"], megapixels)
        if "large" in parts:
            report_large(folder, *((6000, 3000) if options.quick else (20000, 10000)))


if __name__ == "__main__":
    main()
