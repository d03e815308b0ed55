"""Common LUT Format: Academy S-2014-006 version 3, SMPTE ST 2136-1. The look as a process list.

A look that is an ASC CDL in the input encoding becomes an ASC_CDL node (style FwdNoClamp: nothing is clamped,
the power skips values at or below zero) and the plain rendering behind it. Any other look is one 3D LUT. For
linear input a Range and a Log node space the LUT's points as the .cube's shaper does, exactly and not by a
table.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.files import write_whole
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.looks.stages.cdl import CDL
from lookdev.lut.bake import LINEAR_TOP, bake_cube, shaper_log
from lookdev.lut.cdl import as_cdl
from lookdev.lut.cube import CubeLut

Array = NDArray[np.float64]

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList id={identifier} name={name} compCLFversion="3"'
    ' xmlns="urn:AMPAS:CLF:v3.0">'
)
_DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'


def clf_text(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    identifier: str,
    *,
    size: int = 33,
    cast: Cast | None = None,
    notes: Sequence[str] = (),
) -> str:
    """The content of a .clf file; floats, full scale 1.0, values beyond it kept where the nodes keep them."""
    nodes = []
    own = as_cdl(look, source, cast)
    rest: LookLike = look
    if own is not None and not own.is_identity:
        nodes.append(_cdl_node(own))
        rest = Look(title=look.title)
    transform = rest.transform(source, target, cast)
    if source.is_linear:
        nodes.append(_range_node(LINEAR_TOP))
        nodes.append(_log_node())
    if not transform.is_identity:
        nodes.append(lut_node(bake_cube(transform, size)))
    if not nodes:
        nodes.append(matrix_node(np.eye(3)))
    head = [
        HEAD.format(identifier=quoteattr(identifier), name=quoteattr(clean(look.title))),
        *(f"  <Description>{escape(clean(note))}</Description>" for note in notes),
        f"  <InputDescriptor>{escape(source.name)}</InputDescriptor>",
        f"  <OutputDescriptor>{escape(target.name)}</OutputDescriptor>",
    ]
    return "\n".join([*head, *nodes, "</ProcessList>"]) + "\n"


def write_clf(path: Path, text: str) -> None:
    """Write a .clf file, whole or not at all."""
    write_whole(Path(path), text)


def clean(text: str) -> str:
    """``text`` without the characters that XML 1.0 cannot hold."""
    return "".join(c for c in text if c.isprintable() and not 0xD800 <= ord(c) <= 0xDFFF)


def _cdl_node(cdl: CDL) -> str:
    def three(values: Sequence[float]) -> str:
        return " ".join(f"{v:.10g}" for v in values)

    return f"""  <ASC_CDL {_DEPTHS} style="FwdNoClamp">
    <SOPNode>
      <Slope>{three(cdl.slope)}</Slope>
      <Offset>{three(cdl.offset)}</Offset>
      <Power>{three(cdl.power)}</Power>
    </SOPNode>
    <SatNode>
      <Saturation>{cdl.saturation:.10g}</Saturation>
    </SatNode>
  </ASC_CDL>"""


def _range_node(top: float) -> str:
    return f"""  <Range {_DEPTHS} style="Clamp">
    <Description>light from 0 to {top:g}</Description>
    <minInValue>0</minInValue>
    <maxInValue>{top:g}</maxInValue>
    <minOutValue>0</minOutValue>
    <maxOutValue>{top:g}</maxOutValue>
  </Range>"""


def _log_node() -> str:
    parameters = " ".join(f'{name}="{value:.15g}"' for name, value in shaper_log().items())
    return f"""  <Log {_DEPTHS} style="linToLog">
    <Description>spaces the points of the LUT: the same light becomes 0 to 1</Description>
    <LogParams base="2" {parameters}/>
  </Log>"""


def matrix_node(matrix: Array) -> str:
    """A Matrix node of (3, 3)."""
    rows = "\n".join("      " + " ".join(f"{v:.10g}" for v in row) for row in matrix)
    return f"""  <Matrix {_DEPTHS}>
    <Array dim="3 3">
{rows}
    </Array>
  </Matrix>"""


def lut_node(lut: CubeLut) -> str:
    """A LUT3D node of a LUT's 3D table, with the decimals that its .cube has."""
    size, places = lut.size, lut.decimals
    rows = np.round(lut.table.reshape(-1, 3), places) + 0.0  # blue changes fastest: S-2014-006, LUT3D
    line = " ".join([f"%.{places}f"] * 3) + "\n"
    numbers = line * len(rows) % tuple(rows.ravel().tolist())
    return (
        f'  <LUT3D {_DEPTHS} interpolation="tetrahedral">\n'
        f'    <Array dim="{size} {size} {size} 3">\n{numbers}    </Array>\n  </LUT3D>'
    )
