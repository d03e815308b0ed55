"""A day's sheets against the reduced decodes that they need: one run, one machine, printed as ratios.

    python tests/benchmarks/overview.py             # 120 stills of 24 MP, twelve locations, four looks
    python tests/benchmarks/overview.py --quick     # 24 stills, fewer repeats

It makes its own scout. Every measurement runs in a process of its own, repeats take turns, and the smallest
time counts, as other work on the machine can only add to it. The floor is: open and decode every still at
the reduced scale that its place on the sheet asks for, on as many threads as the sheets use, by the quickest
of the libraries that can, and nothing else.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parent))

from run import CORES, HEIGHT, ROOT, WIDTH, make_stills, peak_memory_mb, table  # noqa: E402

LOCATIONS, LOOKS, PICTURES = 12, 4, 8
OVERVIEW_LAST = "overview_3.png"  # twelve locations take three pages
LAMPS = [(1960, 3200), (2850, 3200), (3980, 4800), (5200, 5600), (2400, 3200), (6480, 5600)]
SETTINGS = tuple((library, n) for n in (8, 4) for library in ("cv2", "Pillow", "simplejpeg"))


def make_scout(folder: Path, count: int) -> Path:
    """A scout of ``count`` stills of 24 MP in twelve locations, no two files with the same bytes."""
    scout = folder / f"scout_{count}"
    scout.mkdir(parents=True, exist_ok=True)
    pictures = [path.read_bytes() for path in make_stills(folder, PICTURES)]
    rows = ["stills,location,source,cct_k,duv,lux,camera_balance_k"]
    for place in range(LOCATIONS):
        lamp_k, camera_k = LAMPS[place % len(LAMPS)]
        rows.append(
            f"{place:02}_*.jpg,Location {place + 1},lamp {place + 1},{lamp_k},0.002,{100 + place},{camera_k}"
        )
    for i in range(count):
        name = f"{i * LOCATIONS // count:02}_{i:03}.jpg"
        data, words = pictures[i % PICTURES], f"still {i}".encode()
        comment = b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words  # ITU-T T.81 B.2.4.5
        if not (scout / name).exists():
            (scout / name).write_bytes(data[:2] + _exif(i) + comment + data[2:])
    (scout / "meter.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return scout


def _exif(number: int) -> bytes:
    """An APP1 segment as a camera writes one, so that there is something to read."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    tags = Image.Exif()
    tags.update({0x0110: "Camera 1", 0x0132: f"2031:03:04 17:{number // 60:02}:{number % 60:02}"})
    tags.get_ifd(0x8769).update({0x829A: IFDRational(1, 60), 0x829D: IFDRational(28, 10), 0x8827: 800})
    body = tags.tobytes()
    return b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body


def look_files() -> list[str]:
    """Four of the shipped looks that change something."""
    from lookdev.looks.toml_file import load_look

    acting = [p for p in sorted((ROOT / "looks").glob("*.toml")) if not load_look(p).is_identity]
    return [str(path) for path in acting[:LOOKS]]


# Each of these runs in a process of its own and returns numbers.


def decodes(scout: str, library: str, reduction: int) -> dict[str, float]:
    """Every still at a reduced scale by one library."""
    import cv2
    import simplejpeg
    from PIL import Image

    cv2.setNumThreads(1)
    flag = getattr(cv2, f"IMREAD_REDUCED_COLOR_{reduction}") | cv2.IMREAD_IGNORE_ORIENTATION

    def by_cv2(path: Path) -> None:
        cv2.imdecode(np.frombuffer(path.read_bytes(), dtype=np.uint8), flag)

    def by_pillow(path: Path) -> None:
        with Image.open(path) as image:
            image.draft(None, (image.width // reduction, image.height // reduction))
            np.asarray(image)

    def by_simplejpeg(path: Path) -> None:
        height, width = -(-HEIGHT // reduction), -(-WIDTH // reduction)
        simplejpeg.decode_jpeg(path.read_bytes(), min_height=height, min_width=width, min_factor=reduction)

    work = {"cv2": by_cv2, "Pillow": by_pillow, "simplejpeg": by_simplejpeg}[library]
    paths = sorted(Path(scout).glob("*.jpg"))
    start, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(work, paths))
    return {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu}


def sheet(scout: str) -> dict[str, float]:
    """The whole ``lookdev sheet`` process: start-up, overview, previews, a sheet a location.

    ``overview`` is when the last page of the overview is there.
    """
    options = [word for look in look_files() for word in ("--looks", look)]
    with tempfile.TemporaryDirectory(dir=Path(scout).parent) as out:
        command = [sys.executable, "-P", "-m", "lookdev", "sheet", scout, *options, "--out", out]
        start = time.perf_counter()
        running = subprocess.Popen(
            [*command, "--workers", str(CORES)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        there = None
        while running.poll() is None:
            time.sleep(0.005)
            if there is None and (Path(out) / OVERVIEW_LAST).exists():
                there = time.perf_counter() - start
        wall = time.perf_counter() - start
        assert running.returncode == 0 and there is not None
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu = used.ru_utime + used.ru_stime
        return {"wall": wall, "cpu": cpu, "memory": used.ru_maxrss / 1024, "overview": there}


def parts(scout: str) -> dict[str, float]:
    """The same work after start-up, as ``build_sheets`` does it, but for the location sheets.

    Deciding, a first still of each location, and the overview while the other stills are read and put through
    the looks; no more pictures are kept than it keeps. Then the drawing of the location sheets by itself.
    Kernels are loaded and lattices are not there yet.
    """
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.graded import plan_tasks
    from lookdev.lut.received import open_looks
    from lookdev.pages import from_batch
    from lookdev.pages.comparison import comparison_sheet
    from lookdev.render.lattice import warm_up
    from lookdev.render.preview import Preview, do_preview
    from lookdev.render.tasks import Task
    from lookdev.survey.survey import SurveyedStill, survey

    warm_up(lambda text: None)
    with tempfile.TemporaryDirectory(dir=Path(scout).parent) as temporary:
        out = Path(temporary)
        clock = [(time.perf_counter(), time.process_time())]

        def lap() -> None:
            clock.append((time.perf_counter(), time.process_time()))

        surveyed, looks = survey(open_scout(Path(scout))), open_looks(look_files())
        tasks = plan_tasks(surveyed, looks, out)
        groups = [list(surveyed.at(name)) for name in surveyed.locations]
        lap()
        with ThreadPoolExecutor(CORES) as pool:

            def load(stills: list[SurveyedStill]) -> dict[str, Preview]:
                names = [still.name for still in stills]
                return dict(zip(names, pool.map(do_preview, map(tasks.__getitem__, names)), strict=True))

            def failure(task: Task) -> str | None:
                return do_preview(task).error

            found = from_batch.first_pictures(load, groups)
            others = [pool.submit(failure, task) for name, task in tasks.items() if name not in found]
            model = from_batch.overview_model(surveyed, looks, from_batch.overview_places(groups, found))
            lap()
            comparison_sheet(model, out / "overview.pdf", out / "overview.png")
            lap()
            assert not any(other.result() for other in others)
            lap()
            drawing = 0.0
            for i, (name, group) in enumerate(zip(surveyed.locations, groups, strict=True)):
                found = load(group)
                start = time.perf_counter()
                model = from_batch.location_model(surveyed, looks, found, name, group)
                comparison_sheet(model, out / f"{i}.pdf", out / f"{i}.png")
                drawing += time.perf_counter() - start
    names = ("deciding", "first stills", "overview", "other stills")
    times = {name: b[0] - a[0] for name, a, b in zip(names, clock, clock[1:], strict=False)}
    wall, cpu = (clock[4][k] - clock[0][k] for k in (0, 1))
    return {**times, "location sheets": drawing, "wall": wall, "cpu": cpu}


MEASURES = {f.__name__: f for f in (decodes, sheet, parts)}


def in_turns(repeats: int, measures: list[tuple[object, ...]]) -> list[dict[str, float]]:
    """The least of each number of each measurement, their repeats taking turns."""
    best: list[dict[str, float]] = [{} for _ in measures]
    for _ in range(repeats):
        for i, measure in enumerate(measures):
            command = [sys.executable, "-P", str(HERE), "--measure", json.dumps(measure)]
            done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
            found = json.loads(done.stdout.splitlines()[-1])
            best[i] = {name: min(value, best[i].get(name, value)) for name, value in found.items()}
    return best


def needed_reduction(scout: Path) -> int:
    """The reduction that leaves twice the size of a still's pictures on the sheet: the rest is for light."""
    from lookdev.jobs.graded import thumbnail_edge_px
    from lookdev.stills.reader import MARGIN, read_info, reduction

    stills = sorted(scout.glob("*.jpg"))
    size, _ = read_info(stills[0])
    edge = thumbnail_edge_px(size, len(stills) // LOCATIONS, LOOKS + 1)
    return reduction(max(size), MARGIN * edge)


def report(folder: Path, count: int, repeats: int) -> None:
    """Measure and print."""
    scout = make_scout(folder, count)
    measures: list[tuple[object, ...]] = [("sheet", str(scout)), ("parts", str(scout))]
    measures += [("decodes", str(scout), library, reduction) for library, reduction in SETTINGS]
    in_turns(1, measures[:1])  # compiles the kernels if need be, and fills the file cache
    whole, pieces, *bare = in_turns(repeats, measures)
    need = needed_reduction(scout)
    enough = [found for (_, n), found in zip(SETTINGS, bare, strict=True) if n == need]
    floor = {kind: min(found[kind] for found in enough) for kind in ("wall", "cpu")}

    def row(name: str, found: dict[str, float]) -> tuple[object, ...]:
        ratios = (f"{found[kind] / floor[kind]:.2f}" for kind in ("wall", "cpu"))
        return (name, f"{found['wall']:.2f} s", f"{found['cpu']:.2f} s", *ratios, f"{found['memory']:.0f} MB")

    heads = ("what", "wall", "CPU", "wall, times the decodes", "CPU, times the decodes", "peak memory")
    title = f"Sheets of {count} stills of 24 MP, {LOCATIONS} locations, {LOOKS} looks, {CORES} threads"
    rows = [
        row(f"decodes at 1/{n}, {library}", found) for (library, n), found in zip(SETTINGS, bare, strict=True)
    ]
    rows.append(row("after start-up: previews of every still, and the overview", pieces))
    rows.append(row("`lookdev sheet`: the whole process, overview and a sheet a location", whole))
    table(f"{title} (1/{need} is enough)", heads, rows)
    there = whole["overview"]
    ratio = there / floor["wall"]
    print(f"\nThe overview is there {there:.2f} s after the process started, {ratio:.2f} times the decodes.")
    names = ("deciding", "first stills", "overview", "other stills", "location sheets")
    table("Parts, after start-up", names, [tuple(f"{pieces[name]:.2f} s" for name in names)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--measure", help=argparse.SUPPRESS)
    parser.add_argument("--quick", action="store_true", help="24 stills, two repeats")
    parser.add_argument("--stills", type=Path, help="folder to keep the stills in, for another run")
    options = parser.parse_args()
    if options.measure:
        name, *args = json.loads(options.measure)
        found = MEASURES[name](*args)
        found.setdefault("memory", peak_memory_mb())
        print(json.dumps(found))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.stills or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        report(folder, 24 if options.quick else 120, 2 if options.quick else 4)


if __name__ == "__main__":
    main()
