"""The dominant colours of a graded still, with their share of the frame.

k-means in Oklab (a small step is about as visible in any direction there), begun at colours that are far
apart from each other, so that the same picture always gives the same palette.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.munsell_notation import notations
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.paint.chip import ChipSet
from lookdev.paint.predict import hex_of, signal_from_lab

Array = NDArray[np.float64]

MAX_SAMPLES = 40_000

STRETCH = np.array([1.0, 2.0, 2.0])
"""Chroma counts double: light and shade on one surface stay together, a small strong colour is found."""

JOIN = 0.03


@dataclass(frozen=True, eq=False)
class PaletteColour:
    """One colour: ``share`` of the frame 0 to 1, CIELAB for D65, hex, Munsell, the nearest chips by name with
    their CIEDE2000 as made."""

    share: float
    lab: Array
    hex: str
    munsell: str
    chips: tuple[tuple[str, float], ...]


def dominant(light: Array, count: int) -> tuple[Array, Array]:
    """Mean light (k, 3) and shares (k,) of up to ``count`` colours of linear BT.2020 pixels (h, w, 3).

    Largest share first; colours that are hardly told apart are joined.
    """
    flat = light.reshape(-1, 3)
    step = max(1, int(np.ceil(len(flat) / MAX_SAMPLES)))
    pixels = flat[step // 2 :: step]
    lab = oklab_from_working(pixels) * STRETCH
    centres = _spread_out(lab, count)
    label = np.zeros(len(lab), dtype=np.intp)
    channels = np.ascontiguousarray(lab.T)
    for _ in range(40):
        new = _nearest(channels, centres)
        sizes = np.bincount(new, minlength=len(centres))
        sums = np.stack([np.bincount(new, channel, len(centres)) for channel in channels], axis=1)
        moved = np.where(sizes[:, None] > 0, sums / np.maximum(sizes, 1)[:, None], centres)
        still = np.array_equal(new, label) and np.allclose(moved, centres, atol=1e-6)
        label, centres = new, moved
        if still:
            break
    label = _joined(centres, label)
    used = np.unique(label)
    shares = np.array([np.mean(label == k) for k in used])
    means = np.stack([working_from_oklab(lab[label == k].mean(axis=0) / STRETCH) for k in used])
    order = np.argsort(-shares, kind="stable")
    return means[order], shares[order]


def _spread_out(lab: Array, count: int) -> Array:
    """``count`` starting colours: the one nearest to the mean, then each the farthest from those before."""
    first = int(np.argmin(((lab - lab.mean(axis=0)) ** 2).sum(axis=1)))
    picked = [first]
    near = _squares_apart(lab, lab[first])
    for _ in range(count - 1):
        limit = np.quantile(near, 0.995)  # a stray pixel is no dominant colour
        candidate = np.where(near <= limit, near, -1.0)
        picked.append(int(np.argmax(candidate)))
        near = np.minimum(near, _squares_apart(lab, lab[picked[-1]]))
    return lab[picked]


def _nearest(channels: Array, centres: Array) -> NDArray[np.intp]:
    """For colours, (3, n), the number of the nearest of ``centres`` (k, 3), the first of equals."""
    near = np.full(channels.shape[1], np.inf)
    label = np.zeros(channels.shape[1], dtype=np.intp)
    off, square = np.empty_like(near), np.empty_like(near)
    for k, centre in enumerate(centres):
        for channel, (values, middle) in enumerate(zip(channels, centre, strict=True)):
            out = square if channel else off
            np.subtract(values, middle, out=out)
            np.multiply(out, out, out=out)
            if channel:
                off += square
        label[off < near] = k
        np.minimum(near, off, out=near)
    return label


def _squares_apart(lab: Array, colour: Array) -> Array:
    x, y, z = (lab - colour).T
    return np.asarray(x * x + y * y + z * z)


def _joined(centres: Array, label: NDArray[np.intp]) -> NDArray[np.intp]:
    out = label.copy()
    for k in range(1, len(centres)):
        for j in range(k):
            if np.linalg.norm(centres[k] - centres[j]) < JOIN:
                out[out == k] = j
                break
    return out


def palette(light: Array, chips: ChipSet, count: int = 6, nearest: int = 3) -> list[PaletteColour]:
    """The palette of a picture in linear BT.2020 light (h, w, 3), output-referred."""
    means, shares = dominant(light, count)
    lab = lab_from_working(means)
    made = chips.lab("D65")
    munsell = notations(lab)
    out = []
    for i, share in enumerate(shares):
        off = ciede2000(made, lab[i])
        best = np.argsort(off, kind="stable")[:nearest]
        names = tuple((chips.chips[int(b)].label, float(off[b])) for b in best)
        out.append(PaletteColour(float(share), lab[i], hex_of(signal_from_lab(lab[i])), munsell[i], names))
    return out
