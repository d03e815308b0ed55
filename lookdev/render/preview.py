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

Picture = NDArray[np.uint8]


@dataclass(frozen=True)
class Preview:
    """``as_it_stood`` and one picture a look, sRGB code values (h, w, 3); empty where ``error`` is set."""

    as_it_stood: Picture | None = None
    graded: tuple[Picture | None, ...] = ()
    encoding: str | None = None
    encoding_origin: str | None = None
    warnings: tuple[str, ...] = ()
    error: str | None = None


def do_preview(task: Task, cut: Callable[[NDArray[Any]], NDArray[Any]] | None = None) -> Preview:
    """Read the task's still at reduced scale and put it through the task's looks; nothing is written.

    ``cut`` : what of the reduced picture (h, w, 3) is wanted; the rest is not graded.
    """
    from lookdev.render.tasks import small_pictures
    from lookdev.render.thumbnail import reduced_to_box

    memory = Loan()
    try:
        with IN_FLIGHT.place() as place:
            still = task.read(reduced=True, take=memory.take, admit=place.take)
            small = reduced_to_box(still.pixels, still.encoding, task.thumbnail_box)
            small = small if cut is None else cut(small)
            memory.give_back(in_use=small)
        pictures = small_pictures(task, replace(still, pixels=small))
    except LookdevError as problem:
        return Preview(error=str(problem))
    except (OSError, MemoryError) as problem:
        return Preview(error=str(LookdevError(f"cannot be used: {problem}", file=task.still)))
    return Preview(
        pictures[0], tuple(pictures[1:]), still.encoding.name, still.encoding_origin, tuple(still.warnings)
    )
