"""Parts that the comparison sheet and the overview share: words, heads, labels, pictures, pagination."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lookdev.errors import SheetError
from lookdev.sheets import fonts
from lookdev.sheets.page import (
    HAIRLINE,
    LABEL,
    PAPER_WHITE,
    SMALL,
    SMALL_BOLD,
    Page,
    Style,
    fitted,
    text_height,
)
from lookdev.sheets.sheet_model import Picture, Row, SheetModel, letter
from lookdev.sheets.thumbnails import fit_size, resize_srgb

LOOK_TITLE = Style(9.5, fonts.SEMIBOLD, PAPER_WHITE, 1.2)
NAME = Style(8.5, fonts.SEMIBOLD, PAPER_WHITE, 1.25)
CONTINUED = Style(12, fonts.SEMIBOLD, PAPER_WHITE, 1.2)
WARNING = f"▲{fonts.NO_BREAK}"
FOOT = "Judge colour on a calibrated monitor or a proof print"
ROW_GAP, LABEL_GAP = 12.0, 3.0
FEWEST_LINES, MOST_LINES = 5, 12  # of key parameters, where they cost pictures their size, and where not


class NoRoomError(SheetError):
    """The words of a sheet leave no room for its pictures."""

    def __init__(self, *, found: str) -> None:
        super().__init__("the words of this sheet leave no room for pictures", found=found)


@dataclass(frozen=True)
class Words:
    """Paragraphs of one width, one under the other; each shrinks before it is ended by "…"."""

    width: float
    items: tuple[tuple[str, Style, int], ...]  # text, style, most lines

    @property
    def height(self) -> float:
        return sum(text_height(t, self._style(t, s, n), self.width, n) for t, s, n in self.items if t)

    def draw(self, page: Page, x: float, top: float) -> float:
        """Draw at ``x``, ``top``; returns the bottom."""
        for text, style, most in self.items:
            if text:
                style = self._style(text, style, most)
                top = page.paragraph(x, top, self.width, text, style, max_lines=most)
        return top

    def _style(self, text: str, style: Style, most: int) -> Style:
        return fitted(text, style, self.width, lines=most)


def phrase_lines(phrases: Sequence[str], style: Style, width: float, most: int) -> str:
    """Short phrases set with " · " between them in lines of ``width``, no dot at the end of a line.

    Where they take more than ``most`` lines, the last ones give way to "and N more".
    """
    kept = [fonts.clean(p) for p in phrases if fonts.clean(p)]
    for count in range(len(kept), -1, -1):
        rest = len(kept) - count
        shown = [*kept[:count], *([f"and {rest} more" if count else f"{rest} parameters"] if rest else [])]
        lines = _set_phrases(shown, style, width)
        if len(lines) <= most or count == 0:
            return "\n".join(lines)
    return ""


def _set_phrases(phrases: Sequence[str], style: Style, width: float) -> list[str]:
    lines: list[str] = []
    for phrase in phrases:
        if lines and style.width(f"{lines[-1]} · {phrase}") <= width:
            lines[-1] = f"{lines[-1]} · {phrase}"
        else:
            lines += fonts.wrap(phrase, style.size, width, style.weight)
    return lines


def look_title(model: SheetModel, index: int) -> str:
    """Title of a column with its letter."""
    title = model.columns[index].title
    return f"{letter(index)}{fonts.NO_BREAK * 2}{title}" if index else title


def numbered_name(row: Row, number: int) -> str:
    """Name of a row with its number."""
    return f"{number}{fonts.NO_BREAK * 2}{row.title}"


def common_taken_out(model: SheetModel) -> tuple[str, ...]:
    """What was taken out of the cast, one a column, if all rows say the same; else nothing."""
    said = {row.taken_out for row in model.rows}
    return said.pop() if len(said) == 1 else ()


def captions(model: SheetModel, row: Row) -> list[str]:
    """Words under the pictures of a row, one a column, line feeds between."""
    taken_out = () if common_taken_out(model) else [_unbroken(w) for w in row.taken_out]
    own = [taken_out, row.captions]
    return ["\n".join(w[i] for w in own if w and w[i]) for i in range(len(model.columns))]


_TAKEN_OUT = f" taken{fonts.NO_BREAK}out"


def _unbroken(words: str) -> str:
    """Never "out" alone on a line."""
    return f"{words.removesuffix(' taken out')}{_TAKEN_OUT}" if words.endswith(" taken out") else words


def captions_in_line(model: SheetModel, row: Row, width: float) -> list[str]:
    """:func:`captions` for pictures side by side.

    Where "... taken out" would break in two under a picture, it is said once, under the first.
    """
    said = captions(model, row)
    ends = [i for i, words in enumerate(said) if words.endswith(_TAKEN_OUT)]
    if said[0] or all(SMALL.width(fonts.clean(said[i])) <= width for i in ends):
        return said
    said[0] = "Taken out of the cast:"
    return [w.removesuffix(_TAKEN_OUT) if i in ends else w for i, w in enumerate(said)]


def head_words(model: SheetModel, index: int, width: float, *, full: bool, most: int = FEWEST_LINES) -> Words:
    """Head of a column: title; if ``full``, key parameters, and what was taken out of the cast.

    ``most`` lines of key parameters; past them they are counted.
    """
    items = [(look_title(model, index), LOOK_TITLE, 4)]
    if full:
        taken_out = common_taken_out(model)
        parameters = phrase_lines(model.columns[index].parameters, SMALL, width, most)
        took = _unbroken(taken_out[index]) if taken_out else ""
        items += [(parameters, SMALL, most), (took, SMALL, 4)]
    return Words(width, tuple(items))


@dataclass(frozen=True)
class LabelAbove:
    """Number and name, camera settings after them, warnings under them: over the pictures of a row."""

    name: Words
    details: Words
    warnings: Words

    @classmethod
    def of(cls, row: Row, number: int, width: float) -> LabelAbove:
        name = numbered_name(row, number)
        has_details = any(row.details)
        name_width = min(NAME.width(fonts.clean(name)) + 0.01, width * 0.6 if has_details else width)
        rest = max(width - name_width - 10, 20.0)
        return cls(
            Words(name_width, ((name, NAME, 4),)),
            Words(rest, ((phrase_lines(row.details, SMALL, rest, 3), SMALL, 3),)),
            Words(width, tuple((w, SMALL_BOLD, 3) for w in marked(row.warnings))),
        )

    @property
    def _drop(self) -> float:
        return (NAME.line - SMALL.line) * 0.62

    @property
    def _upper(self) -> float:
        return max(self.name.height, self.details.height + self._drop if self.details.height else 0.0)

    @property
    def height(self) -> float:
        return self._upper + self.warnings.height

    def draw(self, page: Page, x: float, top: float) -> None:
        self.name.draw(page, x, top)
        self.details.draw(page, x + self.name.width + 10, top + self._drop)
        self.warnings.draw(page, x, top + self._upper)


def marked(warnings: Sequence[str], most: int = 3) -> list[str]:
    """Warnings with their mark; past ``most`` they are counted."""
    said = [WARNING + w for w in warnings if w]
    rest = len(said) - most
    return said if rest <= 1 else [*said[:most], f"{WARNING}and {rest} more warnings"]


def label_beside(row: Row, number: int, width: float) -> Words:
    """Number and name, camera settings, warnings, under each other: at the left of the pictures of a row."""
    stacked = [d for d in row.details if d]
    if len(stacked) > 6:
        stacked = [phrase_lines(stacked, SMALL, width, 8)]
    return Words(
        width,
        (
            (numbered_name(row, number), NAME, 8),
            *((d, SMALL, 8 if len(stacked) == 1 else 2) for d in stacked),
            *((w, SMALL_BOLD, 6) for w in marked(row.warnings)),
        ),
    )


def picture_size(page: Page, row: Row, edge: float) -> tuple[int, int]:
    """(height, width) in pixels of a row's pictures with the long edge ``edge`` points."""
    long_px = max(1, round(edge / page.document.pixel))
    return fit_size((1000, max(1, round(1000 * row.aspect))), (long_px, long_px))


def draw_picture(page: Page, x: float, y: float, picture: Picture | None, size: tuple[int, int]) -> None:
    """A picture inside ``size`` (height, width) pixels; an empty frame where there is none."""
    if picture is not None:
        page.image(x, y, resize_srgb(picture, fit_size(picture.shape[:2], size)))
        return
    width, height = size[1] * page.document.pixel, size[0] * page.document.pixel
    page.polygon([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], outline=HAIRLINE)
    page.text(x + 3, y + 3, "not made", LABEL, width=max(width - 6, 8), overflow="ellipsis")


def balanced(heights: Sequence[float], first: float, other: float) -> list[int] | None:
    """How many of ``heights`` go on each page: the fewest pages, filled as evenly as can be.

    ``first`` and ``other`` are the room on the first and on each further page; None if one does not fit.
    Among the fewest pages the most even split is taken (least sum of squares), early pages the fuller.

    >>> balanced([10] * 7, 30, 30)
    [3, 2, 2]
    """
    count = len(heights)
    sums = np.concatenate([[0.0], np.cumsum(heights)])
    best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
    for page in range(count):
        room = first if page == 0 else other
        following: dict[int, tuple[float, list[int]]] = {}
        for start, (squares, split) in best.items():
            for end in range(start + 1, count + 1):
                share = float(sums[end] - sums[start]) / room
                if share > 1.0 + 1e-9:
                    break
                candidate = (round(squares + share**2, 9), [*split, start - end])
                if end not in following or candidate < following[end]:
                    following[end] = candidate
        if count in following:
            return [-n for n in following[count][1]]
        best = following
    return None


def count_of(number: int, noun: str) -> str:
    """ "1 still", "3 stills", with a no-break space."""
    return f"{number}{fonts.NO_BREAK}{noun}{'' if number == 1 else 's'}"


def subject(model: SheetModel, kind: str, noun: str) -> str:
    """The right of the title strip: kind of sheet, how many stills or locations, how many looks."""
    said = (kind, count_of(len(model.rows), noun), count_of(len(model.columns) - 1, "look"))
    return " · ".join(words for words in said if words)


def terse(model: SheetModel) -> SheetModel:
    """The same sheet with its words cut short ("…") and warnings counted, for where they leave no room."""
    rows = tuple(
        replace(
            row,
            title=_short(row.title, 60),
            details=tuple(_short(d, 40) for d in row.details[:3]),
            taken_out=tuple(_short(w, 40) for w in row.taken_out),
            captions=tuple(_short(w, 40) for w in row.captions),
            warnings=(f"{count_of(len(row.warnings), 'warning')}, in the summary",) if row.warnings else (),
        )
        for row in model.rows
    )
    lights = tuple(replace(light, source=_short(light.source, 40), note="") for light in model.lights[:3])
    columns = tuple(
        replace(c, title=_short(c.title, 30), parameters=tuple(_short(p, 20) for p in c.parameters[:3]))
        for c in model.columns
    )
    said = len(model.warnings) + len(model.notes)
    return replace(
        model,
        production=_short(model.production, 80),
        location=_short(model.location, 80),
        rows=rows,
        columns=columns,
        lights=lights,
        notes=(),
        warnings=(f"Words cut short; all {said} notes and warnings are in the summary",),
    )


def _short(text: str, most: int) -> str:
    text = " ".join(fonts.clean(text).split())
    return text if len(text) <= most else text[: most - 1] + "…"
