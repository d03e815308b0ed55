"""Two versions of one frame laid onto each other, whatever was done to their colours, size and crop.

Both are made alike by what a grade leaves: where it is lighter and darker than around. SIFT features
(Lowe 2004) and RANSAC find size and shift, the enhanced correlation coefficient (Evangelidis and Psarakis
2008) refines them, both by OpenCV.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

SAME = 0.45
"""Correlation of local contrast under which two pictures are not of one frame; see the tests."""

_AROUND = 6.0  # pixels: what counts as around a place
_FLAT = 0.010  # signal: contrast under which a place has none
_STILL = 0.3  # pixels of shift that need no moving
_LEAST_MATCHES = 12


@dataclass(frozen=True, eq=False)
class Registration:
    """How ``after`` lies on ``before``.

    Attributes
    ----------
    matrix : (2, 3), pixels of before to pixels of after.
    likeness : -1 to 1, correlation of local contrast where the two overlap.
    moved : whether pixels had to be read between pixels.
    """

    matrix: NDArray[np.float64]
    likeness: float
    moved: bool


def register(before: Grey, after: Grey) -> Registration:
    """How the frame ``after`` (h2, w2) lies on ``before`` (h, w), 8-bit grey; the best that was found."""
    scale = np.array([after.shape[1] / before.shape[1], after.shape[0] / before.shape[0]])
    straight = np.array([[scale[0], 0.0, (scale[0] - 1) / 2], [0.0, scale[1], (scale[1] - 1) / 2]])
    here, there = local_contrast(before), local_contrast(after)
    found = [straight]
    at_once = _likeness(here, there, straight)
    if at_once > 0.9 and scale.tolist() == [1.0, 1.0] and _shift(here, there) < _STILL:
        return Registration(straight, at_once, moved=False)
    by_features = _by_features(before, after)
    if by_features is not None:
        found.append(by_features)
    start = max(found, key=lambda m: _likeness(here, there, m))
    refined = _refined(here, there, start)
    if refined is not None:
        found.append(refined)
    best = max(found, key=lambda m: _likeness(here, there, m))
    still = scale.tolist() == [1.0, 1.0] and np.abs(best - straight).max() < 1e-9
    return Registration(best, _likeness(here, there, best), moved=not still)


def local_contrast(grey: Grey) -> NDArray[np.float32]:
    """How much lighter each place is than around it, against how much places there differ."""
    import cv2

    light = grey.astype(np.float32) / 255
    off = light - cv2.GaussianBlur(light, (0, 0), _AROUND)
    spread = cv2.GaussianBlur(off * off, (0, 0), 2 * _AROUND)
    return np.asarray(off / np.sqrt(spread + _FLAT**2), dtype=np.float32)


def overlap(matrix: NDArray[np.float64], size: tuple[int, int], of: tuple[int, int]) -> NDArray[np.bool_]:
    """(h, w): which pixels of a frame of ``size`` lie inside the other, of size ``of``, off its edge."""
    inside = np.full(of, 255, np.uint8)
    inside[:2] = inside[-2:] = 0
    inside[:, :2] = inside[:, -2:] = 0
    return np.asarray(laid(inside, matrix, size) > 250)


def laid(picture: NDArray[Any], matrix: NDArray[np.float64], size: tuple[int, int]) -> NDArray[Any]:
    """``picture`` in the pixels of a frame of ``size`` (h, w)."""
    import cv2

    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(picture, matrix, (size[1], size[0]), flags=flags))


def _likeness(here: NDArray[np.float32], there: NDArray[np.float32], matrix: NDArray[np.float64]) -> float:
    size = (here.shape[0], here.shape[1])
    inside = overlap(matrix, size, (there.shape[0], there.shape[1]))
    if inside.mean() < 0.1:
        return -1.0
    one, two = here[inside], laid(there, matrix, size)[inside]
    norm = float(np.sqrt((one * one).sum() * (two * two).sum()))
    return float((one * two).sum()) / norm if norm > 0 else 0.0


def _shift(here: NDArray[np.float32], there: NDArray[np.float32]) -> float:
    import cv2

    (dx, dy), _ = cv2.phaseCorrelate(here, there, cv2.createHanningWindow(here.shape[::-1], cv2.CV_32F))
    return float(np.hypot(dx, dy))


def _by_features(before: Grey, after: Grey) -> NDArray[np.float64] | None:
    cv2: Any = importlib.import_module("cv2")
    cv2.setRNGSeed(1)
    alike = cv2.createCLAHE(3.0, (8, 8))
    sift = cv2.SIFT_create(1500)
    points_1, words_1 = sift.detectAndCompute(alike.apply(before), None)
    points_2, words_2 = sift.detectAndCompute(alike.apply(after), None)
    if words_1 is None or words_2 is None or min(len(points_1), len(points_2)) < _LEAST_MATCHES:
        return None
    pairs = cv2.BFMatcher().knnMatch(words_1, words_2, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    if len(good) < _LEAST_MATCHES:
        return None
    one = np.array([points_1[m.queryIdx].pt for m in good], np.float32)
    two = np.array([points_2[m.trainIdx].pt for m in good], np.float32)
    matrix, kept = cv2.estimateAffinePartial2D(one, two, ransacReprojThreshold=2.0, maxIters=4000)
    if matrix is None or int(kept.sum()) < _LEAST_MATCHES:
        return None
    return np.asarray(matrix, dtype=np.float64)


def _refined(
    here: NDArray[np.float32], there: NDArray[np.float32], start: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    cv2: Any = importlib.import_module("cv2")  # its stubs lag behind it
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-5)
    try:
        _, matrix = cv2.findTransformECC(
            here, there, start.astype(np.float32), cv2.MOTION_AFFINE, criteria, None, 3
        )
    except cv2.error:  # it does not converge: the frames have too little in common
        return None
    return np.asarray(matrix, dtype=np.float64)
