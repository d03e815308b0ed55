"""Steps: what a look is made of, and how colours go through a list of them.

A :class:`Step` is a kernel, its numbers, and the space in which it acts. :func:`join` makes one list of many
steps: it puts in the conversions between the spaces, and multiplies neighbouring matrices. :func:`run` takes
colours through the list in blocks, as three channel arrays, in place, without the interpreter's lock.

A kernel is called as ``kernel(x, y, z, *numbers)`` with the three channels of a block, float64, which it
changes in place. It is a point operation: the same colour in, the same colour out, wherever it stands. It
takes negatives and any brightness without a NaN.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.oklab import LAB_TO_LMS, LMS_TO_LAB, LMS_TO_WORKING, WORKING_TO_LMS
from lookdev.compilation import compiled
from lookdev.looks.elementary import cbrt

Array = NDArray[np.float64]

BLOCK = 8192  # colours: three channels of them stay in the processor's second cache, and calls cost little
_SAME = 1e-13  # two matrices that undo each other leave no more than this


@dataclass(frozen=True)
class Space:
    """A space of three channels, and the ways from and to the working space, linear BT.2020.

    Two spaces are one if ``name`` and ``key`` are equal. ``bounded``: its colours fill a cube that is known.
    """

    name: str
    key: object = None
    to_working: tuple[Step, ...] = field(default=(), compare=False, repr=False)
    from_working: tuple[Step, ...] = field(default=(), compare=False, repr=False)
    bounded: bool = field(default=False, compare=False)


WORKING = Space("linear BT.2020")


@dataclass(frozen=True, eq=False)
class Step:
    """One thing that happens to a colour.

    Attributes
    ----------
    kernel : called with the three channels of a block, and ``numbers``.
    numbers : floats, and arrays of them.
    space : where it acts.
    leaves : the space in which it leaves the colours, if that is another one.
    undoes : a step with which it cancels where that stands directly before it.
    """

    kernel: Callable[..., object]
    numbers: tuple[float | Array, ...] = ()
    space: Space = WORKING
    leaves: Space | None = None
    undoes: Step | None = None

    def __post_init__(self) -> None:
        plain = tuple(
            np.array(n, dtype=np.float64, order="C") if isinstance(n, np.ndarray) else float(n)
            for n in self.numbers
        )
        object.__setattr__(self, "numbers", plain)  # one type each: one compiled version

    @property
    def matrix(self) -> Array | None:
        """The (3, 3) matrix that the step is, if it is one."""
        return self.numbers[0] if self.kernel is mix else None  # type: ignore[return-value]


@compiled
def mix(x, y, z, m):  # type: ignore[no-untyped-def]
    """The product of the matrix ``m`` with each colour."""
    m00, m01, m02, m10, m11, m12 = m[0, 0], m[0, 1], m[0, 2], m[1, 0], m[1, 1], m[1, 2]
    m20, m21, m22 = m[2, 0], m[2, 1], m[2, 2]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        x[i] = m00 * a + m01 * b + m02 * c
        y[i] = m10 * a + m11 * b + m12 * c
        z[i] = m20 * a + m21 * b + m22 * c


@compiled
def cube_root(x):  # type: ignore[no-untyped-def]
    """The cube root of a channel, odd below zero."""
    for i in range(x.size):
        x[i] = cbrt(x[i])


@compiled
def cube(x):  # type: ignore[no-untyped-def]
    """The third power of a channel."""
    for i in range(x.size):
        x[i] = x[i] * x[i] * x[i]


@compiled
def clip(x):  # type: ignore[no-untyped-def]
    """A channel kept within 0 to 1."""
    for i in range(x.size):
        x[i] = min(max(x[i], 0.0), 1.0)


@compiled
def clip_to(x, top):  # type: ignore[no-untyped-def]
    """A channel kept within 0 to ``top``."""
    for i in range(x.size):
        x[i] = min(max(x[i], 0.0), top)


@compiled
def _spread(colours, x, y, z):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i], y[i], z[i] = colours[i, 0], colours[i, 1], colours[i, 2]


@compiled
def _gather(x, y, z, colours):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        colours[i, 0], colours[i, 1], colours[i, 2] = x[i], y[i], z[i]


@dataclass(frozen=True)
class _OnEach:
    kernel: Callable[..., object]

    def __call__(self, x: Array, y: Array, z: Array, *numbers: float | Array) -> None:
        for channel in (x, y, z):
            self.kernel(channel, *numbers)


def on_each(
    kernel: Callable[..., object],
    numbers: tuple[float | Array, ...] = (),
    space: Space = WORKING,
    undoes: Step | None = None,
) -> Step:
    """The step of a kernel for one channel, called as ``kernel(channel, *numbers)`` with each of the three.

    A loop over the channels within a kernel keeps the compiler from taking several numbers at once.
    """
    return Step(_OnEach(kernel), numbers, space, undoes=undoes)


def mixing(matrix: ArrayLike, space: Space = WORKING, leaves: Space | None = None) -> Step:
    """The step that a (3, 3) matrix is."""
    return Step(mix, (np.asarray(matrix, dtype=np.float64),), space, leaves)


@dataclass(frozen=True)
class _ByArray:
    function: Callable[[Array], Array]

    def __call__(self, x: Array, y: Array, z: Array) -> None:
        x[:], y[:], z[:] = np.moveaxis(self.function(np.stack((x, y, z), axis=-1)), -1, 0)


def by_array(function: Callable[[Array], Array], space: Space = WORKING, leaves: Space | None = None) -> Step:
    """The step that a function of colours (n, 3) is: for what is not worth compiling."""
    return Step(_ByArray(function), (), space, leaves)


CLIP = on_each(clip)


def clipping(top: float) -> Step:
    """A step that keeps each channel within 0 to ``top``."""
    return CLIP if top == 1.0 else on_each(clip_to, (top,))


OKLAB = Space(
    "Oklab",
    None,
    (mixing(LAB_TO_LMS), on_each(cube), mixing(LMS_TO_WORKING)),
    (mixing(WORKING_TO_LMS), on_each(cube_root), mixing(LMS_TO_LAB)),
)


def join(steps: Iterable[Step], start: Space = WORKING, end: Space = WORKING) -> tuple[Step, ...]:
    """``steps`` from ``start`` to ``end`` with what lies between their spaces, matrices multiplied.

    >>> double = mixing(np.eye(3) * 2)
    >>> [step.matrix.diagonal().tolist() for step in join([double, double])]
    [[4.0, 4.0, 4.0]]
    """
    found: list[Step] = []
    here = start
    for step in steps:
        if step.space != here:
            found += [*here.to_working, *step.space.from_working]
        found.append(step)
        here = step.leaves or step.space
    if here != end:
        found += [*here.to_working, *end.from_working]
    return _shortened(found)


def _shortened(steps: Sequence[Step]) -> tuple[Step, ...]:
    out: list[Step] = []
    for step in steps:
        if out and step.undoes is out[-1]:
            out.pop()
            continue
        before, now = out[-1].matrix if out else None, step.matrix
        if before is not None and now is not None:
            out[-1] = mixing(now @ before)
        else:
            out.append(step)
        last = out[-1].matrix
        if last is not None and np.abs(last - np.eye(3)).max() < _SAME:
            out.pop()
    return tuple(out)


def in_common(one: Sequence[Step], other: Sequence[Step]) -> int:
    """How many of the same steps two lists begin with."""
    for count, (a, b) in enumerate(zip(one, other, strict=False)):
        same = a is b or (a.kernel == b.kernel and a.space == b.space and len(a.numbers) == len(b.numbers))
        if not same or not (a is b or all(map(np.array_equal, a.numbers, b.numbers))):
            return count
    return min(len(one), len(other))


def run(steps: Sequence[Step], colours: ArrayLike) -> Array:
    """Colours (..., 3) through ``steps``, one after the other, as float64; without steps as they came.

    >>> run([mixing(np.eye(3) * 2)], [0.25, 0.5, 1.0]).tolist()
    [0.5, 1.0, 2.0]
    """
    values = np.asarray(colours, dtype=np.float64)
    if not steps:
        return values
    flat = np.ascontiguousarray(values).reshape(-1, 3)
    out = np.empty_like(flat)
    channels = np.empty((3, min(BLOCK, len(flat))))
    for start in range(0, len(flat), BLOCK):
        count = min(BLOCK, len(flat) - start)
        x, y, z = channels[:, :count]
        block = flat[start : start + count]
        _spread(block if block.flags.writeable else block.copy(), x, y, z)  # read-only is a type of its own
        for step in steps:
            step.kernel(x, y, z, *step.numbers)
        _gather(x, y, z, out[start : start + count])
    return out.reshape(values.shape)
