"""Our .cube files by foreign readers: fourteen pairs of encodings, the shipped looks, three readers.

OpenColorIO (PyPI opencolorio), colour-science and ffmpeg (imageio-ffmpeg), each by tetrahedral interpolation,
on 4096 colours spread over the input; the largest difference from our own reading, in codes of 1023, over the
looks. ffmpeg writes 16 bits and cuts at 0 and 1; it knows no shaper, so that linear input is not asked of it.
Run as ``python tests/benchmarks/readers.py``.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import cv2
import imageio_ffmpeg
import numpy as np
from PyOpenColorIO import INTERP_TETRAHEDRAL, Config, FileTransform

from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.library import colour_science
from lookdev.lut.bake import LINEAR_TOP, bake_cube
from lookdev.lut.cube import read_cube, write_cube
from lookdev.lut.error import spread_points
from lookdev.lut.received import open_look

PAIRS = (
    ("ACEScct", "BT.709"),
    ("ACEScct", "ACEScct"),
    ("ACEScct", "BT.2100 PQ"),
    ("ACEScct", "BT.2100 HLG"),
    ("ACEScct", "P3-D65"),
    ("S-Log3 S-Gamut3.Cine", "BT.709"),
    ("S-Log3 S-Gamut3", "BT.709 narrow"),
    ("ARRI LogC3 ARRI Wide Gamut 3", "BT.709"),
    ("ARRI LogC4 ARRI Wide Gamut 4", "sRGB"),
    ("V-Log V-Gamut", "BT.709"),
    ("Canon Log 3 Cinema Gamut", "BT.2020"),
    ("BT.709 narrow", "BT.709 narrow"),
    ("sRGB", "Display P3"),
    ("ACEScg", "BT.709"),
)
SIZE = 33
_SHAPE = (64, 64, 3)


def by_opencolorio(path: Path, codes: np.ndarray) -> np.ndarray:
    """Codes (n, 3) through the file."""
    transform = FileTransform(str(path), interpolation=INTERP_TETRAHEDRAL)
    out = np.ascontiguousarray(codes, dtype=np.float32)
    Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor().applyRGB(out)
    return out.astype(float)


def by_colour_science(path: Path, codes: np.ndarray) -> np.ndarray:
    """The same; of a sequence the shaper first."""
    colour = colour_science()
    tetrahedral = {"interpolator": colour.algebra.table_interpolation_tetrahedral}
    shaped = "LUT_1D_SIZE" in path.read_text()[:8000]
    read = colour.io.read_LUT_ResolveCube(str(path)) if shaped else colour.read_LUT(str(path))
    parts = read.sequence if hasattr(read, "sequence") else [read]
    for part in parts:
        codes = part.apply(codes, **(tetrahedral if part is parts[-1] else {}))
    return np.asarray(codes)


def by_ffmpeg(path: Path, codes: np.ndarray) -> np.ndarray:
    """The same, in 16 bits."""
    frame = np.floor(codes.reshape(_SHAPE) * 65535 + 0.5).astype(np.uint16)
    source, target = path.with_suffix(".in.png"), path.with_suffix(".out.png")
    cv2.imwrite(str(source), frame[..., ::-1])
    chain = f"format=rgb48,lut3d={path.name}:interp=tetrahedral,format=rgb48be"
    command = [
        imageio_ffmpeg.get_ffmpeg_exe(),
        "-v",
        "error",
        "-y",
        "-i",
        source.name,
        "-vf",
        chain,
        target.name,
    ]
    subprocess.run(command, check=True, cwd=path.parent)
    return cv2.imread(str(target), cv2.IMREAD_UNCHANGED)[..., ::-1].reshape(-1, 3) / 65535


def main() -> None:
    """Print the table."""
    looks = [open_look(p) for p in sorted((Path(__file__).parents[2] / "looks").glob("*.toml"))]
    print("| from | to | OpenColorIO | colour-science | ffmpeg |\n| --- | --- | --- | --- | --- |")
    spread = np.floor(spread_points()[: _SHAPE[0] * _SHAPE[1]] * 65535 + 0.5) / 65535
    for names in PAIRS:
        source, target = (get_encoding(name) for name in names)
        codes = spread * LINEAR_TOP if source.is_linear else spread
        worst = {"ocio": 0.0, "colour": 0.0, "ffmpeg": 0.0}
        for look in looks:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "l.cube"
                write_cube(path, bake_cube(look.transform(source, target), SIZE))
                ours = read_cube(path)(codes)
                found = {"ocio": by_opencolorio(path, codes), "colour": by_colour_science(path, codes)}
                if not source.is_linear:
                    found["ffmpeg"] = by_ffmpeg(path, codes)
                for name, theirs in found.items():
                    wanted = np.clip(ours, 0, 1) if name == "ffmpeg" else ours
                    worst[name] = max(worst[name], float(np.abs(theirs - wanted).max() * 1023))
        last = "-" if source.is_linear else f"{worst['ffmpeg']:.3f}"
        print(
            f"| {names[0]} | {names[1]} | {worst['ocio']:.3f} | {worst['colour']:.3f} | {last} |", flush=True
        )


if __name__ == "__main__":
    main()
