"""A look as a look transform of ACES: a process list that takes ACES2065-1 and gives it.

The look acts in ACEScct: from the primaries of SMPTE ST 2065-1 to those of Academy S-2014-004, the curve of
ACEScct (S-2016-001) as a Log node, exactly; the look as a LUT; and all the way back. Likewise the plain
rendering, from ACES2065-1, for an output transform.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from lookdev.colorimetry.encodings import ACESCCT, Encoding, get_encoding
from lookdev.colorimetry.rgb_spaces import matrix_between
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.lut.bake import bake_cube
from lookdev.lut.clf import HEAD, clean, lut_node, matrix_node

_DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'
_CCT = (
    f'base="2" logSideSlope="{1 / 17.52:.15g}" logSideOffset="{9.72 / 17.52:.15g}" linSideSlope="1" '
    'linSideOffset="0" linSideBreak="0.0078125" linearSlope="10.5402377416545"'
)


def aces_look_text(
    look: LookLike,
    identifier: str,
    *,
    size: int = 33,
    cast: Cast | None = None,
    notes: Sequence[str] = (),
) -> str:
    """The look alone, ACES2065-1 in and out: the content of a .clf file."""
    transform = look.transform(ACESCCT, ACESCCT, cast)
    nodes = [*_to_cct()]
    if not transform.is_identity:
        nodes.append(lut_node(bake_cube(transform, size)))
    return _listed(identifier, look.title, [*nodes, *_from_cct()], "ACES2065-1", "ACES2065-1", notes)


def aces_plain_text(target: Encoding, identifier: str, *, size: int = 33, notes: Sequence[str] = ()) -> str:
    """The plain rendering, ACES2065-1 in and a picture in ``target`` out: the content of a .clf file."""
    plain = Look(title="Plain rendering")
    nodes = [*_to_cct(), lut_node(bake_cube(plain.transform(ACESCCT, target), size))]
    return _listed(identifier, plain.title, nodes, "ACES2065-1", target.name, notes)


def _to_cct() -> tuple[str, str]:
    ap0 = get_encoding("ACES2065-1").space
    return matrix_node(matrix_between(ap0, ACESCCT.space)), _log_node("cameraLinToLog")


def _from_cct() -> tuple[str, str]:
    ap0 = get_encoding("ACES2065-1").space
    return _log_node("cameraLogToLin"), matrix_node(matrix_between(ACESCCT.space, ap0))


def _log_node(style: str) -> str:
    return f'  <Log {_DEPTHS} style="{style}">\n    <LogParams {_CCT}/>\n  </Log>'


def _listed(
    identifier: str, title: str, nodes: Sequence[str], takes: str, gives: str, notes: Sequence[str]
) -> str:
    head = [
        HEAD.format(identifier=quoteattr(identifier), name=quoteattr(clean(title))),
        *(f"  <Description>{escape(clean(note))}</Description>" for note in notes),
        f"  <InputDescriptor>{takes}</InputDescriptor>",
        f"  <OutputDescriptor>{escape(gives)}</OutputDescriptor>",
    ]
    return "\n".join([*head, *nodes, "</ProcessList>"]) + "\n"
