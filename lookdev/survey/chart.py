"""stub"""

from dataclasses import dataclass

from lookdev.stills.still import Still


@dataclass(frozen=True)
class Found:
    name: str
    grey_box: tuple[int, int, int, int]


def find_grey(still: Still) -> Found | None:
    return None
