"""The one look function: code values in, code values out.

Graded stills, sheets, LUTs, CDL fits and paint predictions all call :class:`Pipeline` (or what another kind
of look returns from ``transform``), so that no two of them can disagree.
"""

from __future__ import annotations

from functools import cache, cached_property
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import WORKING, matrix_between
from lookdev.looks.model import Look
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.looks.stages.balance import BalanceResult, Cast, resolve_balance
from lookdev.looks.stages.cdl import apply_cdl
from lookdev.looks.stages.colour import adjust_families, saturate
from lookdev.looks.stages.curve import apply_curve
from lookdev.looks.stages.exposure import expose
from lookdev.looks.stages.gamut import bring_inside, gamut_limit, inside_working
from lookdev.looks.stages.toning import tone

Array = NDArray[np.float64]

BLOCK_PIXELS = 1 << 14  # so that what the stages make on the way stays in the processor's cache


@runtime_checkable
class Transform(Protocol):
    """Signal (..., 3) in ``source`` to signal (..., 3) in ``target``."""

    source: Encoding
    target: Encoding

    @property
    def is_identity(self) -> bool: ...

    def __call__(self, signal: ArrayLike) -> Array: ...


class LookLike(Protocol):
    """What can be put on a still: a look of ours, or a received LUT that stands in for one."""

    @property
    def title(self) -> str: ...

    @property
    def note(self) -> str: ...

    def key_parameters(self) -> list[str]: ...

    def describe(self) -> str: ...

    def fingerprint(self) -> str: ...

    def transform(
        self, source: Encoding, target: Encoding, cast: Cast | None = None, exposure_stops: float = 0.0
    ) -> Transform: ...


class Grade:
    """A look with what was metered: scene light to scene light, linear BT.2020.

    Parameters
    ----------
    look : the look.
    cast : the metered cast in the picture, or None where nothing was metered.
    exposure_stops : stops added before the look, to bring a still to the metered exposure.
    """

    def __init__(self, look: Look, cast: Cast | None = None, exposure_stops: float = 0.0) -> None:
        self.look, self.cast, self.exposure_stops = look, cast, float(exposure_stops)
        self.balance: BalanceResult = resolve_balance(look.balance, cast)

    @property
    def is_identity(self) -> bool:
        """Whether scene light comes back unchanged, to the bit."""
        return (
            self.exposure_stops == 0.0
            and bool(np.array_equal(self.balance.matrix, np.eye(3)))
            and self.look.exposure.is_identity
            and self.look.curve.is_identity
            and self.look.colour.is_identity
            and self.look.toning.is_identity
            and self.look.cdl.is_identity
        )

    def __call__(self, scene: ArrayLike) -> Array:
        """Grade scene light (..., 3); negatives and any brightness pass without a NaN."""
        rgb = np.asarray(scene, dtype=np.float64)
        if self.is_identity:
            return rgb
        look = self.look
        stops = self.exposure_stops + look.exposure.stops
        if stops:
            rgb = expose(rgb, stops)
        if not np.array_equal(self.balance.matrix, np.eye(3)):
            rgb = rgb @ self.balance.matrix.T
        rgb = apply_curve(rgb, look.curve)
        if not (look.colour.is_identity and look.toning.is_identity):
            lab = adjust_families(oklab_from_working(rgb), look.colour.families)
            rgb = working_from_oklab(tone(saturate(lab, look.colour.saturation), look.toning))
        return apply_cdl(rgb, look.cdl)


@cache
def _cube() -> Array:
    edge = np.linspace(0.0, 1.0, 21)
    return np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1).reshape(-1, 3)


class Pipeline:
    """A grade between two encodings: the look function.

    Output-referred input is lifted to scene light first, output-referred results are rendered; where both
    ends have the same encoding and the grade is the identity, the very same values come back.

    >>> from lookdev.colorimetry.encodings import SRGB
    >>> Pipeline(Grade(Look(title="as it stood")), SRGB, SRGB)([0.1, 0.5, 0.9]).tolist()
    [0.1, 0.5, 0.9]
    """

    def __init__(self, grade: Grade, source: Encoding, target: Encoding) -> None:
        self.grade, self.source, self.target = grade, source, target

    @property
    def is_identity(self) -> bool:
        """Whether code values come back unchanged, to the bit."""
        return self.grade.is_identity and self.source == self.target

    @cached_property
    def limit(self) -> float:
        """How far the look pushes colours past the edge, over the whole input cube (1: not at all)."""
        if self.target.state != "output" or self.is_identity:
            return 1.0
        pushed = self._graded(self.input_cube(), lifted=True, rendered=True)
        return max(gamut_limit(pushed, self.target.space), self.least_limit)

    @property
    def least_limit(self) -> float:
        """What scene-referred input, which can lie anywhere, needs at least."""
        return 1.0 if self.source.state == "output" else 1.001

    def input_cube(self) -> Array:
        """Output-referred light (n, 3), linear BT.2020, all over what can come in.

        Scene-referred input has no cube of its own that a picture fills: the display's own colours stand in,
        so that the same look treats log footage, raw files and stills alike.
        """
        cube = _cube()
        if self.source.state == "output":
            return self.source.to_working(cube)
        return np.asarray(tf.srgb_decode(cube) @ matrix_between(self.target.space, WORKING).T)

    def _graded(self, rgb: Array, lifted: bool, rendered: bool) -> Array:
        if self.grade.is_identity and lifted == rendered:
            return rgb
        scene = self.grade(lift_curve(rgb) if lifted else rgb)
        if rendered:
            scene = inside_working(scene)
        return render_curve(scene) if rendered else scene

    def __call__(self, signal: ArrayLike) -> Array:
        """Code values (..., 3) through the look; output-referred results lie in [0, 1]."""
        values = np.asarray(signal, dtype=np.float64)
        if self.is_identity:
            return values
        flat = values.reshape(-1, 3)
        out = np.empty_like(flat)
        for start in range(0, len(flat), BLOCK_PIXELS):
            block = slice(start, start + BLOCK_PIXELS)
            out[block] = self._block(flat[block])
        return out.reshape(values.shape)

    def _block(self, values: Array) -> Array:
        lifted, rendered = self.source.state == "output", self.target.state == "output"
        rgb = self._graded(self.source.to_working(values), lifted, rendered)
        if self.target.state != "output":
            return self.target.from_working(rgb)
        return np.clip(self.target.from_working(bring_inside(rgb, self.target.space, self.limit)), 0.0, 1.0)

    def scene(self, signal: ArrayLike) -> Array:
        """Scene light (..., 3) of code values, before the grade."""
        rgb = self.source.to_working(signal)
        return lift_curve(rgb) if self.source.state == "output" else rgb
