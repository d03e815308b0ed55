"""Write munsell_renotation.csv: ``python -m lookdev.colorimetry.make_munsell_renotation``.

Source: the Munsell renotation data (Newhall, Nickerson, Judd 1943, J. Opt. Soc. Am. 33, 385; the basis of
ASTM D1535) as colour-science carries them, "all" with a mark on the "real" ones. Kept as a file of our own so
that a notation can be had without the second that colour-science takes to import.
"""

from __future__ import annotations

from pathlib import Path

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.munsell import parse_hue
from lookdev.files import write_whole

FILE = Path(__file__).with_name("munsell_renotation.csv")


def renotation_csv() -> str:
    """The text of the file: hue, value, chroma, x, y (illuminant C, 2 degree observer), real (1 or 0)."""
    colour = colour_science()
    data = colour.notation.MUNSELL_COLOURS
    real = {spec for spec, _ in data["Munsell Colours Real"]}
    rows = sorted(data["Munsell Colours All"], key=lambda r: (r[0][1], parse_hue(r[0][0]), r[0][2]))
    lines = ["hue,value,chroma,x,y,real"]
    for (hue, value, chroma), xyy in rows:
        lines.append(
            f"{hue},{value:g},{chroma:g},{xyy[0]:.6g},{xyy[1]:.6g},{int((hue, value, chroma) in real)}"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    write_whole(FILE, renotation_csv())
