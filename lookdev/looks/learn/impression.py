"""What a picture looks like, in numbers that a look moves: its impression.

Of pictures of different places these differ by what the places hold, too: how much says the scout itself, and
:data:`PLACES_DIFFER`. All is of the picture as a display shows it; several pictures go at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.munsell import FAMILIES, FAMILY_HUE_DEGREES
from lookdev.colorimetry.oklab import oklab_from_working

Array = NDArray[np.float64]

QUANTILES = (0.02, 0.10, 0.25, 0.50, 0.75, 0.90, 0.98)
BANDS = ("shadows", "middle", "highlights")

LIGHT = slice(0, 7)
"""Stops from white at :data:`QUANTILES` of the picture."""

CAST = slice(7, 13)
"""Oklab a and b of the greyish in shadows, in the middle, and in highlights."""

CHROMA = slice(13, 18)
"""Natural logarithm of chroma about that, at four quantiles, and of the mean of all."""

FAMILY = slice(18, 28)
"""Natural logarithm of chroma by hue family."""

COUNT = 28

PLACES_DIFFER = np.array(
    (
        *(1.6, 1.8, 1.2, 0.9, 0.7, 0.45, 0.3),
        *(0.018, 0.027, 0.017, 0.044, 0.010, 0.044),
        *(0.32, 0.48, 0.50, 0.45, 0.36),
        *(0.57, 0.47, 0.38, 0.36, 0.42, 0.41, 0.38, 0.39, 0.43, 0.50),
    )
)
"""Standard deviation between pictures of different places, none of them graded: measured over the fifteen
stills of the sample scout, balanced, and five photographs."""

_NEIGHBOURS, _ONE_AXIS, _TWO_AXES, _FAMILIES_TOGETHER, _LEAST = 0.8, 0.75, 0.55, 0.1, 0.02
"""Correlations between places, rounded from those of the same pictures: of neighbouring quantiles of light
(chroma's are 0.75), of casts of two bands along one axis of Oklab and along two, of two families' chroma."""


def places_correlate() -> Array:
    """Correlation (28, 28) of the impression between pictures of different places, none of them graded.

    >>> found = places_correlate()
    >>> found.shape, round(float(found[2, 3]), 1), bool(np.linalg.eigvalsh(found).min() > 0)
    ((28, 28), 0.8, True)
    """
    found = np.eye(COUNT)
    for part, share in ((LIGHT, _NEIGHBOURS), (slice(CHROMA.start, CHROMA.stop - 1), 0.75)):
        place = np.arange(part.stop - part.start)
        found[part, part] = share ** np.abs(place[:, None] - place)
    axis = np.arange(CAST.stop - CAST.start) % 2
    found[CAST, CAST] = np.where(axis[:, None] == axis, _ONE_AXIS, _TWO_AXES)
    found[FAMILY, FAMILY] = _FAMILIES_TOGETHER
    np.fill_diagonal(found, 1.0)
    values, vectors = np.linalg.eigh(found)
    found = (vectors * np.maximum(values, _LEAST)) @ vectors.T
    spread = np.sqrt(np.diag(found))
    return np.asarray(found / spread / spread[:, None])


_FLOOR = 0.0015  # light under which a display shows no difference
_BAND_MIDDLE, _BAND_REACH = (0.25, 0.55, 0.85), 0.27  # Oklab lightness
_GREYISH = 0.03  # Oklab chroma about the commonest colour within which surfaces count as one grey
_SEARCHES = 5
_CHROMA_QUANTILES = (0.50, 0.75, 0.90, 0.97)
_LEAST_CHROMA = 0.006
_FAMILY_REACH = 36.0  # degrees
_LUMINANCE = np.array([0.2627, 0.6780, 0.0593])  # BT.2020 item 4


def impression(signal: ArrayLike) -> Array:
    """The numbers (s, 28) of pictures given as sRGB code values (s, n, 3).

    >>> grey = np.full((1, 64, 3), 0.5)
    >>> found = impression(grey)[0]
    >>> found.shape, np.round(found[LIGHT][0], 2).item(), bool(np.abs(found[CAST]).max() < 1e-6)
    ((28,), -2.21, True)
    """
    light = SRGB.to_working(signal)
    lab = oklab_from_working(light)
    lightness, a, b = lab[..., 0], lab[..., 1], lab[..., 2]
    stops = np.log2(np.maximum(light @ _LUMINANCE, 0.0) + _FLOOR)
    cast = _cast(lightness, a, b)
    place = np.clip((lightness - _BAND_MIDDLE[0]) / (_BAND_MIDDLE[1] - _BAND_MIDDLE[0]), 0.0, 2.0)
    off_a, off_b = a - _between(cast[:, 0::2], place), b - _between(cast[:, 1::2], place)
    chroma = np.hypot(off_a, off_b)
    return np.concatenate(
        [
            _at(stops, QUANTILES),
            cast,
            np.log(_at(chroma, _CHROMA_QUANTILES) + _LEAST_CHROMA),
            np.log(np.hypot(a, b).mean(axis=1, keepdims=True) + _LEAST_CHROMA),
            _by_family(chroma, np.degrees(np.arctan2(off_b, off_a)) % 360.0),
        ],
        axis=1,
    )


def _at(values: Array, quantiles: tuple[float, ...]) -> Array:
    """The values (s, q) at shares of the sorted (s, n)."""
    count = values.shape[1]
    return np.sort(values, axis=1)[:, [min(int(count * q), count - 1) for q in quantiles]]


def _cast(lightness: Array, a: Array, b: Array) -> Array:
    """The commonest colour (s, 6), near which greys lie, of each band of lightness."""
    found = []
    for middle in _BAND_MIDDLE:
        weight = np.clip(1.0 - np.abs(lightness - middle) / _BAND_REACH, 0.0, 1.0) + 1e-6
        at_a, at_b = _mean(weight, a), _mean(weight, b)
        for _ in range(_SEARCHES):
            away = (a - at_a[:, None]) ** 2 + (b - at_b[:, None]) ** 2
            near = weight * np.exp(-away / (2 * _GREYISH**2)) + 1e-9
            at_a, at_b = _mean(near, a), _mean(near, b)
        found += [at_a, at_b]
    return np.stack(found, axis=1)


def _mean(weight: Array, values: Array) -> Array:
    return np.asarray((weight * values).sum(axis=1) / weight.sum(axis=1))


def _between(bands: Array, place: Array) -> Array:
    """Of three bands (s, 3), at places 0 to 2 (s, n), in straight lines."""
    low, high = np.clip(1.0 - place, 0.0, 1.0), np.clip(place - 1.0, 0.0, 1.0)
    return np.asarray(low * bands[:, :1] + (1.0 - low - high) * bands[:, 1:2] + high * bands[:, 2:])


def _by_family(chroma: Array, hue_deg: Array) -> Array:
    weight = chroma**2 / (chroma**2 + _GREYISH**2)
    found = []
    for middle, _ in zip(FAMILY_HUE_DEGREES, FAMILIES, strict=True):
        off = np.abs((hue_deg - middle + 180.0) % 360.0 - 180.0)
        own = weight * np.clip(1.0 - off / _FAMILY_REACH, 0.0, 1.0)
        mean = (own * chroma).sum(axis=1) / (own.sum(axis=1) + 0.002 * chroma.shape[1])
        found.append(np.log(mean + 0.01))
    return np.stack(found, axis=1)
