"""Tables for the terminal: wrapped to its width there, one line a row everywhere else."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence

_NO_END = 100_000
_SIGNS = "−–—‘’“”…×→←"


def table_text(head: Sequence[str], rows: Iterable[Sequence[str]], width: int | None = None) -> str:
    """A table as lines of text; columns with nothing under their heading are left out.

    Parameters
    ----------
    head, rows : words; what cannot be written as UTF-8 is shown as an escape.
    width : characters a line may take, cells are then wrapped; no end unless given.

    >>> print(table_text(["place", "", "stop"], [["Net loft", "", "T2.8"], ["Quay", "", "T4"]]))
    place     stop
    Net loft  T2.8
    Quay      T4
    """
    cells = [[cell.encode("utf-8", "backslashreplace").decode() for cell in row] for row in rows]
    keep = [k for k in range(len(head)) if any(row[k] for row in cells)] or list(range(len(head)))
    if width is None:
        lines = [[row[k] for k in keep] for row in (head, *cells)]
        if all(_is_plain(cell) for line in lines for cell in line):
            return _plain(lines)
    return _laid_out(head, cells, keep, width)


def _is_plain(cell: str) -> bool:
    """Whether each character is one column wide: Latin letters, and the signs that our own words hold."""
    return cell.isprintable() and all(c < "\u0300" or c in _SIGNS for c in cell)


def _plain(lines: Sequence[Sequence[str]]) -> str:
    """The same of characters of one width, without the 30 ms that the library takes to load."""
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    padded = ("  ".join(map(str.ljust, line, widths)).rstrip() for line in lines)
    return "\n".join(padded)


def _laid_out(head: Sequence[str], cells: list[list[str]], keep: list[int], width: int | None) -> str:
    from io import StringIO

    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="", padding=(0, 2, 0, 0))
    for k in keep:
        table.add_column(Text(head[k]), overflow="fold", no_wrap=width is None)
    for row in cells:
        table.add_row(*(Text(row[k]) for k in keep))
    out = StringIO()
    Console(file=out, width=width or _NO_END, color_system=None, force_terminal=False).print(table)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines())


def print_table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a table on standard output, whatever it can show."""
    from shutil import get_terminal_size

    width = get_terminal_size().columns if sys.stdout.isatty() else None
    encoding = sys.stdout.encoding or "utf-8"
    print(table_text(head, rows, width).encode(encoding, "backslashreplace").decode(encoding))
