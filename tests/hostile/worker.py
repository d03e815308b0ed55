"""Reads damaged files in a process of its own: one JSON line a file, so that a crash names its file.

Usage: worker.py FOLDER. Kinds by suffix: ``.csv`` meter log, ``.toml`` look, ``.icc`` profile, else still.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
import traceback
from pathlib import Path
from typing import Any

LIMIT_BYTES = 2 << 30
_written: list[str] = []


def _watch(event: str, arguments: tuple[Any, ...]) -> None:
    """Note every file opened for writing, and every rename, removal and folder made."""
    if event == "open":
        path, mode, flags = arguments
        writes = isinstance(mode, str) and any(c in mode for c in "wax+")
        writes = writes or (isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) != 0)
        if writes and str(path) != os.devnull and not isinstance(path, int):
            _written.append(str(path))
    elif event in ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "shutil.rmtree", "subprocess.Popen"):
        _written.append(f"{event} {arguments[0]}")


def read(path: Path) -> None:
    """Read one file with the reader of its kind; anything but a LookdevError is a fault of ours."""
    import numpy as np

    if path.suffix == ".csv":
        from lookdev.meter.log import read_meter_log

        log = read_meter_log(path)
        for reading in log.readings:
            reading.white_xy, reading.cct_duv  # noqa: B018
    elif path.suffix == ".toml":
        from lookdev.looks.toml_file import load_look

        load_look(path)
    elif path.suffix == ".icc":
        from lookdev.stills.icc import encoding_from_icc

        encoding = encoding_from_icc(path.read_bytes())
        grid = np.repeat(np.linspace(0, 1, 33)[:, None], 3, axis=1)
        light = encoding.to_working(grid)
        if not np.all(np.isfinite(light)) or not np.all(np.isfinite(encoding.from_working(light))):
            raise ArithmeticError("a profile that decodes to no number")
    else:
        from lookdev.stills.reader import read_info, read_still

        still = read_still(path, max_pixels=40_000_000, salvage=path.stem.endswith("s"), max_edge_px=256)
        read_info(path, max_pixels=40_000_000)
        if not np.all(np.isfinite(still.signal())) or not np.all(
            np.isfinite(still.encoding.to_working(still.signal()))
        ):
            raise ArithmeticError("pixels that are no number")


def peak_mb() -> int:
    """Most memory that this process had since it was started; ru_maxrss counts what forked it, too."""
    with open("/proc/self/status", encoding="ascii") as status:  # noqa: PTH123, no file of the project
        words = {line.split(":")[0]: line.split() for line in status}
    return int(words["VmHWM"][1]) // 1024


def main() -> None:
    """Read every file of the folder, in order of name."""
    from lookdev.errors import LookdevError

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    paths = sorted(Path(sys.argv[1]).iterdir())
    skip = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    for warm in ("lookdev.stills.reader", "lookdev.meter.log", "lookdev.looks.toml_file", "PIL.Image", "cv2"):
        __import__(warm)
    for path in paths[skip:]:
        print(json.dumps({"start": path.name}), flush=True)
        del _written[:]
        start, outcome, said = time.process_time(), "read", ""
        try:
            read(path)
        except LookdevError as error:
            outcome, said = "refused", str(error)
        except BaseException:
            outcome, said = "traceback", traceback.format_exc()
        line = {
            "name": path.name,
            "outcome": outcome,
            "said": said,
            "seconds": round(time.process_time() - start, 3),
            "peak_mb": peak_mb(),
            "wrote": list(_written),
        }
        print(json.dumps(line), flush=True)


if __name__ == "__main__":
    sys.addaudithook(_watch)
    main()
