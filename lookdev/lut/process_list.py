"""A process list that came in: Common LUT Format (Academy S-2014-006, SMPTE ST 2136-1), read by OpenColorIO.

Every process node of the standard is that library's to read and to apply; nothing of it is done here. It
works in 32-bit floats. What it would pass over with a warning is refused: a node left out is another look.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import LutError
from lookdev.files import read_ordinary
from lookdev.lut.cube import ONE, ZERO, CubeLut, Triple, lattice_points

Array = NDArray[np.float64]

MAX_BYTES = 1 << 28
_TABLE_POINTS = 65
_DROPPED = ("unrecognized", "ignored", "not a supported")


@dataclass(frozen=True, eq=False)
class ProcessList:
    """A .clf as it came in; acts on code values as a :class:`CubeLut` does. Picklable.

    ``raw`` its bytes; ``title``, ``comments`` from its own words; ``nodes`` what it is made of, in order;
    ``takes`` and ``gives`` its InputDescriptor and OutputDescriptor.
    """

    raw: bytes
    title: str
    comments: tuple[str, ...]
    nodes: tuple[str, ...]
    takes: str = ""
    gives: str = ""

    kind = "CLF"
    input_min: Triple = ZERO
    input_max: Triple = ONE

    @property
    def size(self) -> str:
        """Its nodes, in words."""
        return ", ".join(self.nodes) or "no nodes"

    @cached_property
    def _processor(self) -> Any:
        import PyOpenColorIO as OCIO  # noqa: N814

        # without its quick powers and logarithms, which are some 5e-6 off
        return _read(self.raw, Path("LUT.clf")).getOptimizedCPUProcessor(OCIO.OPTIMIZATION_LOSSLESS)

    def __getstate__(self) -> dict[str, Any]:
        return {name: self.__dict__[name] for name in self.__dataclass_fields__ if name in self.__dict__}

    def __call__(self, signal: ArrayLike) -> Array:
        """Output (..., 3) of input (..., 3), unclamped but where a node clamps."""
        values = np.array(signal, dtype=np.float32, order="C")
        flat = values.reshape(-1, 3)
        if flat.size:
            self._processor.applyRGB(flat)
        return flat.astype(np.float64).reshape(values.shape)

    def table(self, points: int = _TABLE_POINTS) -> CubeLut:
        """A table over 0 to 1 of what it does, to examine it by."""
        return CubeLut(self(lattice_points(points)), title=self.title, comments=self.comments)


def read_clf(path: Path) -> ProcessList:
    """Read a .clf file.

    Raises
    ------
    LutError : it cannot be read, is no process list, or holds what OpenColorIO does not know.
    """
    path = Path(path)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise LutError("too large to be a process list", file=path, wanted=f"at most {MAX_BYTES} bytes")
        raw = read_ordinary(path)
    except OSError as error:
        raise LutError(f"cannot be read: {error.strerror}", file=path) from None
    if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
        raise LutError("has a document type or entities, which a process list never needs", file=path)
    if b"ProcessList" not in raw[:65536]:
        raise LutError("is no process list", file=path, wanted="Common LUT Format, Academy S-2014-006")
    group = _read(raw, path).createGroupTransform()
    head = group.getFormatMetadata()
    words = [(e.getElementName(), " ".join(e.getElementValue().split())) for e in head.getChildElements()]
    names = dict(head.getAttributes())
    title = str(names.get("name") or names.get("id") or path.stem)[:120]
    comments = tuple(text for name, text in words if name in ("Description", "Info") and text)
    ends = dict(words)
    nodes = tuple(_node(transform) for transform in group)
    return ProcessList(
        raw, title, comments, nodes, ends.get("InputDescriptor", ""), ends.get("OutputDescriptor", "")
    )


def _reason(message: str) -> str:
    """What OpenColorIO found wrong, without its paths and its lines about itself."""
    for mark in ("failed with: ", "Error is: ", "parsing error: "):
        message = message.rpartition(mark)[2] or message
    return " ".join(message.partition(" At line")[0].split()).strip(" '.")[:160]


def _node(transform: Any) -> str:
    name = type(transform).__name__.removesuffix("Transform")
    if name == "Lut3D":
        return f"3D LUT of {transform.getGridSize()}"
    if name == "Lut1D":
        return f"1D LUT of {transform.getLength()}"
    return {"CDL": "ASC CDL", "ExponentWithLinear": "Exponent", "LogAffine": "Log", "LogCamera": "Log"}.get(
        name, name
    )


def _read(raw: bytes, path: Path) -> Any:
    """OpenColorIO's processor for the list; ``path`` for messages."""
    import PyOpenColorIO as OCIO  # noqa: N814

    said: list[str] = []
    OCIO.SetLoggingFunction(said.append)
    try:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "list.clf"
            file.write_bytes(raw)
            OCIO.ClearAllCaches()
            processor = OCIO.Config.CreateRaw().getProcessor(OCIO.FileTransform(str(file)))
    except OCIO.Exception as error:
        raise LutError(f"cannot be read as a process list: {_reason(str(error))}", file=path) from None
    finally:
        OCIO.ResetToDefaultLoggingFunction()
    dropped = next((line for line in said if any(word in line.casefold() for word in _DROPPED)), None)
    if dropped is not None:
        words = dropped.partition("list.clf")[2].strip() or dropped.strip()
        raise LutError(f"holds what OpenColorIO does not read: {' '.join(words.split())[:160]}", file=path)
    return processor
