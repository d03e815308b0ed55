"""The gaffer's tables: our lamps by their lights, the light to add, and what to pack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lookdev.meter.budget import BudgetLine
from lookdev.meter.filters import LEFT_UV, Match
from lookdev.meter.fixture import Dial
from lookdev.meter.lamps import OnOurs
from lookdev.meter.notes import LocationNotes
from lookdev.meter.notes_words import colour_words
from lookdev.meter.pick_list import PickLine
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan
from lookdev.pages.light_blocks import TITLE, Block, clipped, glued
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY, BODY_BOLD, text_height
from lookdev.text import numbers
from lookdev.text.numbers import fixed, kelvin

STRONG = replace(BODY_BOLD, size=11.5)
WEAK = replace(BODY, size=9.5)
HEAD = replace(BODY_BOLD, size=10)
PADDING = 4.0
CELL_GAP = 12.0
TOO_MUCH_FILL_STOPS = 0.3
"""A fill over the plan's ratio by a third of a stop and more is to be cut (common practice)."""

MOST_LAMPS = 4
FIRST = 168.0


@dataclass(frozen=True)
class Cell:
    """What to do in strong type, and under it what it costs and leaves."""

    strong: str
    weak: str = ""

    def height(self, width: float) -> float:
        """Points that the cell takes at a width."""
        strong = text_height(self.strong, STRONG, width) if self.strong else 0.0
        return strong + (text_height(self.weak, WEAK, width) if self.weak else 0.0)

    def draw(self, page: Page, x: float, y: float, width: float) -> None:
        """The cell with its top at ``y``."""
        if self.strong:
            y = page.paragraph(x, y, width, self.strong, STRONG)
        if self.weak:
            page.paragraph(x, y, width, self.weak, WEAK)


def _widths(width: float, count: int, fixed: tuple[float, ...]) -> list[float]:
    """Widths of ``count`` columns: the first ones as given, the others alike."""
    rest = (width - sum(fixed) - CELL_GAP * (count - 1)) / max(count - len(fixed), 1)
    return [*fixed, *([rest] * (count - len(fixed)))]


def _row(cells: Sequence[Cell], fixed: tuple[float, ...] = (FIRST,)) -> Block:
    def height(width: float) -> float:
        widths = _widths(width, len(cells), fixed)
        return max(c.height(w) for c, w in zip(cells, widths, strict=True)) + 2 * PADDING

    def draw(page: Page, x: float, y: float, width: float) -> None:
        left = x
        for cell, each in zip(cells, _widths(width, len(cells), fixed), strict=True):
            cell.draw(page, left, y + PADDING, each)
            left += each + CELL_GAP
        bottom = y + height(width)
        page.line(x, bottom, x + width, bottom, width=0.3)

    return Block(height, draw)


def _head(title: str, names: Sequence[str], fixed: tuple[float, ...] = (FIRST,)) -> Block:
    """The title over a table and the names of its columns."""

    def height(width: float) -> float:
        widths = _widths(width, len(names), fixed)
        words = max(text_height(n, HEAD, w) for n, w in zip(names, widths, strict=True))
        return text_height(title, TITLE, width) + 3 + words + 3

    def draw(page: Page, x: float, y: float, width: float) -> None:
        y = page.paragraph(x, y, width, title, TITLE) + 3
        left, bottom = x, y
        for name, each in zip(names, _widths(width, len(names), fixed), strict=True):
            bottom = max(bottom, page.paragraph(left, y, each, name, HEAD))
            left += each + CELL_GAP
        page.line(x, bottom + 2, x + width, bottom + 2, width=0.9)

    return Block(height, draw)


def joined(first: Block, second: Block) -> Block:
    """Two blocks that are kept together."""

    def draw(page: Page, x: float, y: float, width: float) -> None:
        first.draw(page, x, y, width)
        second.draw(page, x, y + first.height(width), width)

    return Block(lambda width: first.height(width) + second.height(width), draw)


def match_cell(found: Match) -> Cell:
    """Filters on a lamp: which, what they take, what is left."""
    if found.is_unmovable:
        return Cell("No gel moves it there", "gel our lamps to it instead")
    if found.reason:
        return Cell("No gel for it", "too far off the locus: by eye and meter")
    parts = [f"takes {found.lost_stops:.1f} stops"] if found.filters else []
    if found.left_uv is not None and found.left_uv >= LEFT_UV and found.left_words:
        parts.append(f"leaves {found.left_words}")
    return Cell(found.filter_words if found.filters else "As it is", glued(", ".join(parts)))


def dial_cell(setting: Dial) -> Cell:
    """The setting of a lamp that mixes its colour."""
    off = setting.reachable is False and setting.nearest_xy is not None and setting.short_uv is not None
    x, y = setting.nearest_xy if off and setting.nearest_xy is not None else setting.xy
    strong = f"x {x:.3f}, y {y:.3f}"
    if off and setting.short_uv is not None:
        return Cell(strong, f"the nearest it makes: {setting.short_uv:.3f} short in u′v′")
    if setting.cct_k is not None and setting.duv is not None and setting.cct_k <= 25000:
        return Cell(strong, glued(f"or {kelvin(setting.cct_k)}, Duv {fixed(setting.duv, 3)}"))
    return Cell(strong)


def ours_cell(found: OnOurs) -> Cell:
    """What one of our lamps takes."""
    if found.dial is not None:
        return dial_cell(found.dial)
    assert found.match is not None
    return match_cell(found.match)


def _light_cell(number: int, note: ReadingNotes) -> Cell:
    colour = colour_words(note).split(",")[0]
    return Cell(
        f"{number}  {clipped(note.reading.source or note.reading.name, 60)}",
        glued(f"{colour} · {numbers.lux(note.reading.illuminance_lux)}"),
    )


def lamps_tables(notes: LocationNotes, plan: Plan) -> list[Block]:
    """Our lamps by their lights: what to put on ours; and what brings theirs to the production's balance."""
    lamps = notes.kit.lamps
    numbers = {id(note): number for number, note in enumerate(notes.readings, 1)}
    if not notes.lights and not notes.ours_to_balance:
        return []
    blocks: list[Block] = []
    for start in range(0, len(lamps), MOST_LAMPS):
        some = range(start, min(start + MOST_LAMPS, len(lamps)))
        last = plan.balance_xy is not None and some.stop == len(lamps)
        names = ["To match", *(f"on {clipped(lamps[i].name, 40)}" for i in some)]
        if last:
            names.append(f"or theirs, to {kelvin(plan.balance_k)}")
        title = "What to put on our lamps" + (
            " (tungsten and daylight taken for ours)" if notes.kit.is_assumed else ""
        )
        rows = []
        if notes.ours_to_balance:
            cells = [Cell("The camera's balance", kelvin(plan.balance_k))]
            cells += [ours_cell(notes.ours_to_balance[i]) for i in some]
            rows.append(_row([*cells, Cell("")] if last else cells))
        for light in notes.lights:
            cells = [_light_cell(numbers[id(light)], light), *(ours_cell(light.on_ours[i]) for i in some)]
            if last:
                cells.append(match_cell(light.to_balance) if light.to_balance is not None else Cell(""))
            rows.append(_row(cells))
        blocks += [joined(_head(title, names), rows[0]), *rows[1:]]
    return blocks


def budget_table(notes: LocationNotes, plan: Plan) -> list[Block]:
    """The light to add for the plan's stop and ratio, and what our lamps must give before their gel."""
    if not notes.budget:
        return []
    wanted = plan.t_stop if plan.t_stop is not None else plan.lens_t_stop
    ratio = f" and {plan.key_to_fill:g} : 1" if plan.key_to_fill is not None else ""
    short = [line for line in notes.budget if not line.is_enough]
    lamps = [n.lamp for n in short[0].lamps][:MOST_LAMPS] if short else []
    title = f"Light to add, for T{wanted:g}{ratio}, at the subject"
    names = ["Light", "there is", "wanted", "add", *(f"{clipped(n, 30)}, before its gel" for n in lamps)]
    rows = [_row(_budget_cells(line, len(lamps))) for line in notes.budget]
    return [joined(_head(title, names), rows[0]), *rows[1:]]


def _budget_cells(line: BudgetLine, lamps: int) -> list[Cell]:
    name = f"{clipped(line.name, 60)}" + (f", {line.role}" if line.role else "")
    cells = [Cell(name), Cell("", numbers.lux(line.have_lux)), Cell("", numbers.lux(line.wanted_lux))]
    if line.is_enough:
        over = f"{line.over_stops:.1f} stops over" if line.over_stops > 0.05 else "just enough"
        if line.role == "fill" and line.over_stops >= TOO_MUCH_FILL_STOPS:
            return [*cells, Cell("Take fill away", over), *([Cell("")] * lamps)]
        return [*cells, Cell("Nothing", over), *([Cell("")] * lamps)]
    cells.append(Cell(f"{numbers.rough(line.add_lux)} lx", f"{-line.over_stops:.1f} stops under"))
    for needed in line.lamps[:lamps]:
        gel = f"gel takes {needed.lost_stops:.1f} stops" if needed.lost_stops else "no gel"
        lux = f"{numbers.rough(needed.before_gel_lux)} lx"
        cells.append(Cell(lux, gel) if needed.is_reachable else Cell("", "does not match it"))
    return [*cells, *([Cell("")] * (lamps - len(line.lamps)))]


PICK_WIDTHS = (170.0, 150.0, 96.0)


def pick_blocks(lines: Sequence[PickLine], locations: int) -> list[Block]:
    """What to pack, ours first; a gel that goes to all of the ``locations`` is for everywhere."""
    blocks: list[Block] = []
    for is_ours, title in ((True, "Gel for our lamps"), (False, "Gel for theirs")):
        some = [line for line in lines if line.is_ours is is_ours]
        rows = [_row(_pick_cells(line, locations), PICK_WIDTHS) for line in some]
        if rows:
            names = ["Gel", "on", "sheets on a lamp", "where"]
            blocks += [joined(_head(title, names, PICK_WIDTHS), rows[0]), *rows[1:]]
    return blocks


def _pick_cells(line: PickLine, locations: int) -> list[Cell]:
    everywhere = locations > 1 and len(line.places) == locations
    where = "everywhere" if everywhere else " · ".join(clipped(p, 60) for p in line.places)
    return [Cell(line.item), Cell(clipped(line.on, 60)), Cell(str(line.sheets)), Cell("", where)]
