"""A document of pages: text that is measured, pictures placed pixel for pixel, PDF and PNG that agree.

Coordinates are points (1/72 inch) from the top left corner of the page, y downwards. The PDF is written by
reportlab with embedded fonts and no dates, so that the same drawing gives the same bytes; the PNG files are
that PDF, rasterised by pypdfium2. Surround: neutral grey of L* 50, as for judging pictures (ISO 3664 asks for
a neutral, matt surround); black on it has a contrast of 4.7 : 1, white 4.5 : 1 (WCAG 2.2), so small text is
black.

A whole sheet:

>>> from lookdev.pages.document import Document
>>> from lookdev.pages.setting import BODY, BODY_BOLD, HEADING, LABEL, SMALL, Column
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
"""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import SheetError
from lookdev.files import write_whole
from lookdev.pages import fonts
from lookdev.pages.page import Page
from lookdev.pages.raster import own_page, png_bytes
from lookdev.pages.setting import BODY, INK, LABEL, PAPER_WHITE, SURROUND, Box, Colour, Style, unit_rgb

PAPERS_PT = {"a4": (841.890, 595.276), "letter": (792.0, 612.0), "16:9": (720.0, 405.0)}
"""Landscape sizes: ISO 216 A4 (297 x 210 mm), US Letter (11 x 8.5 in), and a screen's shape (10 x 5.6 in)."""

RASTER_DPI = 200
_PDF_TURN, _RASTER_TURN = threading.Lock(), threading.Lock()  # neither library takes two threads at once
MARGIN = 34.0
MISSING_NOTE = "[U+…] is a character that no font here has, by its Unicode number"


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
        page = Page(self.width, self.height, box, self.pixel, surround or self.surround, foot_left=self.foot)
        self.pages.append(page)
        top = box.top
        if title or subject:
            ink = INK if page.surround == PAPER_WHITE else PAPER_WHITE
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
            canvas.setFillColorRGB(*unit_rgb(page.surround))
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
        foot = Page(page.width, page.height, page.content, page.pixel, page.surround)
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
                    pixels = np.zeros((down, across, 3), dtype=np.uint8)
                    kind = raw.FPDFBitmap_BGR
                    bitmap = raw.FPDFBitmap_CreateEx(across, down, kind, pixels.ctypes.data, 3 * across)
                    if not bitmap:
                        raise SheetError("no room for the pixels of a page")
                    how = raw.FPDF_ANNOT | raw.FPDF_REVERSE_BYTE_ORDER
                    raw.FPDF_RenderPageBitmap(bitmap, sheet, 0, 0, across, down, 0, how)
                    raw.FPDFBitmap_Destroy(bitmap)
                    pages.append(pixels)
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
