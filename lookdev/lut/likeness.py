"""What a LUT may take and give, with how likely each is, in words and numbers."""

from __future__ import annotations

from dataclasses import dataclass

from lookdev.colorimetry.log_encodings import pairs

SAME = "the same"
SURE = 0.9
"""Share of belief from which a guess is said without reserve: of 340 made LUTs a third have so much, and
of those one in a hundred was wrong."""
NEAR = 0.05
"""Root mean square on grey, of a full scale of 1, over which no known encoding predicts the LUT."""


@dataclass(frozen=True)
class Likeness:
    """An encoding that the LUT may take, with what it would give then.

    ``belief`` : share among all encodings. ``rms`` of grey against the prediction, of a full scale of 1, with
    ``stops`` and ``contrast`` in it; ``saturation`` and ``off_primaries`` of the matrix at grey (None where
    the LUT has no colour); ``cost`` to compare hypotheses about one LUT.
    """

    name: str
    gives: str
    belief: float
    rms: float
    stops: float
    contrast: float
    saturation: float | None
    off_primaries: float | None
    cost: float

    @property
    def curve(self) -> str:
        """The transfer function alone."""
        return transfer_name(self.name)

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        parts = {"belief": self.belief, "rms": self.rms, "stops": self.stops, "contrast": self.contrast}
        more = {"saturation": self.saturation, "off_primaries": self.off_primaries}
        rounded = {k: None if v is None else round(v, 4) for k, v in (parts | more).items()}
        return {"name": self.name, "gives": self.gives, **rounded}


def transfer_name(name: str) -> str:
    """The transfer function's own name in that of an encoding.

    >>> transfer_name("S-Log3 S-Gamut3.Cine")
    'S-Log3'
    """
    return pairs()[name][0] if name in pairs() else name


@dataclass(frozen=True)
class Guesses:
    """Every encoding that a LUT may take, the likeliest first, and ``outputs``: belief in what it gives, by
    kind ("SDR", "PQ", "HLG", :data:`SAME`)."""

    takes: tuple[Likeness, ...]
    outputs: dict[str, float]

    @property
    def first(self) -> Likeness:
        """The likeliest."""
        return self.takes[0]

    @property
    def known(self) -> bool:
        """Whether any known encoding predicts the LUT's grey."""
        return self.first.rms <= NEAR

    @property
    def sure(self) -> bool:
        """Whether the first may be said without reserve."""
        return self.known and self.first.belief >= SURE

    @property
    def as_likely(self) -> tuple[Likeness, ...]:
        """The first, and those that it cannot be told from: of at least a third of its belief."""
        return tuple(like for like in self.takes[:5] if like.belief >= self.first.belief / 3)

    @property
    def curve_belief(self) -> float:
        """Belief in the first one's transfer function, whatever its primaries."""
        return sum(like.belief for like in self.takes if like.curve == self.first.curve)

    def words(self) -> str:
        """One line."""
        if not self.known:
            return "no known encoding predicts this LUT's grey: ask who made it"
        if self.sure:
            return f"takes {self.first.name}"
        names = " or ".join(like.name for like in self.as_likely[1:]) or "others"
        if self.curve_belief >= SURE:
            return f"takes {self.first.curve}; its primaries cannot be told: {self.first.name}, or {names}"
        return f"cannot tell what it takes: most like {self.first.name}, nearly as like {names}"


def output_kind(gives: str) -> str:
    """Of what kind an output is.

    >>> output_kind("BT.2100 PQ"), output_kind("Display P3")
    ('PQ', 'SDR')
    """
    return gives if gives == SAME else next((k for k in ("PQ", "HLG") if k in gives), "SDR")
