"""What LUTs will be put on: colours of the scout's own stills, as the production's camera would have them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import LookdevError
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.survey.footage import as_footage, footage_cast

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import Transform
    from lookdev.meter.scout import Plan
    from lookdev.survey.survey import Survey, SurveyedStill

Array = NDArray[np.float64]

_AS_IT_STOOD = Look(title="as it stood")
_AS_FOOTAGE = Look(title="as footage", balance=Balance(keep=0.0))
_EDGE_PX = 320
_COLOURS = 2000
"""Of each still, evenly picked: their 95th percentile is within a hundredth of that of all."""


def to_footage(still: SurveyedStill, source: Encoding, target: Encoding, plan: Plan) -> Transform:
    """From a still's code values in ``source`` to footage in ``target``, at the footage's balance."""
    footage = footage_cast(still, plan) if still.cast is not None else None
    other_balance = as_footage(still, footage)
    plain = _AS_FOOTAGE if other_balance is not None else _AS_IT_STOOD
    return plain.transform(source, target, other_balance, still.exposure_stops)


def own_colours(surveyed: Survey, footage: Encoding) -> dict[str, Array]:
    """Code values (n, 3) in ``footage`` of each still, by its name; what cannot be read is left out."""
    found = {}
    for still in surveyed.usable:
        try:
            read = still.read(max_edge_px=_EDGE_PX)
        except LookdevError:
            continue  # named by whoever needs it whole
        flat = read.signal().reshape(-1, 3)
        picked = flat[np.linspace(0, len(flat) - 1, min(_COLOURS, len(flat))).round().astype(int)]
        codes = to_footage(still, read.encoding, footage, surveyed.scout.plan)(picked)
        found[still.name] = codes if footage.is_linear else np.clip(codes, 0.0, 1.0)
    return found


def of_stills(colours: Mapping[str, Array], stills: Iterable[str] | None) -> Array | None:
    """Those of some stills, or of all (None), together; None where there are none."""
    parts = [colours[name] for name in (colours if stills is None else stills) if name in colours]
    return np.concatenate(parts) if parts else None
