"""Looks that differ in little on the same colours: what their steps have in common is done once.

A Jacobian asks for fifty looks that differ in one key each. The steps before that key's are those of the look
that it started from, the steps after the last that differ are run on all their colours together: on the
thousand colours of a fit most of the time is spent on calls, not on colours.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lookdev.looks.steps import Step, in_common, run

Array = NDArray[np.float64]


def run_many(lists: Sequence[Sequence[Step]], colours: Array) -> Array:
    """Colours (n, 3) through each of several lists of joined steps: (lists, n, 3).

    The quicker, the more each has in common with the first.

    >>> from lookdev.looks.steps import join, mixing
    >>> twice, thrice = (join([mixing(np.eye(3) * k)]) for k in (2, 3))
    >>> run_many([twice, thrice, ()], np.array([[1.0, 2.0, 3.0]])).tolist()
    [[[2.0, 4.0, 6.0]], [[3.0, 6.0, 9.0]], [[1.0, 2.0, 3.0]]]
    """
    first = lists[0]
    tail = min([len(first), *(in_common(first[::-1], each[::-1]) for each in lists[1:])])
    heads = [min(in_common(first, each), len(each) - tail, len(first) - tail) for each in lists]
    after = [colours]
    for step in first[: max(heads)]:
        after.append(run((step,), after[-1]))
    own = [run(each[h : len(each) - tail], after[h]) for each, h in zip(lists, heads, strict=True)]
    together = np.concatenate(own)
    return run(first[len(first) - tail :], together).reshape(len(lists), len(colours), 3)
