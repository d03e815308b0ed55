"""Small pictures of a still for sheets: as it stood, and through each look, decoded at reduced scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import LookdevError
from lookdev.render.buffers import Loan
from lookdev.render.in_flight import IN_FLIGHT

if TYPE_CHECKING:
    from lookdev.render.tasks import Task
    from lookdev.stills.still import Still

Picture = NDArray[np.uint8]
Cut = Callable[[NDArray[Any]], NDArray[Any]]
"""What of a reduced picture (h, w, 3) is wanted; the rest is not graded."""


@dataclass(frozen=True)
class Preview:
    """``as_it_stood`` and one picture a look, sRGB code values (h, w, 3); empty where ``error`` is set."""

    as_it_stood: Picture | None = None
    graded: tuple[Picture | None, ...] = ()
    encoding: str | None = None
    encoding_origin: str | None = None
    warnings: tuple[str, ...] = ()
    error: str | None = None


def do_preview(task: Task, cut: Cut | None = None, small: Still | None = None) -> Preview:
    """Read the task's still at reduced scale and put it through the task's looks; nothing is written.

    ``small`` : the still as it would be read, where :func:`small_of_whole` had it.
    """
    from lookdev.render.tasks import small_pictures

    try:
        still = _read_small(task, cut) if small is None else small
        pictures = small_pictures(task, still)
    except LookdevError as problem:
        return Preview(error=str(problem))
    except (OSError, MemoryError) as problem:
        return Preview(error=str(LookdevError(f"cannot be used: {problem}", file=task.still)))
    return Preview(
        pictures[0], tuple(pictures[1:]), still.encoding.name, still.encoding_origin, tuple(still.warnings)
    )


def small_of_whole(task: Task, whole: Still, cut: Cut | None = None) -> Still | None:
    """What :func:`do_preview` would read for ``task``, from its still as somebody has just read it whole.

    None where it would be another picture (the decoder itself makes it smaller), or is no smaller one.
    """
    from lookdev.render.thumbnail import reduced_to_box
    from lookdev.stills.reader import decoder_reduction

    if task.part is not None or not whole.kind:
        return None
    if decoder_reduction(whole.kind, max(whole.full_size), max(task.thumbnail_box)) > 1:
        return None
    small = reduced_to_box(whole.pixels, whole.encoding, task.thumbnail_box)
    if small is whole.pixels:
        return None
    return replace(whole, pixels=small if cut is None else cut(small).copy())


def _read_small(task: Task, cut: Cut | None) -> Still:
    from lookdev.render.thumbnail import reduced_to_box
    from lookdev.stills.ahead import has_looked

    memory = Loan()
    with IN_FLIGHT.place() as place:
        still = task.read(reduced=True, take=memory.take, admit=place.take)
        small = reduced_to_box(still.pixels, still.encoding, task.thumbnail_box)
        small = small if cut is None else cut(small)
        memory.give_back(in_use=small)
        if np.may_share_memory(small, still.pixels):
            small = small.copy()  # it may be another's, who writes over it
        has_looked(still.pixels)
    return replace(still, pixels=small)
