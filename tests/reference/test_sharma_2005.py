"""CIEDE2000 against Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30, table 1: all 34 pairs."""

from __future__ import annotations

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.library import colour_science

# Sharma, Wu, Dalal 2005, table 1: L*1 a*1 b*1, L*2 a*2 b*2, difference. 33 rows as colour-science's own tests
# carry them; row 14, which those leave out, from the paper.
TABLE_1 = np.fromstring(
    """
50.0000    2.6772  -79.7751   50.0000    0.0000  -82.7485    2.0425
50.0000    3.1571  -77.2803   50.0000    0.0000  -82.7485    2.8615
50.0000    2.8361  -74.0200   50.0000    0.0000  -82.7485    3.4412
50.0000   -1.3802  -84.2814   50.0000    0.0000  -82.7485    1.0000
50.0000   -1.1848  -84.8006   50.0000    0.0000  -82.7485    1.0000
50.0000   -0.9009  -85.5211   50.0000    0.0000  -82.7485    1.0000
50.0000    0.0000    0.0000   50.0000   -1.0000    2.0000    2.3669
50.0000   -1.0000    2.0000   50.0000    0.0000    0.0000    2.3669
50.0000    2.4900   -0.0010   50.0000   -2.4900    0.0009    7.1792
50.0000    2.4900   -0.0010   50.0000   -2.4900    0.0010    7.1792
50.0000    2.4900   -0.0010   50.0000   -2.4900    0.0011    7.2195
50.0000    2.4900   -0.0010   50.0000   -2.4900    0.0012    7.2195
50.0000   -0.0010    2.4900   50.0000    0.0009   -2.4900    4.8045
50.0000   -0.0010    2.4900   50.0000    0.0010   -2.4900    4.8045
50.0000   -0.0010    2.4900   50.0000    0.0011   -2.4900    4.7461
50.0000    2.5000    0.0000   50.0000    0.0000   -2.5000    4.3065
50.0000    2.5000    0.0000   73.0000   25.0000  -18.0000   27.1492
50.0000    2.5000    0.0000   61.0000   -5.0000   29.0000   22.8977
50.0000    2.5000    0.0000   56.0000  -27.0000   -3.0000   31.9030
50.0000    2.5000    0.0000   58.0000   24.0000   15.0000   19.4535
50.0000    2.5000    0.0000   50.0000    3.1736    0.5854    1.0000
50.0000    2.5000    0.0000   50.0000    3.2972    0.0000    1.0000
50.0000    2.5000    0.0000   50.0000    1.8634    0.5757    1.0000
50.0000    2.5000    0.0000   50.0000    3.2592    0.3350    1.0000
60.2574  -34.0099   36.2677   60.4626  -34.1751   39.4387    1.2644
63.0109  -31.0961   -5.8663   62.8187  -29.7946   -4.0864    1.2630
61.2901    3.7196   -5.3901   61.4292    2.2480   -4.9620    1.8731
35.0831  -44.1164    3.7933   35.0232  -40.0716    1.5901    1.8645
22.7233   20.0904  -46.6940   23.0331   14.9730  -42.5619    2.0373
36.4612   47.8580   18.3852   36.2715   50.5065   21.2231    1.4146
90.8027   -2.0831    1.4410   91.1528   -1.6435    0.0447    1.4441
90.9257   -0.5406   -0.9208   88.6381   -0.8985   -0.7239    1.5381
 6.7747   -0.2908   -2.4247    5.8714   -0.0985   -2.2286    0.6377
 2.0776    0.0795   -1.1350    0.9033   -0.0636   -0.5514    0.9082
""",
    sep=" ",
).reshape(34, 7)


@pytest.mark.parametrize("row", TABLE_1, ids=[f"pair-{n}" for n in range(1, 35)])
def test_every_pair_to_four_decimals(row: np.ndarray) -> None:
    assert round(float(ciede2000(row[:3], row[3:6])), 4) == row[6]
    assert round(float(ciede2000(row[3:6], row[:3])), 4) == row[6]


def test_whole_table_at_once() -> None:
    got = ciede2000(TABLE_1[:, :3].reshape(2, 17, 3), TABLE_1[:, 3:6].reshape(2, 17, 3))
    assert got.shape == (2, 17)
    assert np.abs(got.ravel() - TABLE_1[:, 6]).max() <= 0.5e-4 + 1e-9


def test_second_opinions() -> None:
    rng = np.random.default_rng(7)
    one, two = rng.uniform((0, -90, -90), (100, 90, 90), (2, 200, 3))
    ours = ciede2000(one, two)
    theirs = [
        Color("lab-d65", list(a)).delta_e(Color("lab-d65", list(b)), method="2000")
        for a, b in zip(one, two, strict=True)
    ]
    assert np.abs(ours - theirs).max() < 1e-9
    assert np.abs(ours - colour_science().difference.delta_E_CIE2000(one, two)).max() < 1e-9


LAB = st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))


@given(LAB, LAB)
def test_a_difference_is_never_negative_and_nothing_from_itself(one: tuple, two: tuple) -> None:
    assert float(ciede2000(one, two)) >= 0
    assert float(ciede2000(one, one)) == 0
