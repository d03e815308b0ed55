"""The .cube file: Cube LUT Specification 1.0 (2013), read as widely as the world writes it.

Written files keep to the specification: ASCII, LF, lines under 250 bytes, TITLE, LUT_3D_SIZE or LUT_1D_SIZE,
DOMAIN_MIN, DOMAIN_MAX, then the table with red fastest. Read files may also carry the variants in use: a
1D input shaper before the 3D table (both sizes in one file), LUT_1D_INPUT_RANGE and LUT_3D_INPUT_RANGE in
place of the domain, and LUT_IN_VIDEO_RANGE / LUT_OUT_VIDEO_RANGE marks.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from typing import Literal, NoReturn

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import LutError
from lookdev.files import plain_ascii, read_ordinary, write_whole
from lookdev.lut.interpolation import lookup_1d, lookup_tetrahedral

Array = NDArray[np.float64]
Triple = tuple[float, float, float]

ZERO: Triple = (0.0, 0.0, 0.0)
ONE: Triple = (1.0, 1.0, 1.0)
MAX_SIZE_3D, MAX_SIZE_1D = 256, 65536  # Cube LUT Specification 1.0, LUT_3D_SIZE and LUT_1D_SIZE
MAX_FILE_BYTES = 1 << 30
_FIRST_BLOCK, _BLOCK = 1 << 12, 1 << 22  # bytes read at a time; bounds what reading takes in memory
_GAPS = np.frombuffer(b"  \n", dtype=np.uint8)
_FLAGS = ("LUT_IN_VIDEO_RANGE", "LUT_OUT_VIDEO_RANGE")


@dataclass(frozen=True, eq=False)
class Shaper:
    """A 1D table (n, 3) in front of a 3D one, with the input range that it spans."""

    table: Array
    domain_min: Triple = ZERO
    domain_max: Triple = ONE

    def __call__(self, signal: ArrayLike) -> Array:
        return lookup_1d(self.table, _position(signal, self.domain_min, self.domain_max))


@dataclass(frozen=True, eq=False)
class CubeLut:
    """A LUT as a .cube file holds it.

    Attributes
    ----------
    table : (n, n, n, 3) by red, green, blue for a 3D LUT; (n, 3) for a 1D LUT. Values unclamped.
    domain_min, domain_max : input values at the table's ends, per channel. Input beyond them is clamped.
    title, comments : as in the file, comments without their ``#``.
    shaper : 1D table applied before a 3D one, or None.
    flags : marks in the file about narrow range (``LUT_IN_VIDEO_RANGE``, ``LUT_OUT_VIDEO_RANGE``).
    decimals : that a 3D table is written with where it stays near [0, 1], 5 or 6.
    """

    table: Array
    domain_min: Triple = ZERO
    domain_max: Triple = ONE
    title: str = ""
    comments: tuple[str, ...] = ()
    shaper: Shaper | None = None
    flags: tuple[str, ...] = ()
    decimals: int = 6

    @property
    def kind(self) -> Literal["1D", "3D"]:
        """``"1D"`` or ``"3D"``."""
        return "1D" if self.table.ndim == 2 else "3D"

    @property
    def size(self) -> int:
        """Points along one edge."""
        return len(self.table)

    @property
    def input_min(self) -> Triple:
        """Lowest input that the LUT tells apart, per channel: the shaper's if there is one."""
        return self.shaper.domain_min if self.shaper else self.domain_min

    @property
    def input_max(self) -> Triple:
        """Highest input that the LUT tells apart, per channel."""
        return self.shaper.domain_max if self.shaper else self.domain_max

    def __call__(self, signal: ArrayLike) -> Array:
        """Output (..., 3) of input (..., 3): tetrahedral in 3D, linear in 1D, unclamped output."""
        values = self.shaper(signal) if self.shaper else signal
        position = _position(values, self.domain_min, self.domain_max)
        look = lookup_1d if self.kind == "1D" else lookup_tetrahedral
        return look(self.table, position)


def identity_cube(size: int, domain_min: Triple = ZERO, domain_max: Triple = ONE) -> CubeLut:
    """The 3D LUT of ``size`` that changes nothing.

    >>> identity_cube(2).table[1, 0, 1].tolist()
    [1.0, 0.0, 1.0]
    """
    return CubeLut(lattice_points(size, domain_min, domain_max), domain_min, domain_max)


def lattice_points(size: int, domain_min: Triple = ZERO, domain_max: Triple = ONE) -> Array:
    """Input values (size, size, size, 3) at the points of a 3D table, indexed by red, green, blue."""
    axes = [
        low + (high - low) * np.arange(size) / (size - 1)
        for low, high in zip(domain_min, domain_max, strict=True)
    ]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)


def _position(signal: ArrayLike, low: Triple, high: Triple) -> Array:
    values = np.asarray(signal, dtype=np.float64)
    if low == ZERO and high == ONE:
        return values
    start = np.array(low)
    return np.asarray((values - start) / (np.array(high) - start))


# ---- writing ---------------------------------------------------------------------------------------------


def write_cube(path: Path, lut: CubeLut) -> None:
    """Write ``lut``; the same LUT gives the same bytes. The file appears whole or not at all.

    Raises
    ------
    LutError : the table is not finite or its size is not one that the specification allows.
    """
    write_whole(Path(path), cube_bytes(lut))


def cube_bytes(lut: CubeLut) -> bytes:
    """The file's content. Tables that stay near [0, 1] get their decimals, others nine significant digits."""
    tables = [lut.table] if lut.shaper is None else [lut.shaper.table, lut.table]
    if not all(np.isfinite(t).all() for t in tables):
        raise LutError("a table with NaN or infinity cannot be written")
    limit = MAX_SIZE_1D if lut.kind == "1D" else MAX_SIZE_3D
    if not 2 <= lut.size <= limit:
        raise LutError(f"{lut.kind} size out of range", found=lut.size, wanted=f"2 to {limit}")
    head = [f"# {line}" for comment in lut.comments for line in _wrapped(comment)]
    title = plain_ascii(lut.title).replace('"', "'")[:200]
    # Readers of the shaper variant know no TITLE.
    head.append(f"# title: {title}" if lut.shaper is not None else f'TITLE "{title}"')
    head += list(lut.flags)
    if lut.shaper is not None:
        low, high = lut.shaper.domain_min, lut.shaper.domain_max
        if len(set(low)) > 1 or len(set(high)) > 1 or (lut.domain_min, lut.domain_max) != (ZERO, ONE):
            raise LutError("a shaper needs one input range for all channels, and a 3D table over 0 to 1")
        head += [f"LUT_1D_SIZE {len(lut.shaper.table)}", f"LUT_1D_INPUT_RANGE {low[0]:.10g} {high[0]:.10g}"]
        head += [f"LUT_3D_SIZE {lut.size}", "LUT_3D_INPUT_RANGE 0 1"]
    else:
        head.append(f"LUT_{lut.kind}_SIZE {lut.size}")
        head.append("DOMAIN_MIN " + " ".join(f"{v:.10g}" for v in lut.domain_min))
        head.append("DOMAIN_MAX " + " ".join(f"{v:.10g}" for v in lut.domain_max))
    parts = [("\n".join(head) + "\n").encode("ascii")]
    for table in tables:
        rows = table if table.ndim == 2 else table.transpose(2, 1, 0, 3).reshape(-1, 3)
        parts.append(_rows_text(rows, lut.decimals if table is lut.table else 6))
    return b"".join(parts)


@cache
def _number_words() -> NDArray[np.uint64]:
    """``0.00000`` to ``1.99999`` with a blank behind: eight letters, a word each."""
    thousand = np.frombuffer("".join(f"{n:03}" for n in range(1000)).encode(), dtype=np.uint8).reshape(-1, 3)
    high, low = np.divmod(np.arange(200_000), 1000)
    text = np.full((200_000, 8), ord(" "), dtype=np.uint8)
    text[:, 0] = high // 100 + ord("0")
    text[:, 1] = ord(".")
    text[:, 2:4] = thousand[high % 100, 1:]
    text[:, 4:7] = thousand[low]
    return text.view(np.uint64)[:, 0]


def _in_unit_text(rows: Array, decimals: int) -> bytes:
    """Rows within [0, 2): what ``%.6f`` or ``%.5f`` gives of them, from a list of all numbers of five."""
    number = np.rint(rows * 10**decimals).astype(np.int32)
    if decimals == 5:
        text = _number_words().take(number).view(np.uint8).reshape(-1, 8)
    else:
        number, last = np.divmod(number.reshape(-1), 10)
        text = np.full((number.size, 9), ord(" "), dtype=np.uint8)
        text[:, :7] = _number_words().take(number).view(np.uint8).reshape(-1, 8)[:, :7]
        text[:, 7] = last + ord("0")
    text[2::3, -1] = ord("\n")
    return bytes(text)


def _rows_text(rows: Array, decimals: int) -> bytes:
    last = 10.0**-decimals
    if rows.min() > -last / 2 and rows.max() < 2.0 - last:
        return _in_unit_text(rows, decimals)
    number = f"%.{decimals}f" if rows.min() > -1.0 and rows.max() < 2.0 else "%.9g"
    clean = rows if number == "%.9g" else np.round(rows, decimals)
    clean = clean + 0.0  # no minus before a zero
    line = f"{number} {number} {number}\n"
    step = 1 << 16
    return "".join(
        line * len(block) % tuple(block.ravel().tolist())
        for block in (clean[i : i + step] for i in range(0, len(clean), step))
    ).encode("ascii")


def _wrapped(comment: str, width: int = 200) -> list[str]:
    text = plain_ascii(comment)
    lines = []
    while len(text) > width:
        cut = text.rfind(" ", 1, width)
        cut = width if cut < 1 else cut
        lines.append(text[:cut])
        text = text[cut:].strip()
    return [*lines, text]


# ---- reading ---------------------------------------------------------------------------------------------


def read_cube(path: Path) -> CubeLut:
    """Read a .cube file.

    The largest, 256 points, takes about as much memory as its file and its table (403 MB) together: measured,
    a peak of 888 MB for 453 MB of text with six decimals, and 1016 MB for 595 MB with nine digits.

    Raises
    ------
    LutError : the file cannot be read or is not a LUT; names the line, what was found and what is wanted.
    """
    path = Path(path)
    header = _Header(path)
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise LutError("too large to be a LUT", file=path, wanted="at most 1 GB")
        rows = _read_rows(_utf8(read_ordinary(path), path), header)
    except OSError as error:
        raise LutError(f"cannot be read: {error.strerror}", file=path) from None
    return _lut(rows, header)


def _utf8(raw: bytes, path: Path) -> bytes:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return raw.decode("utf-16").encode()
        except UnicodeDecodeError:
            raise LutError("is not text", file=path, wanted="a .cube file") from None
    if b"\0" in raw[:65536]:
        raise LutError("is not text", file=path, wanted="a .cube file")
    return raw


class _Header:
    """Keywords as they come; each may stand once, anywhere."""

    def __init__(self, path: Path | str) -> None:
        self.path = path
        self.title = ""
        self.numbers: dict[str, tuple[float, ...]] = {}
        self.lines: dict[str, int] = {}
        self.flags: list[str] = []
        self.comments: list[str] = []

    def fail(self, line: int, problem: str, found: object = None, wanted: str | None = None) -> NoReturn:
        raise LutError(f"line {line}: {problem}", file=self.path, found=found, wanted=wanted)

    def take(self, line: int, text: str) -> None:
        word, _, rest = text.replace("\t", " ").partition(" ")
        keyword = word.upper()
        if keyword == "TITLE":
            self.title = rest.strip().strip('"')
            return
        rest = rest.partition("#")[0]
        if keyword in _FLAGS:
            if keyword not in self.flags:
                self.flags.append(keyword)
            return
        counts = {
            "LUT_1D_SIZE": 1,
            "LUT_3D_SIZE": 1,
            "DOMAIN_MIN": 3,
            "DOMAIN_MAX": 3,
            "LUT_1D_INPUT_RANGE": 2,
            "LUT_3D_INPUT_RANGE": 2,
        }
        if keyword not in counts:
            self.fail(line, "neither a keyword nor numbers", text[:60], "a .cube keyword or three numbers")
        values = []
        for part in rest.split():
            try:
                values.append(_number(part))
            except ValueError:
                self.fail(line, f"{keyword} is not a number", part, "a number")
        if len(values) != counts[keyword] or not np.isfinite(values).all():
            self.fail(line, f"{keyword} is not complete", rest.strip(), f"{counts[keyword]} numbers")
        if keyword in self.numbers and self.numbers[keyword] != tuple(values):
            self.fail(line, f"{keyword} again, not as in line {self.lines[keyword]}", rest.strip())
        if keyword.endswith("_SIZE"):
            limit = MAX_SIZE_1D if keyword == "LUT_1D_SIZE" else MAX_SIZE_3D
            if not (values[0].is_integer() and 2 <= values[0] <= limit):
                self.fail(line, f"{keyword} out of range", rest.strip(), f"a whole number from 2 to {limit}")
        self.numbers[keyword] = tuple(values)
        self.lines[keyword] = line

    def size(self, keyword: str) -> int:
        return int(self.numbers[keyword][0]) if keyword in self.numbers else 0

    @property
    def rows(self) -> int:
        """Rows that the table is to have, as far as is known."""
        return self.size("LUT_1D_SIZE") + self.size("LUT_3D_SIZE") ** 3

    def domain(self, input_range: str) -> tuple[Triple, Triple]:
        """The domain from DOMAIN_MIN and DOMAIN_MAX, or from the input range keyword."""
        low = self.numbers.get("DOMAIN_MIN", ZERO)
        high = self.numbers.get("DOMAIN_MAX", ONE)
        if input_range in self.numbers:
            start, end = self.numbers[input_range]
            low, high = (start,) * 3, (end,) * 3
        if not all(a < b for a, b in zip(low, high, strict=True)):
            where = max(self.lines.get(k, 0) for k in ("DOMAIN_MIN", "DOMAIN_MAX", input_range))
            self.fail(where, "the domain is empty", f"{low} to {high}", "each minimum below its maximum")
        return _triple(low), _triple(high)


def parse_cube(text: str, path: Path | str = "LUT") -> CubeLut:
    """The LUT in the text of a .cube file; ``path`` is for messages.

    >>> lut = parse_cube("LUT_1D_SIZE 2\\n0 0 0\\n1 1 2e0\\n")
    >>> lut.kind, lut([0.5, 0.5, 0.5]).tolist()
    ('1D', [0.5, 0.5, 1.0])
    """
    header = _Header(path)
    return _lut(_read_rows(text.encode("utf-8", "replace"), header), header)


class _Rows:
    """Rows (n, 3) as they come, in one array from the start where the header says how many there will be."""

    def __init__(self) -> None:
        self.count = 0
        self._values: Array = np.empty((0, 3))
        self._lines: list[tuple[int, Sequence[int]]] = []

    @property
    def values(self) -> Array:
        return self._values[: self.count]

    def add(self, values: Array, lines: Sequence[int], expected: int) -> None:
        """More rows and the lines that they stand in; ``expected`` in all, 0 if that is not known."""
        end = self.count + len(values)
        if end > len(self._values):
            room = np.empty((expected if expected >= end else max(end, 2 * len(self._values)), 3))
            room[: self.count] = self.values
            self._values = room
        self._values[self.count : end] = values
        self._lines.append((self.count, lines))
        self.count = end

    def line(self, row: int) -> int:
        """The line that a row, counted from 0, stands in."""
        return next(int(lines[row - first]) for first, lines in reversed(self._lines) if first <= row)


def _read_rows(raw: bytes, header: _Header) -> _Rows:
    """The rows of a file; keywords and comments go to ``header``."""
    rows, start = _Rows(), 1
    least_bytes = len("0 0 0\n")
    for block in _blocks(raw):
        values = _plain_rows(block)
        lines: Sequence[int] = range(start, start + (0 if values is None else len(values)))
        if values is None:
            values, lines = _mixed_rows(block, start, header)
        rows.add(values, lines, min(header.rows, len(raw) // least_bytes + 1))
        start += block.count(b"\n")
    return rows


def _lut(rows: _Rows, header: _Header) -> CubeLut:
    one, three, expected = header.size("LUT_1D_SIZE"), header.size("LUT_3D_SIZE"), header.rows
    if not expected:
        raise LutError(
            "no LUT_1D_SIZE or LUT_3D_SIZE line",
            file=header.path,
            wanted="a .cube file with its table's size",
        )
    if rows.count != expected:
        many = rows.count > expected
        line = rows.line(expected if many else rows.count - 1) if rows.count else 1
        sizes = " and ".join(f"{n} points" for n in (one, three**3) if n)
        problem = f"too {'many' if many else 'few'} rows"
        header.fail(line, problem, f"{rows.count} rows", f"{expected} ({sizes})")
    title = header.title or next((c[7:] for c in header.comments if c.startswith("title: ")), "")
    common = {"title": title, "comments": tuple(header.comments), "flags": tuple(header.flags)}
    low, high = header.domain("LUT_3D_INPUT_RANGE" if three else "LUT_1D_INPUT_RANGE")
    if not three:
        return CubeLut(rows.values.copy(), low, high, **common)  # type: ignore[arg-type]
    table = np.ascontiguousarray(rows.values[one:].reshape(three, three, three, 3).transpose(2, 1, 0, 3))
    if not one:
        return CubeLut(table, low, high, **common)  # type: ignore[arg-type]
    if "LUT_3D_INPUT_RANGE" not in header.numbers:
        low, high = ZERO, ONE
    shaper = Shaper(rows.values[:one].copy(), *header.domain("LUT_1D_INPUT_RANGE"))
    return CubeLut(table, low, high, shaper=shaper, **common)  # type: ignore[arg-type]


def _blocks(raw: bytes) -> Iterator[bytes]:
    """The text in pieces of whole lines, the first of them short: it holds what stands over the table."""
    ending = b"\n" if b"\n" in raw else b"\r"
    begin, size = 3 if raw.startswith(b"\xef\xbb\xbf") else 0, _FIRST_BLOCK
    while begin < len(raw):
        end = raw.find(ending, begin + size) + 1 or len(raw)
        block = raw[begin:end]
        yield block.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in block else block
        begin, size = end, _BLOCK


def _plain_rows(raw: bytes) -> Array | None:
    """(n, 3) of lines that hold three plain finite numbers each and nothing else; None on any doubt."""
    if raw.translate(None, b"0123456789+-.eE \n"):
        return None
    text = np.frombuffer(raw if raw.endswith(b"\n") else raw + b"\n", dtype=np.uint8)
    gaps = np.flatnonzero(text <= ord(" "))
    apart = np.diff(gaps, prepend=-1)
    if len(gaps) % 3 or (apart == 1).any() or (text[gaps].reshape(-1, 3) != _GAPS).any():
        return None
    try:
        values = np.fromiter(map(float, raw.split()), dtype=np.float64, count=len(gaps))
    except ValueError:
        return None
    return values.reshape(-1, 3) if np.isfinite(values).all() else None


def _mixed_rows(raw: bytes, start: int, header: _Header) -> tuple[Array, Sequence[int]]:
    """Rows (n, 3) and their line numbers from ``start`` on; keywords and comments go where they belong."""
    try:
        block = raw.decode("utf-8")
    except UnicodeDecodeError:
        block = raw.decode("latin-1")
    rows: list[list[str]] = []
    numbers: list[int] = []
    for number, text in enumerate(block.split("\n"), start=start):
        line = text.strip()
        if not line:
            continue
        first = line[0]
        if first in "0123456789+-.":
            rows.append((line.partition("#")[0] if "#" in line else line).split())
            numbers.append(number)
        elif first == "#":
            header.comments.append(line[1:].strip())
        elif line[:3].lower() in ("nan", "inf"):
            header.fail(number, "not a finite number", line[:60], "three finite numbers")
        else:
            header.take(number, line)
    return _values(rows, numbers, header), array("i", numbers)


def _values(rows: list[list[str]], numbers: list[int], header: _Header) -> Array:
    """Rows as (n, 3) floats; on any doubt, look again row by row to name the line."""
    lengths = set(map(len, rows))
    try:
        if lengths <= {3}:
            flat = np.array(list(map(float, chain.from_iterable(rows))))
            if np.isfinite(flat).all() and "_" not in "".join(chain.from_iterable(rows)):
                return flat.reshape(-1, 3)
    except ValueError:
        pass
    for number, row in zip(numbers, rows, strict=True):
        for part in row:
            try:
                value = _number(part)
            except ValueError:
                header.fail(number, "text where numbers should be", part, "three numbers")
            if not np.isfinite(value):
                header.fail(number, "not a finite number", part, "three finite numbers")
        if len(row) != 3:
            header.fail(number, "not three numbers", " ".join(row)[:60], "three numbers")
    return np.array([[float(part) for part in row] for row in rows]).reshape(-1, 3)


def _number(text: str) -> float:
    if "_" in text or not text.isascii():
        raise ValueError(text)
    return float(text)


def _triple(values: tuple[float, ...]) -> Triple:
    return (values[0], values[1], values[2])
