"""``lookdev pitch`` alone, against its own reduced decodes and the encodes of what it wrote.

    python tests/benchmarks/pitch.py                           # 24 JPEGs of 24 MP, 12 places, four looks
    python tests/benchmarks/pitch.py --quick                   # of 4 MP, one repeat
    python tests/benchmarks/pitch.py --stills FOLDER           # keep the stills there, for another run

The floor is measured in the same run, by the same libraries and on as many threads: every call of a decoder
that read a still, with what it was asked for, and every call of an encoder whose bytes are in the PDF or in
the page, done again alone. Encodes that were tried and not kept are no part of it. Ours is the whole command,
start-up included.
"""

from __future__ import annotations

import argparse
import base64
import json
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
ROOT = HERE.parents[2]
sys.path[:0] = [str(HERE.parent), str(ROOT / "tests")]

from evening import (  # noqa: E402
    CARDS,
    LOOKS,
    MEASURED,
    Call,
    fresh,
    installed,
    least,
    look_files,
    make_scout,
    noted_calls,
    two,
)  # fmt: skip
from run import CORES, table  # noqa: E402

GOAL = 1.3


def floor(scout: str, out: str) -> dict[str, Any]:
    """Make the pitch once and note what its codecs did; then do that alone."""
    import imagecodecs
    import simplejpeg

    import lookdev

    calls = noted_calls(
        (simplejpeg, "decode_jpeg"), (simplejpeg, "encode_jpeg"), (imagecodecs, "webp_encode")
    )
    looks = tuple(lookdev.load_look(Path(path)) for path in look_files(LOOKS))
    lookdev.pitch(lookdev.PitchRequest(lookdev.open_scout(Path(scout)), looks, Path(out), workers=CORES))
    page, pdf = (Path(out, f"pitch.{suffix}").read_bytes() for suffix in ("html", "pdf"))
    stills = {path.stat().st_size for path in Path(scout).iterdir()}

    def counts(call: Call) -> bool:
        if call.name == "decode_jpeg":
            return len(call.args[0]) in stills
        return call.made in pdf or base64.b64encode(call.made) in page

    kept = [call for call in calls if counts(call)]
    for call in kept:
        call.options.pop("buffer", None)  # memory of a still that is gone

    start, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(CORES) as pool:
        seconds = list(pool.map(Call.again, kept))
    found: dict[str, Any] = {"wall": time.perf_counter() - start, "cpu": time.process_time() - cpu}
    for name in ("decode_jpeg", "encode_jpeg", "webp_encode"):
        mine = [s for s, call in zip(seconds, kept, strict=True) if call.name == name]
        found[name] = {
            "kept": len(mine), "called": sum(c.name == name for c in calls), "seconds": sum(mine)
        }  # fmt: skip
    return found


def pitch(scout: Path, out: Path) -> dict[str, float]:
    """The whole command: wall, CPU, peak memory."""
    chosen = [word for path in look_files(LOOKS) for word in ("--looks", path)]
    command = [sys.executable, "-P", "-m", "lookdev", "pitch", str(scout), *chosen, "--out", str(out)]
    measured = [sys.executable, "-c", MEASURED, *command]
    running = subprocess.run(measured, capture_output=True, text=True, env=installed())
    if running.returncode:
        raise SystemExit(running.stderr[-2000:])
    return dict(json.loads(running.stdout))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--floor", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--quick", action="store_true", help="4 MP, one repeat")
    parser.add_argument("--repeats", type=int, help="of each measurement")
    parser.add_argument("--stills", type=Path, help="folder to keep the stills in, for another run")
    options = parser.parse_args()
    if options.floor:
        print(json.dumps(floor(*options.floor)))
        return
    repeats = options.repeats or (1 if options.quick else 3)
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.stills or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        card, out = CARDS["jpeg"], folder / "out_pitch"
        scout = make_scout(folder, card, 4.0 if options.quick else 24.0)
        ours, base = [], []
        pitch(scout, fresh(out))  # compiles, fills the file cache
        for _ in range(repeats):
            ours.append(pitch(scout, fresh(out)))
            command = [sys.executable, "-P", str(HERE), "--floor", str(scout), str(fresh(out))]
            done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
            base.append(json.loads(done.stdout.splitlines()[-1]))
        best, least_base = least(ours), least(base)
        size = {path.suffix: path.stat().st_size / 1e6 for path in out.iterdir()}
        row = (
            f"{card.words}, {LOOKS} looks", f"{best['wall']:.2f} s", f"{least_base['wall']:.2f} s",
            *two(best, least_base), GOAL, f"{best['cpu']:.1f} / {least_base['cpu']:.1f} s",
            f"{best['cpu'] / best['wall']:.2f}", f"{best['memory']:.0f} MB",
            f"{size['.pdf']:.1f}, {size['.html']:.1f} MB",
        )  # fmt: skip
        heads = (
            "what", "ours", "floor", "wall, times the floor", "CPU, times the floor", "goal",
            "CPU, ours / floor", "cores busy", "peak memory", "PDF, page",
        )  # fmt: skip
        table("`lookdev pitch` against its own reduced decodes and encodes", heads, [row])
        rows = [
            (name, part["kept"], part["called"], f"{part['seconds']:.2f} s")
            for name, part in least_base.items()
            if isinstance(part, dict)
        ]
        table("What the floor holds", ("call", "in the files", "made", "CPU of the first"), rows)


if __name__ == "__main__":
    main()
