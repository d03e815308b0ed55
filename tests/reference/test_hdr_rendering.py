"""HDR output holds HDR: levels, roll-off, PQ and HLG as one picture, and back again.

BT.2100's OOTF and OETF and ST 2084's constants are written out here from memory, apart from the product's;
HDR Reference White of 203 cd/m2 and the grey card's 26 cd/m2 are BT.2408's table 1, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.encodings import ACESCCT, BT2020, LINEAR_WORKING, get_encoding
from lookdev.errors import RequestError
from lookdev.looks.model import Look
from lookdev.looks.rendering import lift_curve, render_curve

PLAIN = Look(title="plain")
PEAKS = (600, 1000, 4000)


def pq_light(code: np.ndarray) -> np.ndarray:
    """cd/m2 of a PQ signal, ST 2084."""
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    root = np.asarray(code) ** (1 / m2)
    return 10000 * (np.maximum(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1)


def hlg_of_display(light: np.ndarray) -> np.ndarray:
    """HLG signal of display light in cd/m2, for the 1000 cd/m2 display of BT.2100: inverse OOTF, OETF."""
    y = light @ np.array([0.2627, 0.6780, 0.0593]) / 1000
    scene = light / 1000 * np.maximum(y, 1e-9)[..., None] ** (1 / 1.2 - 1)
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    high = a * np.log(np.maximum(12 * scene - b, 1e-9)) + c
    return np.where(scene <= 1 / 12, np.sqrt(3 * np.maximum(scene, 0)), high)


def hlg_light(signal: np.ndarray) -> np.ndarray:
    """Display light in cd/m2 of an HLG signal on the 1000 cd/m2 display."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    scene = np.where(signal <= 0.5, signal**2 / 3, (np.exp((signal - c) / a) + b) / 12)
    y = scene @ np.array([0.2627, 0.6780, 0.0593])
    return 1000 * scene * np.maximum(y, 1e-12)[..., None] ** 0.2


def grey(stops: np.ndarray) -> np.ndarray:
    return ACESCCT.from_working(np.repeat(0.18 * 2.0 ** np.asarray(stops, float)[..., None], 3, axis=-1))


def pq(peak: int) -> str:
    return "BT.2100 PQ" if peak == 1000 else f"BT.2100 PQ {peak}"


@pytest.mark.parametrize("peak", PEAKS)
def test_highlights_stay_apart_and_roll_into_the_peak(peak: int) -> None:
    transform = PLAIN.transform(ACESCCT, get_encoding(pq(peak)))
    light = pq_light(transform(grey(np.arange(4, 9))))[:, 1]
    assert light[0] == pytest.approx(203.0, rel=1e-3)  # display white stands at BT.2408's reference white
    assert np.all(light[1:3] / light[:2] > 1.08)
    bright = PLAIN.transform(LINEAR_WORKING, get_encoding(pq(peak)))(np.full((1, 3), 0.18 * 2.0**20))
    assert 0.97 * peak < pq_light(bright).max() <= peak * 1.001
    ramp = pq_light(transform(grey(np.linspace(-7, 15, 1409))))[:, 1]
    assert np.all(np.diff(ramp) > 0)


def test_the_old_flat_ceiling_is_gone() -> None:
    """Grey at +4, +5, +7 stops gave 202, 203, 203 cd/m2."""
    light = pq_light(PLAIN.transform(ACESCCT, get_encoding("PQ"))(grey(np.array([4, 5, 7]))))[:, 1]
    assert light.round().tolist() == [203, 254, 459]
    assert (
        PLAIN.transform(ACESCCT, get_encoding("HLG"))(grey(np.array([7])))[0, 1] > 0.8
    )  # it stopped at .750


@pytest.mark.parametrize("look", [PLAIN, Look.model_validate({"title": "l", "colour": {"saturation": 1.2}})])
def test_pq_and_hlg_are_one_picture(look: Look) -> None:
    """Through BT.2100's own conversion (BT.2408, both for 1000 cd/m2), within 1% of luminance."""
    steps = np.linspace(0.1, 0.9, 9)
    codes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    from_pq = hlg_of_display(pq_light(look.transform(ACESCCT, get_encoding("PQ"))(codes)))
    hlg = look.transform(ACESCCT, get_encoding("HLG"))(codes)
    luma = np.array([0.2627, 0.6780, 0.0593])
    one, other = hlg_light(np.clip(from_pq, 0, 1)) @ luma, hlg_light(hlg) @ luma
    seen = one > 0.01
    assert seen.sum() > 600 and np.abs(other[seen] / one[seen] - 1).max() < 0.01
    assert np.abs(hlg - np.clip(from_pq, 0, 1)).max() < 0.002


def test_up_to_white_it_is_the_approved_picture() -> None:
    """Greys and moderate colours below 60% of white: 203 cd/m2 times the light of the SDR picture."""
    rng = np.random.default_rng(5)
    scene = 0.18 * 2.0 ** rng.uniform(-5, 1.2, (400, 1)) * rng.uniform(0.7, 1.0, (400, 3))
    sdr = BT2020.to_working(PLAIN.transform(LINEAR_WORKING, BT2020)(scene))
    hdr = pq_light(PLAIN.transform(LINEAR_WORKING, get_encoding("PQ"))(scene)) / 203.0
    np.testing.assert_allclose(hdr, sdr, rtol=2e-3, atol=1e-5)


def test_mid_grey_is_stated() -> None:
    """Ours at 36.5 cd/m2, half a stop over the 26 cd/m2 of BT.2408's grey card: display white stands 4 stops
    over mid grey, a diffuse white 2.5."""
    light = pq_light(PLAIN.transform(ACESCCT, get_encoding("PQ"))(grey(np.array([0.0]))))[0, 1]
    assert light == pytest.approx(0.18 * 203, rel=1e-3)
    assert np.log2(light / 26.0) == pytest.approx(0.49, abs=0.02)


@pytest.mark.parametrize("peak", PEAKS)
def test_the_curve_can_be_undone_and_sdr_is_the_same_to_the_bit(peak: int) -> None:
    room = peak / 203.0
    light = np.linspace(-0.5, 1.2 * room, 4001)
    np.testing.assert_allclose(render_curve(lift_curve(light, room), room), light, atol=1e-12)
    below = np.linspace(-1.0, 2.88, 999)
    assert np.array_equal(render_curve(below, room), render_curve(below))
    assert np.all(np.diff(render_curve(np.geomspace(1e-3, 1e4, 20000), room)) > 0)


def test_pq_comes_back_through_a_look_that_does_nothing_much() -> None:
    """What enters as PQ leaves as PQ; a look that only adds 0.0001 stop takes no shortcut."""
    encoding = get_encoding("PQ")
    look = Look.model_validate({"title": "hair", "exposure": {"stops": 0.0001}})
    codes = np.repeat(np.linspace(0.02, 0.74, 60)[:, None], 3, axis=1)
    np.testing.assert_allclose(look.transform(encoding, encoding)(codes), codes, atol=1e-4)
    assert pq_light(look.transform(encoding, encoding)(np.ones(3))).max() <= 1001


@pytest.mark.parametrize(
    ("name", "words"),
    [("HLG 600", "reference display of 1000"), ("PQ 500", "600 to 4000"), ("PQ 5000", "600 to 4000")],
)
def test_what_cannot_be_served_is_refused(name: str, words: str) -> None:
    with pytest.raises(RequestError, match=words):
        get_encoding(name)


def test_names_of_peaks() -> None:
    assert get_encoding("PQ 1000").name == "BT.2100 PQ" and get_encoding("pq 4000 cd/m2").peak > 19
    assert get_encoding("BT.2100 PQ 600 narrow").name == "BT.2100 PQ 600 narrow"
    assert get_encoding("BT.2100 PQ 600") == get_encoding("pq600")
