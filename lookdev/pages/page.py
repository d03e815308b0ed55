"""A document of pages: text that is measured, pictures placed pixel for pixel, PDF and PNG that agree.

Coordinates are points (1/72 inch) from the top left corner of the page, y downwards. The PDF is written by
reportlab with embedded fonts and no dates, so that the same drawing gives the same bytes; the PNG files are
that PDF, rasterised by pypdfium2. Surround: neutral grey of L* 50, as for judging pictures (ISO 3664 asks for
a neutral, matt surround); black on it has a contrast of 4.7 : 1, white 4.5 : 1 (WCAG 2.2), so small text is
black.

A whole sheet:

>>> from lookdev.pages.page import BODY, BODY_BOLD, HEADING, LABEL, SMALL, Column, Document
>>> import numpy as np
>>> doc = Document("Light notes", paper="a4")          # or "letter"; landscape=False for portrait
>>> page = doc.new_page("Low Ferry", "Light notes · Net loft")   # title strip; the foot gets "1 / 1"
>>> x, y = page.content.left, page.content.top
>>> y = page.text(x, y, "Net loft", HEADING, width=300)     # y is a top; returns the bottom
>>> y = page.paragraph(x, y + 6, 240, "One long paragraph, wrapped to the width given.", BODY)
>>> table = page.table(x, y + 8, [Column("Source", 120), Column("CCT", 60, "right")],
...                    [["sodium lamp", "1960 K"], ["window", "6480 K"]])
>>> page.swatch(x, table.bottom + 8, 72, 48, (0.35, 0.42, 0.40))   # sRGB 0..1, or 8-bit integers
>>> page.line(x, table.bottom + 64, x + 72, table.bottom + 64)
>>> page.marker(x + 10, table.bottom + 80, "diamond", 6)
>>> picture = np.zeros((120, 180, 3), np.uint8)        # uint8 sRGB; one sample is one PNG pixel
>>> box = page.image(x + 200, table.bottom + 8, picture)       # on the pixel grid, lossless
>>> doc.faults()                                     # overlapping or cut text: assert it is [] in tests
[]
>>> pdf = doc.pdf_bytes()                            # or doc.save(pdf_path, png_path)
>>> pdf[:5]
b'%PDF-'

``page.room(y)`` says how many points are left over the foot; begin another page with ``doc.new_page(...)``.
Text never runs out of its place: ``text(..., width=w)`` shrinks to ``min_size`` and then wraps (or, with
``overflow="ellipsis"``, ends in "…"); ``paragraph`` wraps; ``table`` wraps in each cell.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import SheetError
from lookdev.files import write_whole
from lookdev.pages import fonts
from lookdev.pages.raster import draw_jpeg, draw_pixels, own_page, png_bytes

Colour = Sequence[float] | Sequence[int]
Align = Literal["left", "centre", "right"]
Overflow = Literal["wrap", "ellipsis"]

PAPERS_PT = {"a4": (841.890, 595.276), "letter": (792.0, 612.0), "16:9": (720.0, 405.0)}
"""Landscape sizes: ISO 216 A4 (297 x 210 mm), US Letter (11 x 8.5 in), and a screen's shape (10 x 5.6 in)."""

RASTER_DPI = 200
_PDF_TURN, _RASTER_TURN = threading.Lock(), threading.Lock()  # neither library takes two threads at once
MARGIN = 34.0
MIN_SIZE = 7.0

SURROUND = (119, 119, 119)  # L* 50.0
INK = (0, 0, 0)
PAPER_WHITE = (255, 255, 255)
HAIRLINE = (70, 70, 70)
"""sRGB, 8 bits, all neutral, so that nothing on the page tints the eye."""

MISSING_NOTE = "[U+…] is a character that no font here has, by its Unicode number"


@dataclass(frozen=True)
class Style:
    """How text is set: size in points, weight, colour, and line distance as a multiple of the size."""

    size: float
    weight: str = fonts.REGULAR
    colour: Colour = INK
    leading: float = 1.28

    @property
    def line(self) -> float:
        """Distance between baselines in points."""
        return self.size * self.leading

    def width(self, text: str) -> float:
        """Width of ``text`` in points."""
        return fonts.text_width(text, self.size, self.weight)


HEADING = Style(19, fonts.SEMIBOLD, PAPER_WHITE, 1.15)
SUBHEADING = Style(11.5, fonts.SEMIBOLD, PAPER_WHITE, 1.2)
BODY = Style(9)
BODY_BOLD = Style(9, fonts.SEMIBOLD)
SMALL = Style(7.5)
SMALL_BOLD = Style(7.5, fonts.SEMIBOLD)
LABEL = Style(7.0)


@dataclass(frozen=True)
class Box:
    """A rectangle in points from the top left of the page."""

    left: float
    top: float
    right: float
    bottom: float
    what: str = ""

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def overlaps(self, other: Box, slack: float = 0.05) -> bool:
        """Whether the two share more than ``slack`` points in both directions."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across > slack and down > slack


@dataclass(frozen=True)
class Column:
    """A table column: its heading, width in points, alignment."""

    heading: str
    width: float
    align: Align = "left"


@dataclass(frozen=True)
class TableEnd:
    """Where a table stopped: the y under it, and how many rows are drawn: fewer than given on a full page."""

    bottom: float
    rows: int


@dataclass
class Page:
    """One page. Made by :meth:`Document.new_page`; see the module for the calls."""

    document: Document
    width: float
    height: float
    content: Box
    texts: list[Box] = field(default_factory=list)
    pictures: list[Box] = field(default_factory=list)
    foot_left: str = ""
    has_missing_characters: bool = False
    surround: Colour | None = None
    _draw: list[Callable[[Any], None]] = field(default_factory=list)

    def room(self, y: float) -> float:
        """Points between ``y`` and the bottom of the content."""
        return self.content.bottom - y

    # text ---------------------------------------------------------------------------------------------------

    def text(
        self,
        x: float,
        top: float,
        text: str,
        style: Style = BODY,
        *,
        width: float | None = None,
        align: Align = "left",
        lines: int = 1,
        min_size: float = MIN_SIZE,
        overflow: Overflow = "wrap",
        max_lines: int | None = None,
    ) -> float:
        """Text with its top at ``top``; returns the bottom. Without ``width``, one line as wide as it is.

        With ``width`` the text is made to fit: smaller, down to ``min_size``, until it takes at most
        ``lines`` lines; then wrapped into more (past ``max_lines`` it ends in "…"), or, with
        ``overflow="ellipsis"``, ended by "…" in the last of ``lines``. ``align`` is within ``x`` to
        ``x + width``, or about ``x`` without a width.
        """
        if width is not None:
            style = fitted(text, style, width, min_size, lines)
            limit = lines if overflow == "ellipsis" else max_lines
            return self.paragraph(x, top, width, text, style, align=align, max_lines=limit)
        self._line(x, top, fonts.clean(text), style, width or 0.0, align)
        return top + style.line

    def paragraph(
        self,
        x: float,
        top: float,
        width: float,
        text: str,
        style: Style = BODY,
        *,
        align: Align = "left",
        max_lines: int | None = None,
    ) -> float:
        """Text wrapped to ``width``, line feeds kept. Returns the bottom. Past ``max_lines``: "…"."""
        for line in lines_of(text, style, width, max_lines):
            self._line(x, top, line, style, width, align)
            top += style.line
        return top

    def _line(self, x: float, top: float, text: str, style: Style, width: float, align: Align) -> None:
        if not text.strip():
            return
        set_width = style.width(text)
        x += {"left": 0.0, "centre": (width - set_width) / 2, "right": width - set_width}[align]
        baseline = (
            top + (style.line - style.size * (fonts.ASCENT + fonts.DESCENT)) / 2 + style.size * fonts.ASCENT
        )
        self.texts.append(
            Box(
                x,
                baseline - style.size * fonts.ASCENT,
                x + set_width,
                baseline + style.size * fonts.DESCENT,
                text,
            )
        )
        self._set(x, baseline, text, style)
        if fonts.missing_characters(text, style.weight):
            self.has_missing_characters = True

    def _set(self, x: float, baseline: float, text: str, style: Style) -> None:
        pieces, y = fonts.runs(text, style.weight), self.height - baseline

        def draw(canvas: Any) -> None:
            line = canvas.beginText(x, y)
            line.setFillColorRGB(*unit_rgb(style.colour))
            for font_name, piece in pieces:
                line.setFont(font_name, style.size)
                line.textOut(piece)
            canvas.drawText(line)

        self._draw.append(draw)

    def table(
        self,
        x: float,
        top: float,
        columns: Sequence[Column],
        rows: Sequence[Sequence[str | Colour]],
        style: Style = SMALL,
        *,
        heading_style: Style = LABEL,
        padding: float = 3.0,
        gap: float = 8.0,
        max_lines: int = 12,
        bottom: float | None = None,
    ) -> TableEnd:
        """A table with hairlines, cells wrapped; a colour in place of text is a small swatch.

        Stops before ``bottom`` (the foot of the content unless given) and says how many rows it drew.
        """
        limit = self.content.bottom if bottom is None else bottom
        edge = x + sum(c.width for c in columns) + gap * (len(columns) - 1)
        y = top
        if any(c.heading for c in columns):
            y = self._table_row(x, y, columns, [c.heading for c in columns], heading_style, padding, gap, 4)
            self.line(x, y, edge, y)
        drawn = 0
        for row in rows:
            if y + table_row_height(columns, row, style, padding, max_lines) > limit + 0.01:
                break
            y = self._table_row(x, y, columns, row, style, padding, gap, max_lines)
            self.line(x, y, edge, y, width=0.25)
            drawn += 1
        return TableEnd(y, drawn)

    def _table_row(
        self,
        x: float,
        top: float,
        columns: Sequence[Column],
        row: Sequence[str | Colour],
        style: Style,
        padding: float,
        gap: float,
        max_lines: int,
    ) -> float:
        for column, cell in zip(columns, row, strict=True):
            if isinstance(cell, str):
                self.paragraph(
                    x, top + padding, column.width, cell, style, align=column.align, max_lines=max_lines
                )
            else:
                self.swatch(x, top + padding, min(column.width, style.line * 2), style.line, cell)
            x += column.width + gap
        return top + table_row_height(columns, row, style, padding, max_lines)

    # pictures and colours -----------------------------------------------------------------------------------

    def snap(self, value: float) -> float:
        """The nearest place on the pixel grid of the PNG, in points."""
        pixel = self.document.pixel
        return round(value / pixel) * pixel

    def image(
        self,
        x: float,
        top: float,
        pixels: NDArray[np.uint8],
        *,
        width: float | None = None,
        height: float | None = None,
    ) -> Box:
        """Place a uint8 sRGB picture (h, w, 3), lossless; returns its box.

        Without ``width`` and ``height`` (points) one sample is one pixel of the PNG, and the PNG shows the
        very same values. The top left corner goes to the nearest pixel.
        """
        if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size == 0:
            raise SheetError(
                "a picture on a sheet is uint8 (height, width, 3)", found=f"{pixels.dtype} {pixels.shape}"
            )
        box = self._place_pixels(x, top, pixels, width, height)
        self.pictures.append(box)
        return box

    def photograph(
        self, x: float, top: float, jpeg: bytes, size: tuple[int, int], width: float, height: float
    ) -> Box:
        """Place a JPEG of ``size`` (width, height) in pixels as it is, in a box in points."""
        box = Box(x, top, x + width, top + height, "picture")

        def draw(canvas: Any) -> None:
            draw_jpeg(canvas, jpeg, size, x, self.height - box.bottom, width, height)

        self._draw.append(draw)
        self.pictures.append(box)
        return box

    def backdrop(self, x: float, top: float, pixels: NDArray[np.uint8]) -> Box:
        """As :meth:`image`, one sample a pixel, for a ground that lines and words may lie on."""
        return self._place_pixels(x, top, pixels, None, None)

    def _place_pixels(
        self, x: float, top: float, pixels: NDArray[np.uint8], width: float | None, height: float | None
    ) -> Box:
        pixel = self.document.pixel
        box_width = pixels.shape[1] * pixel if width is None else width
        box_height = pixels.shape[0] * pixel if height is None else height
        left, upper = self.snap(x), self.snap(top)
        box = Box(left, upper, left + box_width, upper + box_height, "picture")
        data = np.ascontiguousarray(pixels)
        # pdfium rounds a picture's corners outwards: a hundredth of a pixel keeps it on its own pixels
        inset = pixel * 0.01

        def draw(canvas: Any) -> None:
            x_0, y_0 = left + inset, self.height - box.bottom + inset
            draw_pixels(canvas, data, x_0, y_0, box_width - 2 * inset, box_height - 2 * inset)

        self._draw.append(draw)
        return box

    def swatch(
        self,
        x: float,
        top: float,
        width: float,
        height: float,
        colour: Colour,
        *,
        outline: Colour | None = None,
        outline_width: float = 0.5,
    ) -> None:
        """A filled rectangle of an sRGB colour (floats in 0..1, or 8-bit integers).

        Its edges go to the pixel grid, so that two swatches that touch have no seam.
        """
        left, upper, right, lower = (self.snap(v) for v in (x, top, x + width, top + height))
        points = [(left, upper), (right, upper), (right, lower), (left, lower)]
        self.polygon(points, fill=colour, outline=outline, width=outline_width)

    # lines --------------------------------------------------------------------------------------------------

    def line(
        self,
        x_1: float,
        y_1: float,
        x_2: float,
        y_2: float,
        *,
        colour: Colour = HAIRLINE,
        width: float = 0.4,
        dash: Sequence[float] | None = None,
    ) -> None:
        """A straight line; ``width`` in points."""
        self.polyline([(x_1, y_1), (x_2, y_2)], colour=colour, width=width, dash=dash)

    def polyline(
        self,
        points: Iterable[tuple[float, float]],
        *,
        colour: Colour = INK,
        width: float = 0.8,
        dash: Sequence[float] | None = None,
    ) -> None:
        """An open line through points (x, y)."""
        self._path(list(points), close=False, fill=None, stroke=colour, width=width, dash=dash)

    def polygon(
        self,
        points: Iterable[tuple[float, float]],
        *,
        fill: Colour | None = None,
        outline: Colour | None = None,
        width: float = 0.5,
    ) -> None:
        """A closed shape, filled, outlined or both."""
        self._path(list(points), close=True, fill=fill, stroke=outline, width=width, dash=None)

    def marker(
        self,
        x: float,
        y: float,
        kind: str = "circle",
        size: float = 5.0,
        *,
        fill: Colour | None = INK,
        outline: Colour | None = None,
        width: float = 0.8,
    ) -> None:
        """A mark on (x, y), ``size`` points across: circle, square, diamond, triangle, cross, plus."""
        r = size / 2
        if kind in ("cross", "plus"):
            ends = [(r, r), (r, -r)] if kind == "cross" else [(r, 0.0), (0.0, r)]
            for dx, dy in ends:
                self.line(x - dx, y - dy, x + dx, y + dy, colour=outline or fill or INK, width=width)
            return
        turns = {"circle": 32, "square": 4, "diamond": 4, "triangle": 3}
        if kind not in turns:
            raise SheetError("unknown marker", found=kind, wanted=", ".join([*turns, "cross", "plus"]))
        start = {"square": 45.0, "triangle": -90.0}.get(kind, 0.0)
        angles = np.radians(start + np.arange(turns[kind]) * 360.0 / turns[kind])
        reach = r * (2**0.5 if kind == "square" else 1.15 if kind == "triangle" else 1.0)
        points = [(x + reach * float(np.cos(a)), y + reach * float(np.sin(a))) for a in angles]
        self.polygon(points, fill=fill, outline=outline, width=width)

    def _path(
        self,
        points: list[tuple[float, float]],
        *,
        close: bool,
        fill: Colour | None,
        stroke: Colour | None,
        width: float,
        dash: Sequence[float] | None,
    ) -> None:
        if len(points) < 2:
            return

        def draw(canvas: Any) -> None:
            path = canvas.beginPath()
            path.moveTo(points[0][0], self.height - points[0][1])
            for x, y in points[1:]:
                path.lineTo(x, self.height - y)
            if close:
                path.close()
            if fill is not None:
                canvas.setFillColorRGB(*unit_rgb(fill))
            if stroke is not None:
                canvas.setStrokeColorRGB(*unit_rgb(stroke))
                canvas.setLineWidth(width)
                canvas.setLineJoin(1)
            canvas.setDash(*([list(dash)] if dash else [[], 0]))
            canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

        self._draw.append(draw)

    # examination --------------------------------------------------------------------------------------------

    def faults(self) -> list[str]:
        """Every text that lies over another text or a picture, and everything that leaves the page."""
        found = []
        for kind, boxes in (("text", self.texts), ("picture", self.pictures)):
            for box in boxes:
                spill = max(-box.left, -box.top, box.right - self.width, box.bottom - self.height)
                if spill > 0.1:
                    found.append(f"{kind} leaves the page: {box.what!r}")
        ordered = sorted(self.texts, key=lambda b: b.top)
        for i, one in enumerate(ordered):
            for other in ordered[i + 1 :]:
                if other.top > one.bottom:
                    break
                if one.overlaps(other):
                    found.append(f"text over text: {one.what!r} and {other.what!r}")
            found += [f"text over a picture: {one.what!r}" for p in self.pictures if one.overlaps(p)]
        found += [
            "picture over a picture"
            for i, one in enumerate(self.pictures)
            for other in self.pictures[i + 1 :]
            if one.overlaps(other)
        ]
        return found


class Document:
    """Pages of one size that become one PDF and one PNG a page.

    Parameters
    ----------
    title : what the PDF calls itself.
    paper : "a4" or "letter".
    landscape : the long side across.
    surround : sRGB of the page.
    dpi : pixels per inch of the PNG; the page size is rounded to whole pixels (0.2 mm at most).

    Raises
    ------
    SheetError : unknown paper.
    """

    def __init__(
        self,
        title: str,
        *,
        paper: str = "a4",
        landscape: bool = True,
        surround: Colour = SURROUND,
        dpi: int = RASTER_DPI,
        foot: str = "",
        numbered_pages: bool = True,
    ) -> None:
        if paper.casefold() not in PAPERS_PT:
            raise SheetError("unknown paper", found=paper, wanted=" or ".join(PAPERS_PT))
        long_side, short_side = PAPERS_PT[paper.casefold()]
        self.title, self.dpi, self.surround, self.foot = title, dpi, surround, foot
        self.paper, self.numbered_pages = paper.casefold(), numbered_pages
        self.pixel = 72.0 / dpi
        across, down = (long_side, short_side) if landscape else (short_side, long_side)
        self.size_px = (round(across / self.pixel), round(down / self.pixel))
        self.width, self.height = (n * self.pixel for n in self.size_px)
        self.pages: list[Page] = []

    def new_page(self, title: str = "", subject: str = "", *, surround: Colour | None = None) -> Page:
        """A page with a title strip (``title`` left, ``subject`` right, a hairline under them) and a foot.

        ``surround`` : a ground of its own.

        The strip takes as many lines as the two need; ``page.content`` is what is left.
        """
        box = Box(MARGIN, MARGIN - 8, self.width - MARGIN, self.height - MARGIN - 6)
        page = Page(self, self.width, self.height, box)
        page.foot_left, page.surround = self.foot, surround
        self.pages.append(page)
        top = box.top
        if title or subject:
            ink = INK if (surround or self.surround) == PAPER_WHITE else PAPER_WHITE
            left_style, right_style = Style(10.5, fonts.SEMIBOLD, ink), replace(BODY, colour=INK)
            wanted = right_style.width(fonts.clean(subject))
            right_width = min(wanted + 0.01, box.width * 0.55) if subject else 0.0
            left_width = box.width - right_width - 16
            drop = (left_style.line - right_style.line) * 0.62
            ends = [
                page.text(box.left, top, title, left_style, width=left_width, max_lines=2),
                page.text(
                    box.right - right_width, top + drop, subject, right_style,
                    width=right_width, align="right", max_lines=2,
                ) if subject else top,
            ]  # fmt: skip
            top = max(ends) + 3
            page.line(box.left, top, box.right, top)
            top += 10
        page.content = Box(box.left, top, box.right, box.bottom - 12)
        return page

    def faults(self) -> list[str]:
        """Overlapping or cut text on any page; empty if the document is sound."""
        return [f"page {n}: {fault}" for n, page in enumerate(self.pages, 1) for fault in page.faults()]

    def pdf_bytes(self) -> bytes:
        """The PDF. The same drawing gives the same bytes."""
        from reportlab import rl_config

        with _PDF_TURN:
            as_text, rl_config.useA85 = rl_config.useA85, 0  # binary streams: a fifth smaller
            try:
                return self._written()
            finally:
                rl_config.useA85 = as_text

    def _written(self) -> bytes:
        from reportlab.pdfgen.canvas import Canvas

        buffer = io.BytesIO()
        canvas = Canvas(
            buffer,
            pagesize=(self.width, self.height),
            invariant=1,
            pageCompression=1,
            initialFontName=fonts.registered(
                fonts.REGULAR
            ),  # else each page names a font that is not embedded
        )
        canvas.setTitle(fonts.clean(self.title))
        canvas.setCreator("lookdev")
        canvas.setAuthor("lookdev")
        canvas.setProducer("lookdev")
        for number, page in enumerate(self.pages, 1):
            canvas.setFillColorRGB(*unit_rgb(page.surround or self.surround))
            canvas.rect(0, 0, self.width, self.height, stroke=0, fill=1)
            for draw in page._draw:
                draw(canvas)
            for draw in self._foot(page, number) if self.numbered_pages else ():
                draw(canvas)
            canvas.showPage()
        canvas.save()
        return buffer.getvalue()

    def _foot(self, page: Page, number: int) -> list[Callable[[Any], None]]:
        """Page number, the document's foot words, and the note on characters that no font has."""
        foot = Page(self, page.width, page.height, page.content)
        left, right, top = MARGIN, self.width - MARGIN, self.height - MARGIN + 2
        count = f"{number} / {len(self.pages)}"
        room = right - left - LABEL.width(count) - 16
        note = MISSING_NOTE if page.has_missing_characters else ""
        words = " · ".join(w for w in (page.foot_left, note) if w)
        foot.text(right, top, count, LABEL, align="right")
        if words:
            foot.text(left, top, words, LABEL, width=room, overflow="ellipsis")
        return foot._draw

    def png_pages(self, pdf: bytes | None = None) -> list[NDArray[np.uint8]]:
        """The pages as pixels (h, w, 3), rasterised from the PDF."""
        import pypdfium2
        from pypdfium2 import raw

        across, down = self.size_px
        data = self.pdf_bytes() if pdf is None else pdf
        with _RASTER_TURN:
            document = pypdfium2.PdfDocument(data)
            try:
                pages = []
                for sheet in document:
                    bitmap = pypdfium2.PdfBitmap.new_native(across, down, raw.FPDFBitmap_BGR)
                    how = raw.FPDF_ANNOT | raw.FPDF_REVERSE_BYTE_ORDER
                    raw.FPDF_RenderPageBitmap(bitmap, sheet, 0, 0, across, down, 0, how)
                    pages.append(np.array(bitmap.to_numpy(), order="C"))
                    bitmap.close()
                return pages
            finally:
                document.close()

    def save(self, pdf_path: Path | None, png_path: Path | None = None) -> list[Path]:
        """Write the PDF and one PNG a page (NAME.png, NAME_2.png, ...); whole files; returns the paths.

        Further pages, of a longer document that this tool wrote under the name before, are taken away.
        """
        pdf, written = self.pdf_bytes(), []
        if pdf_path is not None:
            write_whole(pdf_path, pdf)
            written.append(Path(pdf_path))
        if png_path is not None:
            for number, pixels in enumerate(self.png_pages(pdf), 1):
                path = numbered(Path(png_path), number)
                write_whole(path, png_bytes(pixels, self.dpi, number))
                written.append(path)
            remove_further_pages(Path(png_path), len(self.pages))
        return written


def remove_further_pages(png_path: Path, count: int) -> None:
    """Remove pages after ``count`` as this tool wrote them; a file that anyone else made or changed stays."""
    number = count + 1
    while (path := numbered(png_path, number)).is_file() and not path.is_symlink():
        try:
            if not own_page(path.read_bytes(), number):
                return
            path.unlink()
        except OSError:
            return
        number += 1


def numbered(path: Path, number: int) -> Path:
    """NAME.png for page 1, NAME_2.png for page 2, and so on."""
    return path if number == 1 else path.with_name(f"{path.stem}_{number}{path.suffix}")


def unit_rgb(colour: Colour) -> tuple[float, float, float]:
    """sRGB in 0..1, clipped, of floats in 0..1 or 8-bit integers.

    >>> unit_rgb((255, 0, 51))
    (1.0, 0.0, 0.2)
    """
    values = np.asarray(colour)
    if values.shape != (3,):
        raise SheetError("a colour has three values", found=str(colour))
    scale = 255.0 if np.issubdtype(values.dtype, np.integer) else 1.0
    red, green, blue = (float(v) for v in np.clip(values / scale, 0.0, 1.0))
    return red, green, blue


def fitted(text: str, style: Style, width: float, min_size: float = MIN_SIZE, lines: int = 1) -> Style:
    """``style``, smaller where ``text`` takes more than ``lines`` lines, down to ``min_size``."""
    size, text = style.size, _clipped(text, lines)
    while size > min_size and len(fonts.wrap(text, size, width, style.weight)) > lines:
        size = max(min_size, size - 0.5)
    return style if size == style.size else replace(style, size=size)


def _clipped(text: str, lines: int | None) -> str:
    """No more of ``text`` than ``lines`` lines could hold on any page, so that absurd input costs no time."""
    return text if lines is None else text[: (lines + 1) * 400]


def lines_of(text: str, style: Style, width: float, max_lines: int | None = None) -> list[str]:
    """The lines of ``text`` in ``width`` points; more than ``max_lines`` end in "…"."""
    lines = fonts.wrap(_clipped(text, max_lines), style.size, width, style.weight)
    if max_lines is None or len(lines) <= max_lines:
        return lines
    last = fonts.shorten(lines[max_lines - 1] + " " + lines[max_lines], style.size, width, style.weight)
    if not last.endswith("…"):
        last = fonts.shorten(last + "…" * 2, style.size, width, style.weight)
    return [*lines[: max_lines - 1], last]


def text_height(text: str, style: Style, width: float, max_lines: int | None = None) -> float:
    """Height in points that :meth:`Page.paragraph` will take."""
    return len(lines_of(text, style, width, max_lines)) * style.line


def table_row_height(
    columns: Sequence[Column],
    row: Sequence[str | Colour],
    style: Style = SMALL,
    padding: float = 3.0,
    max_lines: int = 12,
) -> float:
    """Height in points of one table row."""
    if len(row) != len(columns):
        raise SheetError("a table row needs one cell a column", found=len(row), wanted=str(len(columns)))
    heights = [
        text_height(cell, style, column.width, max_lines) if isinstance(cell, str) else style.line
        for column, cell in zip(columns, row, strict=True)
    ]
    return max(heights, default=0.0) + 2 * padding


def as_uint8(srgb: ArrayLike) -> NDArray[np.uint8]:
    """uint8 of sRGB signal in 0..1, rounded half up and clipped."""
    return np.asarray(np.clip(np.floor(np.asarray(srgb) * 255.0 + 0.5), 0, 255), dtype=np.uint8)
