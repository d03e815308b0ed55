"""The pitch as a PDF in a screen's shape: a cover, a page a place, before and after, colour script, ticks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.rgb_spaces import WORKING, matrix_between
from lookdev.pages import fonts
from lookdev.pages.document import Document
from lookdev.pages.faces_page import faces_block
from lookdev.pages.page import Page
from lookdev.pages.pitch_model import STOOD, Picture, Pitch, PitchLook, PitchPlace, alternates, strip_of
from lookdev.pages.setting import INK, PAPER_WHITE, Box, Colour, Style, text_height

DPI = 220
JPEG_QUALITIES = (90, 95, 98)
"""The first at which CIEDE2000 against the graded still, over what four by four pixels mix to, is under
:data:`MOST_APART` at the 95th percentile. 90 does for photographs (0.5 to 0.8, three quarters of the bytes of
95), pure noise takes 98. Pixel by pixel no JPEG of 8 bits stays under 1: its colour conversion alone rounds
to 1.1 to 1.2, at quality 100."""
MOST_APART = 0.95
SAMPLED_BLOCKS = 2048
SCRIPT_COLOURS = 6
MARGIN = 30.0
GAP = 10.0


@dataclass(frozen=True)
class Ground:
    """What surrounds the pictures: all neutral, so that nothing tints the eye."""

    page: Colour
    ink: Colour
    soft: Colour
    line: Colour


GROUNDS = {
    "dark": Ground((20, 20, 20), (232, 232, 232), (165, 165, 165), (88, 88, 88)),
    "grey": Ground((119, 119, 119), (0, 0, 0), (0, 0, 0), (60, 60, 60)),
}


class _Maker:
    def __init__(self, pitch: Pitch) -> None:
        self.pitch, self.ground = pitch, GROUNDS[pitch.surround]
        self.encoded: list[bytes] = []
        self.document = Document(pitch.title, paper="16:9", surround=self.ground.page, numbered_pages=False)
        ink, soft = self.ground.ink, self.ground.soft
        self.film = Style(38, fonts.SEMIBOLD, ink, 1.3)
        self.head = Style(16, fonts.SEMIBOLD, ink, 1.2)
        self.title = Style(11.5, fonts.SEMIBOLD, ink, 1.2)
        self.body = Style(9.5, fonts.REGULAR, ink, 1.25)
        self.quiet = Style(9.5, fonts.REGULAR, soft, 1.25)
        self.small = Style(9, fonts.REGULAR, soft, 1.3)
        self.code = Style(9, fonts.SEMIBOLD, ink, 1.3)

    def page(self) -> Page:
        page = self.document.new_page()
        page.content = Box(MARGIN, MARGIN, page.width - MARGIN, page.height - MARGIN)
        return page

    def photograph(self, page: Page, picture: Picture, box: Box) -> None:
        """A picture in a box of its own shape, at :data:`DPI` of its place, or as many pixels as it has."""
        from lookdev.pages.thumbnails import resize_srgb

        height, width = picture.shape[:2]
        across = max(1, min(width, round(box.width / 72 * DPI)))
        size = (across, max(1, round(across * height / width)))
        pixels = resize_srgb(picture, (size[1], size[0]))
        self.encoded.append(_jpeg(pixels))
        page.photograph(box.left, box.top, self.encoded[-1], size, box.width, box.height)

    # pages --------------------------------------------------------------------------------------------------

    def cover(self) -> None:
        page, places = self.page(), self.pitch.in_order()
        content = page.content
        columns = min(
            len(places), 4 if len(places) in (4, 7, 8) else 6 if len(places) > 6 else max(len(places), 3)
        )
        rows = [places[i : i + columns] for i in range(0, len(places), columns)]
        width = (content.width - GAP * (columns - 1)) / max(columns, 1)
        head = text_height(self.pitch.title, self.film, content.width, 2)
        words = self.small.line + 8 + GAP
        most = (content.height - head - self.body.line * 2) / max(len(rows), 1) - words
        frames = [[_fit(place.shown, width, min(150.0, most)) for place in row] for row in rows]
        heights = [max((h for _, h in row), default=0.0) + self.small.line + 8 for row in frames]
        top = content.bottom - sum(heights) - GAP * (len(heights) - 1)
        y = max(content.top, (top - head - self.body.line) * 0.52)
        y = page.paragraph(content.left, y, content.width, self.pitch.title, self.film, max_lines=2)
        if self.pitch.date:
            page.text(content.left, y + 4, self.pitch.date, self.quiet, width=content.width)
        for row, sizes, height in zip(rows, frames, heights, strict=True):
            for at, (place, (w, h)) in enumerate(zip(row, sizes, strict=True)):
                left = content.left + at * (width + GAP)
                self.photograph(page, place.shown, Box(left, top, left + w, top + h))
                page.text(
                    left, top + h + 4, place.name, self.small, width=width, overflow="ellipsis", min_size=9
                )
            top += height + GAP

    def places(self) -> None:
        for place in self.pitch.in_order():
            self.place(place)

    def place(self, place: PitchPlace) -> None:
        if place.drawn is not None:
            self.document.pages.append(place.drawn.page)
            return
        picture = place.shown
        if picture.shape[1] / picture.shape[0] >= 2.05:
            self._across(place, picture)
        else:
            self._beside(place, picture)

    def _across(self, place: PitchPlace, picture: Picture) -> None:
        page = self.page()
        width, height = _fit(picture, page.width, page.height - 96.0)
        left = (page.width - width) / 2
        self.photograph(page, picture, Box(left, 0.0, left + width, height))
        others = alternates(len(self.pitch.looks), place.proposed)
        small_w, small_h = _fit(picture, 116.0, page.height - height - 44.0)
        right = page.width - MARGIN
        start = right - len(others) * small_w - max(len(others) - 1, 0) * GAP
        top = height + 15.0
        for at, other in enumerate(others):
            x = start + at * (small_w + GAP)
            self.photograph(page, place.pictures[other], Box(x, top, x + small_w, top + small_h))
            title = self.pitch.looks[other].title
            page.text(x, top + small_h + 3, title, self.small, width=small_w, overflow="ellipsis", min_size=9)
        self._words(page, place, Box(MARGIN, top - 5, start - 16 if others else right, page.height - 7))

    def _beside(self, place: PitchPlace, picture: Picture) -> None:
        page = self.page()
        width, height = _fit(picture, page.width - 196.0, page.height)
        middle = page.height / 2
        self.photograph(page, picture, Box(0.0, middle - height / 2, width, middle + height / 2))
        left, right = width + 18.0, page.width - 18.0
        y = self._words(page, place, Box(left, 22.0, right, page.height * 0.52)) + 12.0
        others = alternates(len(self.pitch.looks), place.proposed)
        if not others:
            return
        room, line = page.height - 22.0 - y, self.small.line + 8.0
        count = len(others)
        down = _fit(picture, right - left, room / count - line)
        across = _fit(picture, (right - left - GAP * (count - 1)) / count, room - line)
        in_a_row = across[0] > down[0]
        small_w, small_h = across if in_a_row else down
        step_x, step_y = (small_w + GAP, 0.0) if in_a_row else (0.0, small_h + line)
        x, y = left, page.height - 18.0 - (1 if in_a_row else count) * (small_h + line)
        for other in others:
            self.photograph(page, place.pictures[other], Box(x, y, x + small_w, y + small_h))
            title, room = self.pitch.looks[other].title, small_w if in_a_row else right - left
            page.text(x, y + small_h + 3, title, self.small, width=room, overflow="ellipsis", min_size=9)
            x, y = x + step_x, y + step_y

    def _words(self, page: Page, place: PitchPlace, box: Box) -> float:
        """Name, look, the cinematographer's words, the light, the look's note, as far as there is room.

        Of the light the first sentence is what a director asks for; the next give way to the note.
        """
        look = self.pitch.looks[place.proposed]
        y = page.text(box.left, box.top, place.name, self.head, width=box.width, min_size=12, max_lines=2)
        title = f"{look.title}, chosen" if place.chosen else look.title
        y = page.text(box.left, y + 1, title, self.title, width=box.width, overflow="ellipsis")
        light, rest = place.light, text_height(look.note, self.quiet, box.width) if look.note else 0.0
        rest += text_height(place.words, self.body, box.width) if place.words else 0.0
        while ". " in light and y + rest + text_height(light, self.quiet, box.width) > box.bottom + 2:
            light = f"{light.rpartition('. ')[0]}."
        for text, style in ((place.words, self.body), (light, self.quiet), (look.note, self.quiet)):
            room = int((box.bottom - y + 2) // style.line)
            if text and room > 0:
                y = page.paragraph(box.left, y, box.width, text, style, max_lines=room)
        return y

    def before_and_after(self) -> None:
        places = self.pitch.in_order()
        pages = -(-len(places) // 8)
        most = -(-len(places) // pages)
        for start in range(0, len(places), most):
            self._pairs(places[start : start + most])

    def _pairs(self, some: list[PitchPlace]) -> None:
        """Pairs on one page, before over or beside after, as is larger."""
        page = self.page()
        content = page.content
        y = page.text(content.left, content.top - 8, "Before and after", self.head) + 8
        columns = 4 if len(some) > 6 else 2 if len(some) in (2, 4) else min(3, len(some))
        rows = -(-len(some) // columns)
        gap = GAP * 1.6
        each = (content.bottom - y - gap * (rows - 1)) / rows - self.small.line - 3
        room = (content.width - gap * (columns - 1)) / columns
        over = [_fit(p.stood, room, (each - 2) / 2) for p in some]
        beside = [_fit(p.stood, (room - 2) / 2, each) for p in some]
        stacked = sum(w * h for w, h in over) >= sum(w * h for w, h in beside)
        step = each + self.small.line + 3 + gap
        if not stacked:
            step = min(step, max(h for _, h in beside) + self.small.line + 3 + gap)
        for at, (place, (w, h)) in enumerate(zip(some, over if stacked else beside, strict=True)):
            left, top = content.left + (at % columns) * (room + gap), y + (at // columns) * step
            x, below = (left, top + h + 2) if stacked else (left + w + 2, top)
            self.photograph(page, place.stood, Box(left, top, left + w, top + h))
            self.photograph(page, place.shown, Box(x, below, x + w, below + h))
            words = f"{place.name.split(',')[0]}: {STOOD.lower()}, {self.pitch.looks[place.proposed].title}"
            page.text(left, below + h + 3, words, self.small, width=room, overflow="ellipsis", min_size=9)

    def colour_script(self) -> None:
        places = self.pitch.in_order()
        palettes = [_palette(place.shown) for place in places]
        for start in range(0, len(places), 12):
            some, colours = places[start : start + 12], palettes[start : start + 12]
            page = self.page()
            content = page.content
            y = page.text(content.left, content.top - 8, "Colour script", self.head) + 8
            columns = len(some) if len(some) <= 7 else -(-len(some) // 2)
            rows = -(-len(some) // columns)
            width = (content.width - 3.0 * (columns - 1)) / columns
            each = (content.bottom - y - 14.0 * (rows - 1)) / rows
            for at, (place, palette) in enumerate(zip(some, colours, strict=True)):
                left = content.left + (at % columns) * (width + 3.0)
                top = y + (at // columns) * (each + 14.0)
                w, h = _fit(place.shown, width, each * 0.5)
                strip = each - h - 3.0 - self.small.line * 2 - 6.0
                self.photograph(page, place.shown, Box(left, top, left + w, top + h))
                down = top + h + 3.0
                for share, colour in strip_of(palette):
                    page.swatch(
                        left, down, width, strip * share, tuple(float(v) for v in colour), outline=None
                    )
                    down += strip * share
                page.text(
                    left, down + 4, place.name, self.small, width=width, lines=2, max_lines=2, min_size=9
                )

    def ticks(self) -> None:
        places, looks = self.pitch.in_order(), self.pitch.looks
        fits = 8
        for start in range(0, len(places), fits):
            page = self.page()
            content = page.content
            y = page.text(content.left, content.top - 8, "Which look for which place?", self.head)
            example = f"{places[0].code} · {looks[places[0].proposed].code}"
            how = (
                f"Tick one a place, or say its words: {example}. They are the same wherever they are printed."
            )
            y = page.paragraph(content.left, y, content.width, how, self.quiet) + 6
            some = places[start : start + fits]
            each = min((content.bottom - y) / len(some), 64.0)
            frame_w = 96.0
            across = (content.width - frame_w - 14.0 - 150.0) / len(looks)
            for place in some:
                w, h = _fit(place.shown, frame_w, each - 8.0)
                self.photograph(page, place.shown, Box(content.left, y + 4, content.left + w, y + 4 + h))
                middle = y + each / 2
                x = content.left + frame_w + 14.0
                page.text(
                    x,
                    middle - self.code.line / 2,
                    place.code,
                    self.code,
                    width=144.0,
                    lines=2,
                    max_lines=2,
                    min_size=9,
                )
                for at, look in enumerate(looks):
                    left = x + 150.0 + at * across
                    corners = [
                        (left, middle - 6),
                        (left + 12, middle - 6),
                        (left + 12, middle + 6),
                        (left, middle + 6),
                    ]
                    page.polygon(corners, fill=self.ground.page, outline=self.ground.ink, width=0.8)
                    words = replace(
                        self.code, weight=fonts.SEMIBOLD if at == place.proposed else fonts.REGULAR
                    )
                    tall = text_height(look.code, words, across - 24, 2)
                    page.text(
                        left + 18,
                        middle - tall / 2,
                        look.code,
                        words,
                        width=across - 24,
                        lines=2,
                        max_lines=2,
                        min_size=9,
                    )
                y += each
                page.line(content.left, y, content.right, y, colour=self.ground.line)

    def appendix(self) -> None:
        """Numbers and faces, on white: to be read, not looked at."""
        head, small = replace(self.head, colour=INK), replace(self.small, colour=INK)

        def start(title: str) -> Page:
            page = self.document.new_page(surround=PAPER_WHITE)
            left, top = MARGIN, page.text(MARGIN, MARGIN - 8, title, head, width=page.width - 2 * MARGIN) + 6
            page.content = Box(left, top, page.width - MARGIN, page.height - MARGIN)
            return page

        lines = list(self.pitch.numbers)
        while lines:
            page = start("Numbers")
            content, y = page.content, page.content.top
            while lines and (
                y == content.top or y + text_height(lines[0], small, content.width) <= content.bottom
            ):
                y = page.paragraph(content.left, y, content.width, lines.pop(0), small, max_lines=24)
        for place, faces in self.pitch.faces:
            faces_block(partial(start, f"Faces · {place}"), faces)


_PARTS = (
    _Maker.cover,
    _Maker.places,
    _Maker.before_and_after,
    _Maker.colour_script,
    _Maker.ticks,
    _Maker.appendix,
)


def pitch_document(pitch: Pitch, workers: int = 2) -> Document:
    """The pitch's pages; see :class:`Pitch`."""

    def pages(part: Callable[[_Maker], None]) -> list[Page]:
        maker = _Maker(pitch)
        part(maker)
        return maker.document.pages

    with ThreadPoolExecutor(workers) as pool:
        made = list(pool.map(pages, _PARTS))
    document = _Maker(pitch).document
    document.pages += chain.from_iterable(made)
    return document


def place_page(
    place: PitchPlace, looks: tuple[PitchLook, ...], surround: Literal["dark", "grey"]
) -> tuple[Page, bytes]:
    """The page of one place, as it stands in the pitch, and the big frame on it as a JPEG."""
    maker = _Maker(Pitch("", "", looks, (place,), surround=surround))
    maker.place(place)
    return maker.document.pages[0], maker.encoded[0]


def write_pitch_pdf(pitch: Pitch, path: Path, workers: int = 2) -> None:
    """Write the PDF, whole or not at all."""
    pitch_document(pitch, workers).save(path)


def _fit(picture: Picture, width: float, height: float) -> tuple[float, float]:
    """Width and height in points of a picture at its own shape, in a room of ``width`` by ``height``."""
    rows, columns = picture.shape[:2]
    scale = min(width / columns, height / rows)
    return columns * scale, rows * scale


def _jpeg(pixels: Picture) -> bytes:
    """A picture at the first of :data:`JPEG_QUALITIES` at which its blocks, or a sample of them, will do.

    A JPEG's blocks of 8 by 8 are coded one by one where no chroma is left out, and those in the sample are
    whole ones: in the picture they come out as they do in the sample.
    """
    import simplejpeg

    whole, sample = np.ascontiguousarray(pixels), _sample(pixels)
    before, data = _mixed(sample), b""
    for quality in JPEG_QUALITIES:
        data = bytes(simplejpeg.encode_jpeg(sample, quality=quality, colorsubsampling="444"))
        if quality == JPEG_QUALITIES[-1]:
            break
        apart = ciede2000(_mixed(simplejpeg.decode_jpeg(data)), before)
        if float(np.percentile(apart, 95)) < MOST_APART:
            break
    if sample.size == whole.size:
        return data
    return bytes(simplejpeg.encode_jpeg(whole, quality=quality, colorsubsampling="444"))


def _sample(pixels: Picture) -> Picture:
    """Blocks of 8 by 8 pixels from all over a picture, beside each other; a small picture whole."""
    rows, columns = pixels.shape[0] // 8, pixels.shape[1] // 8
    if rows * columns <= SAMPLED_BLOCKS:
        return np.ascontiguousarray(pixels)
    blocks = pixels[: rows * 8, : columns * 8].reshape(rows, 8, columns, 8, 3).swapaxes(1, 2)
    chosen = np.linspace(0, rows * columns - 1, SAMPLED_BLOCKS).astype(np.intp)
    some = blocks[chosen // columns, chosen % columns]
    return np.ascontiguousarray(some.reshape(-1, 64, 8, 8, 3).swapaxes(1, 2).reshape(-1, 64 * 8, 3))


def _mixed(pixels: Picture) -> NDArray[np.float64]:
    """CIELAB of what four by four pixels mix to, one in each eight by eight; a small picture whole."""
    block, step = 4, 8
    if min(pixels.shape[:2]) < step:
        block = step = 1
    rows, columns = (n // step * step for n in pixels.shape[:2])
    light_of = SRGB.decode(np.arange(256) / 255.0)
    light = np.zeros((rows // step, columns // step, 3))
    for y in range(block):
        for x in range(block):
            light += light_of[pixels[y:rows:step, x:columns:step]]
    return lab_from_working(light / block**2 @ matrix_between(SRGB.space, WORKING).T)


def _palette(picture: Picture) -> list[tuple[float, Sequence[float]]]:
    """Share and sRGB of a picture's own colours, dark to light."""
    from lookdev.paint.palette import dominant

    step = max(1, max(picture.shape[:2]) // 140)
    down, across = (slice(min(step // 2, n - 1), None, step) for n in picture.shape[:2])
    light = SRGB.to_working(picture[down, across] / 255.0)
    means, shares = dominant(light, SCRIPT_COLOURS)
    order = np.argsort(means @ np.array([0.2627, 0.6780, 0.0593]))  # luminance, BT.2020-2 table 4
    signal = np.clip(SRGB.from_working(means), 0.0, 1.0)
    return [(float(shares[i]), [float(v) for v in signal[i]]) for i in order]
