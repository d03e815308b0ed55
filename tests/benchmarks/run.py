"""How fast, how much memory, against what: one run, one machine, one minute, printed as ratios.

    python tests/benchmarks/run.py            # all of it, a few minutes
    python tests/benchmarks/run.py --quick    # fewer repeats, smaller growth series

It makes its own 24-megapixel stills. Every measurement runs in a process of its own, repeats take turns, and
the smallest time counts, as other work on the machine can only add to it. The codec floor is: decode each
still once and encode each output, with the library, settings and number of threads that the batch uses, and
nothing else.
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
ROOT = HERE.parents[2]
WIDTH, HEIGHT = 6000, 4000
MEGAPIXELS = WIDTH * HEIGHT / 1e6
QUALITY, SUBSAMPLING, CORES = 92, "4:4:4", 2


def make_stills(folder: Path, count: int) -> list[Path]:
    """Stills of 24 megapixels, the sample frames' content and a camera's noise; the same every time."""
    import cv2

    frames = sorted((ROOT / "sample_frames").glob("*.jpg"))
    paths = []
    for i in range(count):
        path = folder / f"still_{i:02}.jpg"
        paths.append(path)
        if path.exists():
            continue
        small = cv2.imread(str(frames[i % len(frames)])) if frames else _invented(i)
        large = cv2.resize(small, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
        noise = np.random.default_rng(i).normal(0.0, 2.5, large.shape).astype(np.float32)
        pixels = np.clip(large + noise, 0, 255).astype(np.uint8)
        path.write_bytes(cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes())
    return paths


def _invented(seed: int) -> np.ndarray:
    """A room of soft gradients and hard edges, for a checkout without sample frames."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:800, 0:1200].astype(np.float32)
    picture = np.stack([60 + 120 * x / 1200, 50 + 110 * y / 800, 40 + 90 * (x + y) / 2000], axis=-1)
    for _ in range(60):
        top, left = rng.integers(0, 700), rng.integers(0, 1100)
        size, colour = rng.integers(20, 220, 2), rng.integers(10, 245, 3)
        picture[top : top + size[0], left : left + size[1]] = colour * (
            0.6 + 0.4 * x[top : top + size[0], left : left + size[1], None] / 1200
        )
    return picture.astype(np.uint8)


def looks(count: int) -> list[tuple[object, float]]:
    """``count`` different grades: the shipped looks that change something, then those half a stop up."""
    from lookdev.looks.toml_file import load_look

    shipped = [load_look(path) for path in sorted((ROOT / "looks").glob("*.toml"))]
    acting = [look for look in shipped if not look.is_identity]
    return [(acting[i % len(acting)], 0.5 * (i // len(acting))) for i in range(count)]


# Each of these runs in a process of its own and returns numbers.


def batch(folder: str, stills: int, count: int, workers: int = CORES) -> dict[str, float]:
    """Our batch: stills through looks to files, with the sheets' thumbnails; no lattice is there at first."""
    from lookdev.jobs.graded import thumbnail_edge_px
    from lookdev.render.executor import run_tasks
    from lookdev.render.grader import Output
    from lookdev.render.tasks import Task

    edge = thumbnail_edge_px((HEIGHT, WIDTH), max(stills, 2), count + 1)  # one location's sheet
    out = Path(folder) / f"out_{stills}_{count}"
    tasks = [
        Task(
            path,
            tuple(
                Output(look, out / f"{path.stem}__{i}.jpg", exposure_stops=stops, quality=QUALITY)
                for i, (look, stops) in enumerate(looks(count))
            ),
            thumbnails=out / ".lookdev" / "thumbnails",
            thumbnail_box=(edge, edge),
        )
        for path in make_stills(Path(folder), stills)
    ]
    start, cpu = time.perf_counter(), time.process_time()
    results = run_tasks(tasks, state=out / ".lookdev", workers=workers)
    assert all(result.ok for result in results), [result.errors for result in results]
    return {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu}


def floor(folder: str, stills: int, count: int) -> dict[str, float]:
    """Decode each still once, encode what our batch wrote of it, on as many threads."""
    import imagecodecs

    paths = make_stills(Path(folder), stills)
    out = Path(folder) / f"out_{stills}_{count}"
    graded = [
        imagecodecs.jpeg8_decode((out / f"{paths[0].stem}__{i}.jpg").read_bytes()) for i in range(count)
    ]

    def work(path: Path) -> None:
        imagecodecs.jpeg8_decode(path.read_bytes())
        for pixels in graded:
            imagecodecs.jpeg8_encode(pixels, level=QUALITY, subsampling=SUBSAMPLING.replace(":", ""))

    start, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(work, paths))
    return {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu}


def cube_file(folder: str) -> dict[str, float]:
    """A .cube of 65 points written and read, and the same table by numpy's savetxt and loadtxt."""
    from lookdev.lut.cube import CubeLut, identity_cube, read_cube, write_cube

    lut, path = CubeLut(identity_cube(65).table ** 1.1), Path(folder) / "large.cube"
    rows = lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)
    steps = {
        "write": lambda: write_cube(path, lut),
        "read": lambda: read_cube(path),
        "numpy write": lambda: np.savetxt(path, rows, fmt="%.6f"),
        "numpy read": lambda: np.loadtxt(path),
    }
    found = {}
    for name, step in steps.items():
        times = []
        for _ in range(3):
            start = time.perf_counter()
            step()
            times.append(time.perf_counter() - start)
        found[name] = min(times)
    return {**found, "wall": found["write"] + found["read"]}


def paint(folder: str) -> dict[str, float]:
    """The whole Munsell set ranked: one lamp and look after start-up, and ten lamps by four looks."""
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.colorimetry.temperature import balance_white_xy
    from lookdev.looks.cast import Cast
    from lookdev.paint.chip import munsell_set
    from lookdev.paint.light import light_from_illuminant
    from lookdev.paint.match import match
    from lookdev.paint.predict import Site, Viewing, lab_from_signal

    camera = tuple(float(v) for v in balance_white_xy(4300.0))
    lamps = ("D65", "D50", "A", "FL2", "FL7", "FL11", "HP1", "HP4", "LED-B1", "LED-B3")
    views = []
    for lamp in lamps:
        light = light_from_illuminant(lamp)
        site = Site(lamp, light, camera, "benchmark", Cast(light.xy, camera))
        views.append([Viewing(site, look, SRGB) for look, _ in looks(4)])
    deck, target = munsell_set(), lab_from_signal(np.array([0.5, 0.4, 0.4]))
    match(target, [views[0][0]], deck)
    start = time.perf_counter()
    match(target, [views[6][0]], deck)
    one = time.perf_counter() - start
    start = time.perf_counter()
    match(target, [view for place in views for view in place], deck)
    return {"one": one, "forty": time.perf_counter() - start, "wall": one}


def kernel(folder: str) -> dict[str, float]:
    """Our pixel kernel alone, lattices warm: seconds for one look and four, on one thread and two."""
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.render.lattice import CodeLattice, StillGrader
    from lookdev.stills.reader import read_still

    pixels = read_still(make_stills(Path(folder), 1)[0]).pixels
    lattices = [CodeLattice(look.transform(SRGB, SRGB)) for look, _ in looks(4)]  # type: ignore[attr-defined]
    found: dict[str, float] = {}
    for threads in (1, CORES):
        for count in (1, 4):
            times = []
            for _ in range(6):
                own = pixels.copy()  # a batch has no use for the still afterwards either
                start = time.perf_counter()
                grader = StillGrader(own, threads=threads, consume=True)
                for lattice in lattices[:count]:
                    grader(lattice)
                times.append(time.perf_counter() - start)
                grader.close()
            found[f"{count} on {threads}"] = min(times[1:])
    return {**found, "wall": found[f"1 on {CORES}"]}


def ffmpeg(folder: str, stills: int, at_once: int) -> dict[str, float]:
    """One ffmpeg process a still: decode, 33-point .cube with tetrahedral interpolation, encode."""
    import imageio_ffmpeg

    program, cube = imageio_ffmpeg.get_ffmpeg_exe(), _cube_33(Path(folder))

    def work(path: Path) -> None:
        target = Path(folder) / f"ffmpeg_{path.stem}.jpg"
        command = f"-v error -y -i {path} -vf lut3d={cube}:interp=tetrahedral -q:v 2 {target}"
        subprocess.run([program, *command.split()], check=True)

    paths = make_stills(Path(folder), stills)
    start = time.perf_counter()
    with ThreadPoolExecutor(at_once) as pool:
        list(pool.map(work, paths))
    return {"wall": time.perf_counter() - start}


def pillow(folder: str) -> dict[str, float]:
    """Pillow's Color3DLUT filter, 33 points, on a decoded still."""
    from PIL import Image, ImageFilter

    image = Image.open(make_stills(Path(folder), 1)[0]).convert("RGB")
    table = _table_33()
    filtering = ImageFilter.Color3DLUT(33, table.reshape(-1, 3).astype(np.float32).tolist())
    start = time.perf_counter()
    image.filter(filtering)
    return {"wall": time.perf_counter() - start}


def colour_science(folder: str) -> dict[str, float]:
    """colour-science's LUT3D.apply, tetrahedral, on a twentieth of a decoded still, times twenty."""
    import colour
    from colour.algebra import table_interpolation_tetrahedral

    from lookdev.stills.reader import read_still

    pixels = read_still(make_stills(Path(folder), 1)[0]).pixels[: HEIGHT // 20] / 255.0
    lut = colour.LUT3D(table=_table_33().transpose(2, 1, 0, 3))
    start = time.perf_counter()
    lut.apply(pixels, interpolator=table_interpolation_tetrahedral)
    return {"wall": (time.perf_counter() - start) * 20}


def _table_33() -> np.ndarray:
    """(33, 33, 33, 3), red fastest."""
    from lookdev.colorimetry.encodings import SRGB

    axis = np.linspace(0.0, 1.0, 33)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    transform = looks(1)[0][0].transform(SRGB, SRGB)  # type: ignore[attr-defined]
    return transform(np.stack([red, green, blue], axis=-1))


def _cube_33(folder: Path) -> Path:
    path = folder / "look.cube"
    if not path.exists():
        rows = "\n".join("{:.6f} {:.6f} {:.6f}".format(*row) for row in _table_33().reshape(-1, 3))
        path.write_text(f"LUT_3D_SIZE 33\n{rows}\n", encoding="ascii")
    return path


MEASURES = {f.__name__: f for f in (batch, floor, kernel, ffmpeg, pillow, colour_science, cube_file, paint)}


def measured(name: str, *args: object, repeats: int = 1) -> dict[str, float]:
    """The numbers of the quickest of ``repeats`` runs, with the peak memory of the process in megabytes."""
    runs = []
    for _ in range(repeats):
        command = [sys.executable, str(HERE), "--measure", json.dumps([name, *args])]
        done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
        runs.append(json.loads(done.stdout.splitlines()[-1]))
    best = min(runs, key=lambda run: run["wall"])
    best["cpu"] = min(run.get("cpu", run["wall"]) for run in runs)
    return best


def in_turns(repeats: int, *measures: tuple[object, ...]) -> list[dict[str, float]]:
    """Several measurements, their repeats taking turns, so that a busy minute falls on all of them."""
    best: list[dict[str, float]] = []
    for turn in range(repeats):
        for i, (name, *args) in enumerate(measures):
            found = measured(str(name), *args)
            if turn == 0:
                best.append(found)
            else:
                quicker = found if found["wall"] < best[i]["wall"] else best[i]
                best[i] = {**quicker, "cpu": min(found["cpu"], best[i]["cpu"])}
    return best


def peak_memory_mb() -> float:
    """Most memory that this process ever had resident. (ru_maxrss also counts what it was forked from.)"""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def table(title: str, head: tuple[str, ...], rows: list[tuple[object, ...]]) -> None:
    """Print a Markdown table."""
    print(f"\n{title}\n\n| " + " | ".join(head) + " |\n|" + " --- |" * len(head))
    for row in rows:
        print("| " + " | ".join(str(cell) for cell in row) + " |")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--measure", help=argparse.SUPPRESS)
    parser.add_argument("--quick", action="store_true", help="fewer repeats, smaller growth series")
    parser.add_argument("--stills", type=Path, help="folder to keep the stills in, for another run")
    options = parser.parse_args()
    if options.measure:
        name, *args = json.loads(options.measure)
        found = MEASURES[name](*args)
        found["memory"] = peak_memory_mb()
        print(json.dumps(found))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = str(options.stills or temporary)
        Path(folder).mkdir(parents=True, exist_ok=True)
        report(folder, 2 if options.quick else 4, options.quick)


def report(folder: str, repeats: int, quick: bool) -> None:
    """Measure and print."""
    many = 12 if quick else 24
    make_stills(Path(folder), many)
    measured("batch", folder, 8, 4)  # compiles the kernels if need be, and writes what the floor encodes
    measured("batch", folder, 8, 1)
    measured("batch", folder, many, 4)
    day, base_day = in_turns(max(1, repeats // 2), ("batch", folder, many, 4), ("floor", folder, many, 4))
    four, base4, one, base1 = in_turns(
        repeats,
        ("batch", folder, 8, 4),
        ("floor", folder, 8, 4),
        ("batch", folder, 8, 1),
        ("floor", folder, 8, 1),
    )
    rows: list[tuple[object, ...]] = []
    for count, name, ours, base in (
        (many, "four looks", day, base_day),
        (8, "four looks", four, base4),
        (8, "one look", one, base1),
    ):
        rows.append(
            (
                f"batch of {count} stills, {name}",
                f"{ours['wall'] / count:.2f} s a still",
                f"{base['wall'] / count:.2f} s",
                f"{ours['wall'] / base['wall']:.2f}",
                f"{ours['cpu'] / base['cpu']:.2f}",
                f"{ours['memory']:.0f} MB",
            )
        )
    heads = ("what", "ours", "codec floor", "wall, times the floor", "CPU, times the floor", "peak memory")
    table(f"Batch, {MEGAPIXELS:.0f} MP stills, JPEG {QUALITY} {SUBSAMPLING}, {CORES} workers", heads, rows)

    pixels = measured("kernel", folder, repeats=repeats)
    apart, together = in_turns(max(2, repeats // 2), ("ffmpeg", folder, 8, 1), ("ffmpeg", folder, 8, 2))
    external, paired = apart["wall"] / 8, together["wall"] / 8
    filtered = measured("pillow", folder, repeats=2)["wall"]
    science = measured("colour_science", folder)["wall"]
    two = pixels[f"1 on {CORES}"]
    rows = [
        ("kernel, one look, 2 threads", f"{two:.3f} s", f"{MEGAPIXELS / two:.0f} MP/s", "1"),
        (
            "kernel, one look, 1 thread",
            f"{pixels['1 on 1']:.3f} s",
            f"{MEGAPIXELS / pixels['1 on 1']:.0f} MP/s",
            "",
        ),
        (
            "kernel, four looks, 2 threads",
            f"{pixels[f'4 on {CORES}']:.3f} s",
            f"{4 * MEGAPIXELS / pixels[f'4 on {CORES}']:.0f} MP/s",
            "",
        ),
        (
            "Pillow Color3DLUT, 33 points",
            f"{filtered:.2f} s",
            f"{MEGAPIXELS / filtered:.0f} MP/s",
            f"{filtered / two:.1f} times ours",
        ),
        (
            "colour-science LUT3D, tetrahedral, 33 points",
            f"{science:.0f} s",
            f"{MEGAPIXELS / science:.2f} MP/s",
            f"{science / two:.0f} times ours",
        ),
        (
            "ffmpeg process a still, decode + 33 points + encode, one after the other",
            f"{external:.2f} s",
            f"{MEGAPIXELS / external:.0f} MP/s",
            f"{external / (one['wall'] / 8):.1f} times our batch a still",
        ),
        (
            "the same, two processes at once",
            f"{paired:.2f} s",
            f"{MEGAPIXELS / paired:.0f} MP/s",
            f"{paired / (one['wall'] / 8):.1f} times our batch a still",
        ),
    ]
    table("Pixels, one still", ("what", "time", "speed", "ratio"), rows)

    text, chips = measured("cube_file", folder, repeats=repeats), measured("paint", folder, repeats=repeats)
    rows = [
        (f".cube, 65 points, {kind}", f"{text[kind]:.2f} s", f"{text['numpy ' + kind] / text[kind]:.1f}")
        for kind in ("write", "read")
    ]
    table("Text", ("what", "time", "numpy's savetxt or loadtxt, times ours"), rows)
    rows = [
        ("one lamp, one look", f"{chips['one']:.2f} s"),
        ("ten lamps, four looks", f"{chips['forty']:.2f} s"),
    ]
    table("Paint, the whole Munsell set ranked", ("what", "time"), rows)

    rows = []
    for stills in (1, 4, 8) if quick else (1, 4, 16):
        found = four if stills == 8 else measured("batch", folder, stills, 4, repeats=max(1, repeats // 2))
        rows.append((stills, 4, *_growth(found, stills)))
    for count in (1, 2, 4, 8):
        found = measured("batch", folder, 4, count, repeats=max(1, repeats // 2))
        rows.append((4, count, *_growth(found, 4)))
    heads = ("stills", "looks", "wall", "wall a still", "CPU a still", "peak memory")
    table("Growth", heads, rows)


def _growth(found: dict[str, float], stills: int) -> tuple[str, ...]:
    each = (f"{found[kind] / stills:.2f} s" for kind in ("wall", "cpu"))
    return (f"{found['wall']:.2f} s", *each, f"{found['memory']:.0f} MB")


if __name__ == "__main__":
    main()
