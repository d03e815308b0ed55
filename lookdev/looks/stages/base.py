"""What every stage's parameters have in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Parameters(BaseModel):
    """Validated, frozen, unknown keys refused, no silent conversion of text to numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    @property
    def is_identity(self) -> bool:
        """Whether the stage, so set, changes nothing."""
        return self == type(self)()

    def words(self) -> list[str]:
        """What the stage does, for a person; empty at its defaults."""
        return []


def signed(value: float, digits: int) -> str:
    """``value`` with its sign, a proper minus, and no trailing zeros.

    >>> signed(-12.0, 1), signed(0.40, 2)
    ('−12', '+0.4')
    """
    text = f"{value:+.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "−")


def fixed(value: float, digits: int) -> str:
    """``value`` with its sign, a proper minus, and all its digits; nothing is ever minus zero.

    >>> fixed(-0.00002, 4), fixed(0.0031, 4)
    ('+0.0000', '+0.0031')
    """
    return f"{round(value, digits) + 0.0:+.{digits}f}".replace("-", "−")


def times(value: float) -> str:
    """A factor, short: 0.55, 1.2, 1."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
