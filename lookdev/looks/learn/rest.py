"""The rest: what a look's keys cannot say, as a smooth lattice on the code values that the look gives.

Regularised lattice regression (E. Garcia, M. Gupta, "Lattice regression", NIPS 2009): the values at the
points of a lattice for which trilinear interpolation comes nearest to the data, with a penalty on their
second differences, so that they run on smoothly where there are no data, and a weak one on the values
themselves, so that far from all data the look alone is left.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.looks.learn.colours import Colours, differences, graded, lab
from lookdev.looks.model import Look

Array = NDArray[np.float64]

POINTS = 25
_SMOOTH = 5e-5  # penalty of second differences against a mean square of the data; of taste, see the tests
_HOLD = 1e-5  # penalty of the values themselves
BEYOND_SHARE, _REST_SHARE = 0.3, 0.2
_BEYOND_POINTS, _BEYOND_GUESSES, _REST_GUESSES = 17, 343, 17
_BEYOND_SMOOTH, _BEYOND_LEVEL, _BEYOND_HOLD = 1e-4, 1e-4, 1e-7
"""A slope goes on where colours end, and in the deepest shadows is level soon: grades that act on shadows
alone run level into black; those that scale run straight, and are not far from level there."""
_DARK = 0.125  # code value up to which a lattice may be held level
_NEAR_GREY = 0.15  # code values between channels: by five grades and frames that no test holds
_DARKER, _PALER = 2.0, 1.5  # powers of even numbers: how colours of pictures lie, by grades as above
_GUESS_OFF = 0.3  # CIEDE2000 that guesses are off, of grades that are smooth in code values
_TRUST = 0.08  # signal: an offset larger than this counts less and less
_COARSEST = 7  # points a side of which a lattice is solved as a whole
_ENOUGH, _MOST_STEPS = 1e-4, 400  # of what is asked for, left over; and steps towards it


def learn_rest(look: Look, several: Sequence[Colours], points: int = POINTS) -> Array:
    """Offsets (points, points, points, 3) of the signal that the look gives, by red, green, blue.

    Parameters
    ----------
    several : frames of one ``target``, in whose code values the lattice stands.
    """
    all_of = [_denser(each) for each in several]
    given = [np.clip(graded(look, each), 0.0, 1.0) for each in all_of]
    at = np.concatenate(given)
    offset = np.concatenate([_believed(one, each) for one, each in zip(given, all_of, strict=True)])
    weight = np.concatenate([each.weight for each in all_of])
    guessed = np.concatenate([np.arange(len(e.weight)) >= len(e.weight) - e.guesses for e in all_of])
    weight = weight * np.where(guessed, _room(at, weight * ~guessed, points), 1.0)
    weight = weight / weight.sum() / (1 + (np.linalg.norm(offset, axis=1) / _TRUST) ** 2) ** 0.5
    return regression(at, offset, weight, points, _SMOOTH, _HOLD)


def _believed(given: Array, colours: Colours) -> Array:
    """Offsets (n, 3) from what the look gives: of guesses the share that they are surer than the look, by the
    squares of what either is off where colours are known."""
    offset = colours.after - given
    if colours.guesses:
        own = slice(0, len(offset) - colours.guesses)
        off = ciede2000(lab(given[own], colours.target), colours.wanted[own])
        mean = float(colours.weight[own] @ off / colours.weight[own].sum())
        offset[own.stop :] *= mean**2 / (mean**2 + _GUESS_OFF**2)
    return offset


def _room(at: Array, weight: Array, points: int) -> Array:
    """1 where no weight lies in the lattice around a colour (n,), towards 0 the more of it does."""
    corners, shares = trilinear(at, points)
    held = np.bincount(corners.ravel(), (shares * weight[:, None]).ravel(), points**3)
    even = weight.sum() / points**3
    return np.asarray(even / (even + (shares * held[corners]).sum(axis=1)))


def beyond(colours: Colours, share: float = BEYOND_SHARE) -> Colours:
    """The same colours, and a guess of what would have become of those that the frame does not hold.

    Most grades act on code values, and evenly: a lattice on the source's own code values, as straight as the
    colours let it be, goes on where they end. Guesses are of colours as pictures have them, and count
    ``share`` of the whole. A source without code values that are bounded comes back as it is.
    """
    if colours.source.state != "output":
        return colours
    offset = regression(
        colours.before,
        colours.after - colours.before,
        colours.weight / colours.weight.sum(),
        _BEYOND_POINTS,
        _BEYOND_SMOOTH,
        _BEYOND_HOLD,
        _BEYOND_LEVEL,
    )
    likely = _likely(_BEYOND_GUESSES)
    return _with_guesses(colours, offset, likely, np.ones(len(likely)), share)


@cache
def _likely(count: int) -> Array:
    """Code values (count + 2, 3) as pictures have them: more dark than light, more pale than pure, any hue;
    and black and white.

    Spread evenly by the sequence of J. Halton (1960): points of a lattice with as many leave dark browns out.
    """
    fullest, pureness, hue = (_halton(count, base) for base in (2, 5, 7))  # a fit takes every third
    turned = (6.0 * hue[:, None] + np.array([0.0, 4.0, 2.0])) % 6.0
    lacks = np.clip(np.minimum(turned, 4.0 - turned), 0.0, 1.0)
    even = fullest[:, None] ** _DARKER * (1.0 - pureness[:, None] ** _PALER * lacks)
    return np.concatenate([even, np.zeros((1, 3)), np.ones((1, 3))])


def _halton(count: int, base: int) -> Array:
    """The first numbers of the sequence, 0 to 1: their places' digits, mirrored at the point."""
    left, out = np.arange(1, count + 1), np.zeros(count)
    share = 1.0
    while left.any():
        share /= base
        out += share * (left % base)
        left = left // base
    return out


def _with_guesses(colours: Colours, offset: Array, guessed: Array, counts: Array, share: float) -> Colours:
    """The colours and, after them, others (n, 3) with ``offset`` added; how much each ``counts`` (n,) in the
    ``share`` of all of them."""
    guess = np.clip(with_rest(guessed, offset), 0.0, 1.0)
    return replace(
        colours,
        before=np.concatenate([colours.before, guessed]),
        after=np.concatenate([colours.after, guess]),
        weight=np.concatenate(
            [(1.0 - share) * colours.weight / colours.weight.sum(), share * counts / counts.sum()]
        ),
        guesses=len(guessed),
        beyond=offset,
    )


def _denser(colours: Colours) -> Colours:
    """The same with guesses on a whole lattice, near grey most, which the rest takes nearly for nothing and a
    fit does not."""
    if colours.beyond is None:
        return colours
    own = slice(0, len(colours.weight) - colours.guesses)
    seen = replace(
        colours, before=colours.before[own], after=colours.after[own], weight=colours.weight[own], guesses=0
    )
    lattice = _lattice(_REST_GUESSES)
    greyness = np.exp(-np.ptp(lattice, axis=1) / _NEAR_GREY)
    return _with_guesses(seen, colours.beyond, lattice, greyness, _REST_SHARE)


def _lattice(points: int) -> Array:
    """Colours (points ** 3, 3) of a lattice of so many points a side, by red, green, blue."""
    edge = np.linspace(0.0, 1.0, points)
    return np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1).reshape(-1, 3)


def regression(
    at: Array, offset: Array, weight: Array, points: int, smooth: float, hold: float, level: float = 0.0
) -> Array:
    """Values (points, points, points, c) of a lattice for data ``offset`` (n, c) ``at`` (n, 3) in 0 to 1.

    ``smooth``, ``level`` and ``hold`` : penalties of second differences, of first ones in the deepest
    shadows, and of the values themselves, against the weighted mean square of the data.
    """
    data, count = _reading(at, points), points**3
    square = data.T @ data.multiply(weight[:, None] * count).tocsr()
    square = (square + _penalties(points, smooth, level, hold)).tocsr()
    right = data.T @ (offset * (weight * count)[:, None])
    return _solved(square, right, points).reshape(points, points, points, -1)


def _solved(square: Any, right: Array, points: int) -> Array:
    """``square`` x = ``right`` (n, c) by conjugate gradients (Hestenes and Stiefel 1952), columns at once.

    Preconditioned on lattices of half as many points, a quarter and so on: on each the diagonal, and on the
    coarsest all of it, their answers added (J. Bramble, J. Pasciak, J. Xu, "Parallel multilevel
    preconditioners", 1990). With the diagonal alone it takes ten times as many steps.
    """
    near = _levels(square, points)
    enough = _ENOUGH**2 * _each(right, right)
    x, left = np.zeros_like(right), right.copy()
    way = near(left)
    down = _each(left, way)
    for _ in range(_MOST_STEPS):
        if np.all(_each(left, left) <= enough):
            break
        turned = square @ way
        step = down / np.maximum(_each(way, turned), 1e-300)
        x += step * way
        left -= step * turned
        answer = near(left)
        again = _each(left, answer)
        way = answer + again / np.maximum(down, 1e-300) * way
        down = again
    return x


def _levels(square: Any, points: int) -> Callable[[Array], Array]:
    """What is near to the inverse of ``square`` over a lattice of so many points a side."""
    if points <= _COARSEST:
        whole = np.linalg.inv(square.toarray())
        return lambda right: whole @ right
    fill = _filling(points)
    gather = fill.T.tocsr()
    diagonal, coarser = (
        1.0 / square.diagonal()[:, None],
        _levels((gather @ square @ fill).tocsr(), _half(points)),
    )
    return lambda right: diagonal * right + fill @ coarser(gather @ right)


def _half(points: int) -> int:
    """The points a side of which every other one is left."""
    return (points + 1) // 2


@lru_cache(maxsize=8)
def _filling(points: int):  # type: ignore[no-untyped-def]
    """The matrix that reads a lattice of so many points a side out of one of half of them."""
    return _reading(_lattice(points), _half(points))


def _reading(at: Array, points: int):  # type: ignore[no-untyped-def]
    """The matrix that reads a lattice at colours (n, 3)."""
    from scipy.sparse import csr_matrix

    corners, shares = trilinear(at, points)
    rows = np.repeat(np.arange(len(at)), 8)
    found = csr_matrix((shares.ravel(), (rows, corners.ravel())), shape=(len(at), points**3))
    found.eliminate_zeros()
    return found


def _each(one: Array, other: Array) -> Array:
    """The scalar product of each column."""
    return np.asarray(np.einsum("ij,ij->j", one, other))


def trilinear(at: ArrayLike, points: int) -> tuple[NDArray[np.intp], Array]:
    """Places (n, 8) and shares (n, 8) of the lattice points around colours (n, 3) in 0 to 1."""
    place = np.clip(np.asarray(at, dtype=np.float64), 0.0, 1.0) * (points - 1)
    cell = np.minimum(place.astype(np.intp), points - 2)
    rest = place - cell
    corners, shares = [], []
    for k in range(8):
        bits = np.array([(k >> 2) & 1, (k >> 1) & 1, k & 1])
        corners.append((cell + bits) @ np.array([points * points, points, 1]))
        shares.append(np.prod(np.where(bits == 1, rest, 1 - rest), axis=1))
    return np.stack(corners, axis=1), np.stack(shares, axis=1)


@lru_cache(maxsize=8)
def _penalties(points: int, smooth: float, level: float, hold: float):  # type: ignore[no-untyped-def]
    from scipy.sparse import diags, identity, kron

    one = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(points - 2, points))
    bend, same = one.T @ one, identity(points)
    slope = diags([-1.0, 1.0], [0, 1], shape=(points - 1, points)).tocsr()
    tilt = slope.T @ slope
    along = kron(kron(bend, same), same) + kron(kron(same, bend), same) + kron(kron(same, same), bend)
    across = kron(kron(tilt, tilt), same) + kron(kron(tilt, same), tilt) + kron(kron(same, tilt), tilt)
    dark = round(_DARK * (points - 1))
    deep = diags(np.where(np.arange(points) <= dark, 1.0, 0.0))
    tilt = slope[:dark].T @ slope[:dark]
    sloping = kron(kron(tilt, deep), deep) + kron(kron(deep, tilt), deep) + kron(kron(deep, deep), tilt)
    scale = points**2
    return (scale * (smooth * (along + 2 * across) + level * sloping) + hold * identity(points**3)).tocsr()


def with_rest(signal: ArrayLike, offsets: Array) -> Array:
    """Code values (..., 3) with the rest added, read trilinearly."""
    values = np.asarray(signal, dtype=np.float64)
    flat = np.clip(values.reshape(-1, 3), 0.0, 1.0)
    corners, shares = trilinear(flat, len(offsets))
    table = offsets.reshape(-1, 3)
    added = np.einsum("nk,nkc->nc", shares, table[corners])
    return np.asarray((flat + added).reshape(values.shape))


def rest_differences(look: Look, offsets: Array, colours: Colours) -> Array:
    """CIEDE2000 (n,) of look and rest together to what was wanted."""
    return differences(with_rest(graded(look, colours), offsets), colours)
