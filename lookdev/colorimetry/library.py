"""colour-science, imported late (about a second) and without its import-time notices."""

from __future__ import annotations

import warnings
from functools import lru_cache
from typing import Any


@lru_cache(maxsize=1)
def colour_science() -> Any:
    """The ``colour`` module. Import it only through here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        colour.utilities.filter_warnings(colour_usage_warnings=True, colour_runtime_warnings=True)
    return colour
