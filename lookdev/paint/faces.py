"""Faces: what skin becomes under a lamp, in a camera, through a look, and what each of the three did to it.

Skin is the six model spectra of ``colorimetry.skins``. Four states, CIELAB for D65 each:

- daylight: under D65, as an eye sees it;
- lamp: under the lamp, its white balanced out without rest (Bradford, as cameras do): what is left of the
  difference is the lamp's spectrum, and no balance takes it out;
- rendering: the same as a picture, as it stood;
- look: on screen through the look, with the camera's own balance; the cast that the look keeps counts as
  its doing.

The share of chroma is against daylight, a hue is degrees of CIELAB hue, positive towards yellow and green.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_xyz, working_from_lab
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
from lookdev.paint.metamerism import adapted_lab
from lookdev.paint.predict import Viewing, lab_from_signal, signal_from_lab
from lookdev.paint.spectra import illuminant_weights, on_grid
from lookdev.text.numbers import fixed

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.paint.light import Light
    from lookdev.paint.predict import Site

Array = NDArray[np.float64]

VISIBLE_DEG, FAR_DEG = 8.0, 15.0
"""Degrees of hue from which a face is seen to be off beside its daylight self, and from which it is what the
shot is about. Of taste."""
UNEQUAL = 1.3
"""Largest share of chroma over the smallest from which complexions are not treated alike. Of taste."""
ALIKE = 2.0
"""CIEDE2000 within which two readings of a place are said once."""
COLOURLESS = 2.5
"""C* under which a hue is not seen, and not told."""

PARTS = ("lamp", "rendering", "look")
ADVICE = (
    "What the lamp does to faces no balance takes out: gel it, or key faces with another lamp. What the look "
    "does: keep less of the cast, or hold more skin ([skin] hold in the look). A test with the actors, made "
    "up, under the lamp decides."
)


@dataclass(frozen=True)
class Split:
    """A change of skin, and what of it each of the three did. None where there is no hue to tell."""

    whole: float | None
    lamp: float | None
    rendering: float | None
    look: float | None

    def data(self, digits: int = 1) -> dict[str, float | None]:
        """For JSON."""
        values = {"whole": self.whole, "lamp": self.lamp, "rendering": self.rendering, "look": self.look}
        return {k: None if v is None else round(v, digits) + 0.0 for k, v in values.items()}


@dataclass(frozen=True, eq=False)
class Face:
    """One complexion. ``states`` (4, 3): CIELAB in daylight, under the lamp, rendered, through the look;
    ``daylight``, ``here``: sRGB signal (3,) of the first and the last."""

    name: str
    states: Array = field(repr=False)
    daylight: Array = field(repr=False)
    here: Array = field(repr=False)

    @cached_property
    def chroma(self) -> Array:
        """C*ab of the four states."""
        return np.asarray(np.hypot(self.states[:, 1], self.states[:, 2]))

    @property
    def lightness(self) -> Split:
        """L*, the difference from daylight."""
        steps = np.diff(self.states[:, 0])
        return Split(float(steps.sum()), *(float(v) for v in steps))

    @cached_property
    def hue_deg(self) -> Split:
        """Degrees of hue from daylight."""
        hue = np.degrees(np.arctan2(self.states[:, 2], self.states[:, 1]))
        seen = self.chroma >= COLOURLESS
        steps: list[float | None] = [
            _turn(float(b - a)) if seen[k] and seen[k + 1] else None for k, (a, b) in enumerate(pairwise(hue))
        ]
        whole = _turn(float(hue[3] - hue[0])) if seen[0] and seen[3] else None
        return Split(whole, *steps)

    @property
    def chroma_kept(self) -> Split:
        """Share of daylight's chroma that is left, and the factor by which each of the three changed it."""
        c = np.maximum(self.chroma, 1e-9)
        return Split(float(c[3] / c[0]), *(float(v) for v in c[1:] / c[:-1]))


@dataclass(frozen=True, eq=False)
class Faces:
    """Six complexions, light to dark, at one place through one look."""

    place: str
    light: str
    look: str
    faces: tuple[Face, ...]

    @cached_property
    def hue_deg(self) -> Split:
        """Mean over the complexions that have a hue."""
        rows = [f.hue_deg for f in self.faces if f.hue_deg.whole is not None]
        if not rows:
            return Split(None, None, None, None)
        means = [_mean([getattr(r, part) for r in rows]) for part in ("whole", *PARTS)]
        return Split(*means)

    @property
    def farthest_deg(self) -> float | None:
        """Hue of the complexion that is farthest from daylight."""
        turns = [f.hue_deg.whole for f in self.faces if f.hue_deg.whole is not None]
        return max(turns, key=abs) if turns else None

    @property
    def chroma_kept(self) -> Split:
        """Mean over the complexions."""
        rows = [f.chroma_kept for f in self.faces]
        return Split(*(_mean([getattr(r, part) for r in rows]) for part in ("whole", *PARTS)))

    @property
    def lightness(self) -> Split:
        """Mean over the complexions."""
        rows = [f.lightness for f in self.faces]
        return Split(*(_mean([getattr(r, part) for r in rows]) for part in ("whole", *PARTS)))

    @property
    def spread(self) -> Split:
        """Largest share of chroma kept over the smallest, at the end and after each of the three (1: all
        complexions alike)."""
        kept = np.array([f.chroma / f.chroma[0] for f in self.faces])
        after = [float(kept[:, k].max() / max(kept[:, k].min(), 1e-9)) for k in (1, 2, 3)]
        return Split(after[2], *after)

    @property
    def colourless(self) -> bool:
        """Whether no complexion has a colour left that is seen."""
        return all(float(f.chroma[3]) < COLOURLESS for f in self.faces)

    def looks_like(self, other: Faces) -> bool:
        """Whether the two are the same to an eye: the same light, and no state more than ALIKE apart."""
        apart = [ciede2000(a.states, b.states).max() for a, b in zip(self.faces, other.faces, strict=True)]
        return self.light == other.light and self.look == other.look and max(apart) < ALIKE

    @property
    def line(self) -> str:
        """Where the turn of hue comes from: ``First ferry under FL2: +15°, the lamp +12°, …``."""
        where = f"{self.look} under {self.light}"
        hue = self.hue_deg
        if hue.whole is None:
            return f"{where}: too little colour left for a hue"
        parts = ((part, getattr(hue, part)) for part in PARTS)
        said = [f"the {part} {fixed(v, 0)}°" for part, v in parts if v is not None]
        return f"{where}: {fixed(hue.whole, 0)}°, {', '.join(said)}"

    @property
    def words(self) -> tuple[str, ...]:
        """What a person must know of faces here; empty where they are well."""
        out = []
        farthest = self.farthest_deg
        if farthest is not None and abs(farthest) > VISIBLE_DEG:
            side = "yellow" if farthest > 0 else "red"
            how = f"far towards {side}" if abs(farthest) > FAR_DEG else f"visibly towards {side}"
            who = self._most(farthest)
            out.append(f"faces go {how}, up to {abs(farthest):.0f}°, most of it the {who}'s doing")
        if not self.colourless and self.spread.whole is not None and self.spread.whole > UNEQUAL:
            most, least = (pick(self.faces, key=_kept).name for pick in (max, min))
            out.append(
                f"complexions are not treated alike: {most} keeps {self.spread.whole:.1f} times the share of "
                f"colour of {least}"
            )
        if self.colourless:
            out.append("hardly any blood left in faces")
        return tuple(out)

    def _most(self, farthest: float) -> str:
        shares = {part: getattr(self.hue_deg, part) or 0.0 for part in PARTS}
        return max(PARTS, key=lambda part: shares[part] * float(np.sign(farthest)))

    def data(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "look": self.look,
            "line": self.line,
            "words": list(self.words),
            "hue_deg": self.hue_deg.data(),
            "farthest_hue_deg": None if self.farthest_deg is None else round(self.farthest_deg, 1),
            "chroma_kept": self.chroma_kept.data(3),
            "lightness": self.lightness.data(),
            "spread": self.spread.data(3),
            "faces": [
                {
                    "skin": face.name,
                    "lab": dict(zip(("daylight", *PARTS), face.states.round(2).tolist(), strict=True)),
                    "hue_deg": face.hue_deg.data(),
                    "chroma_kept": face.chroma_kept.data(3),
                    "lightness": face.lightness.data(),
                }
                for face in self.faces
            ],
        }


def faces_at(site: Site, look: LookLike | None, encoding: Encoding) -> Faces:
    """The six complexions at a place through a look (None: as it stood).

    Raises
    ------
    RequestError : the site's camera balance cannot be.
    """
    reflectances = _skins()
    daylight = adapted_lab(reflectances, illuminant_weights("D65"))
    lamp = _balanced(reflectances, site.light)
    stood = Viewing(site, None, encoding)
    rendered = lab_from_signal(stood.signal(working_from_lab(lamp) * 2.0**site.level_stops))
    signal, screen = Viewing(site, look, encoding).screen(reflectances)
    day_signal = signal_from_lab(daylight)
    states = np.stack([daylight, lamp, rendered, screen], axis=1)
    faces = zip(skin_names(), states, day_signal, signal, strict=True)
    title = look.title if look is not None else "as it stood"
    return Faces(site.name, site.light.name, title, tuple(Face(*face) for face in faces))


def look_alike(row: Sequence[Faces], other: Sequence[Faces]) -> bool:
    """Whether two rows, the faces through each look under a light, are the same to an eye."""
    return all(a.looks_like(b) for a, b in zip(row, other, strict=True))


@lru_cache(maxsize=1)
def _skins() -> Array:
    return on_grid(skin_wavelengths_nm(), skin_reflectances())


def _balanced(reflectances: Array, light: Light) -> Array:
    """CIELAB under the lamp, its white balanced out; a lamp that Bradford cannot take by CAT16."""
    try:
        matrix = adaptation_matrix(light.xy, D65_XY)
    except ValueError:
        return adapted_lab(reflectances, light.weights)
    return lab_from_xyz(reflectances @ light.weights @ matrix.T)


def _turn(degrees: float) -> float:
    return (degrees + 180.0) % 360.0 - 180.0


def _mean(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if known else None


def _kept(face: Face) -> float:
    return face.chroma_kept.whole or 0.0
