"""How near ten numbers can come to a look's greys, and how near the shipped fit comes.

For each look, ACEScct to BT.709, CIEDE2000 on greys from 6 stops under mid grey to 6 over it: the largest
difference of the fit that a handoff ships, and the smallest that any ten numbers were found to reach where
nothing else counts (tests/grey_limit.py).

python tests/benchmarks/cdl_greys.py [LOOK.toml …]      # default: the shipped looks; a minute
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import lookdev
from lookdev.colorimetry.encodings import ACESCCT, BT709
from lookdev.jobs.own_colours import own_colours
from lookdev.lut.cdl import fit_cdl

HERE = Path(__file__).parents[2]
GOAL = 1.5


def main() -> None:
    sys.path.insert(0, str(HERE / "tests"))
    from grey_limit import grey_limit

    paths = [Path(a) for a in sys.argv[1:]] or sorted((HERE / "looks").glob("*.toml"))
    survey = lookdev.survey(lookdev.open_scout(HERE / "sample_frames"))
    own = np.concatenate(list(own_colours(survey, ACESCCT).values()))
    print("look: greys of the fit, of any ten numbers; own stills of the fit, mean / 95%")
    for look in lookdev.open_looks(paths):
        fit = fit_cdl(look, ACESCCT, BT709, scout_inputs=own)
        assert fit.grey is not None and fit.scout is not None
        limit = 0.0 if fit.exact else grey_limit(look, fit.cdl)
        excess = fit.grey.maximum - max(GOAL, limit)
        print(
            f"{look.title}: {fit.grey.maximum:.2f}, {limit:.2f} ({excess:+.2f} to that or to {GOAL}); "
            f"{fit.scout.mean:.2f} / {fit.scout.p95:.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
