"""The rest: what a look's keys cannot say, as a smooth lattice on the code values that the look gives.

Regularised lattice regression (E. Garcia, M. Gupta, "Lattice regression", NIPS 2009): the values at the
points of a lattice for which trilinear interpolation comes nearest to the data, with a penalty on their
second differences, so that they run on smoothly where there are no data, and a weak one on the values
themselves, so that far from all data the look alone is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.looks.learn.colours import Colours, differences, graded
from lookdev.looks.model import Look

Array = NDArray[np.float64]

POINTS = 17
_SMOOTH = 2e-4  # penalty of second differences against a mean square of the data; of taste, see the tests
_HOLD = 1e-4  # penalty of the values themselves
BEYOND_SHARE = 0.2
_BEYOND_POINTS, _BEYOND_GUESSES, _BEYOND_SMOOTH, _BEYOND_HOLD = 9, 7, 1e-3, 1e-7
_NEAR_GREY = 0.15  # code values between channels: by five grades and frames that no test holds
_TRUST = 0.08  # signal: an offset larger than this counts less and less


def learn_rest(look: Look, several: Sequence[Colours], points: int = POINTS) -> Array:
    """Offsets (points, points, points, 3) of the signal that the look gives, by red, green, blue.

    Parameters
    ----------
    several : frames of one ``target``, in whose code values the lattice stands.
    """
    given = [np.clip(graded(look, each), 0.0, 1.0) for each in several]
    at = np.concatenate(given)
    offset = np.concatenate([each.after for each in several]) - at
    weight = np.concatenate([each.weight for each in several])
    guessed = np.concatenate([np.arange(len(e.weight)) >= len(e.weight) - e.guesses for e in several])
    weight = weight * np.where(guessed, _room(at, weight * ~guessed, points), 1.0)
    weight = weight / weight.sum() / (1 + (np.linalg.norm(offset, axis=1) / _TRUST) ** 2) ** 0.5
    return regression(at, offset, weight, points, _SMOOTH, _HOLD)


def _room(at: Array, weight: Array, points: int) -> Array:
    """1 where no weight lies in the lattice around a colour (n,), towards 0 the more of it does."""
    corners, shares = trilinear(at, points)
    held = np.bincount(corners.ravel(), (shares * weight[:, None]).ravel(), points**3)
    even = weight.sum() / points**3
    return np.asarray(even / (even + (shares * held[corners]).sum(axis=1)))


def beyond(colours: Colours, share: float = BEYOND_SHARE) -> Colours:
    """The same colours, and a guess of what would have become of those that the frame does not hold.

    Most grades act on code values, and evenly: a lattice on the source's own code values, as straight as the
    colours let it be, goes on where they end. Its points count ``share`` of the whole, those near grey most,
    as colours of pictures lie there. A source without code values that are bounded comes back as it is.
    """
    if colours.source.state != "output":
        return colours
    points = _BEYOND_POINTS
    weight = colours.weight / colours.weight.sum()
    offset = regression(
        colours.before, colours.after - colours.before, weight, points, _BEYOND_SMOOTH, _BEYOND_HOLD
    )
    edge = np.linspace(0.0, 1.0, _BEYOND_GUESSES)
    lattice = np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1).reshape(-1, 3)
    guess = np.clip(with_rest(lattice, offset), 0.0, 1.0)
    greyness = np.exp(-np.ptp(lattice, axis=1) / _NEAR_GREY)
    each = share / (1.0 - share) * greyness / greyness.sum()
    return replace(
        colours,
        before=np.concatenate([colours.before, lattice]),
        after=np.concatenate([colours.after, guess]),
        weight=np.concatenate([weight, each]) * (1.0 - share),
        guesses=len(lattice),
    )


def regression(at: Array, offset: Array, weight: Array, points: int, smooth: float, hold: float) -> Array:
    """Values (points, points, points, c) of a lattice for data ``offset`` (n, c) ``at`` (n, 3) in 0 to 1.

    ``smooth`` and ``hold`` : penalties of second differences and of the values themselves, against the
    weighted mean square of the data.
    """
    from scipy.sparse import csr_matrix, diags
    from scipy.sparse.linalg import cg

    corners, shares = trilinear(at, points)
    rows = np.repeat(np.arange(len(at)), 8)
    data = csr_matrix((shares.ravel(), (rows, corners.ravel())), shape=(len(at), points**3))
    count = points**3
    square = data.T @ data.multiply(weight[:, None] * count).tocsr()
    square = (
        square + count / points * smooth * _second_differences(points) + hold * _identity(points)
    ).tocsr()
    right = data.T @ (offset * (weight * count)[:, None])
    near = diags(1.0 / square.diagonal())
    columns = [cg(square, right[:, k], rtol=1e-5, maxiter=400, M=near)[0] for k in range(offset.shape[1])]
    return np.stack(columns, axis=-1).reshape(points, points, points, -1)


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


def _second_differences(points: int):  # type: ignore[no-untyped-def]
    from scipy.sparse import diags, identity, kron

    one = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(points - 2, points))
    bend, same = one.T @ one, identity(points)
    slope = diags([-1.0, 1.0], [0, 1], shape=(points - 1, points))
    tilt = slope.T @ slope
    along = kron(kron(bend, same), same) + kron(kron(same, bend), same) + kron(kron(same, same), bend)
    across = kron(kron(tilt, tilt), same) + kron(kron(tilt, same), tilt) + kron(kron(same, tilt), tilt)
    return along + 2 * across


def _identity(points: int):  # type: ignore[no-untyped-def]
    from scipy.sparse import identity

    return identity(points**3)


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
