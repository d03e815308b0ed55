"""Filters, fixtures, flicker, the course of the day, exposure, and the notes put together."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.temperature import uv1976_from_xy, xy_from_cct
from lookdev.meter.exposure import expose, stop_words
from lookdev.meter.filters import COMMON_FILTERS, SHEET_COST_UV, Match, match, nearest_filters
from lookdev.meter.fixture import dial, nearest_reachable, reaches, shares
from lookdev.meter.flicker import safe_shutter, swing
from lookdev.meter.hints import flickers
from lookdev.meter.log import Reading
from lookdev.meter.notes import location_notes, reading_notes
from lookdev.meter.notes_data import location_data, location_summary, summary
from lookdev.meter.notes_words import short_location_note, short_note
from lookdev.meter.scout import Fixture, Plan
from lookdev.meter.timeline import crossings, time_lines, words

PANEL = ((0.69, 0.31), (0.17, 0.70), (0.14, 0.05))
PLAN = Plan(
    exposure_index=800, frame_rate_fps=24, shutter_angle_deg=180, t_stop=2.8, lens_t_stop=1.4, balance_k=4300,
    fixture=Fixture(name="panel", primaries=PANEL),
)  # fmt: skip


def at(cct: float, duv: float = 0.0) -> tuple[float, float]:
    x, y = xy_from_cct(cct, duv)
    return float(x), float(y)


def test_a_filter_is_found_for_its_own_shift() -> None:
    for one in COMMON_FILTERS:
        assert nearest_filters(one.mired, one.duv, 4e-4) == (one,)


def test_nothing_is_put_on_for_nothing() -> None:
    found = match("a", at(4300), "b", at(4300))
    assert (found.filters, found.filter_words, found.lost_stops) == ((), "no filter", 0)
    assert found.left_uv == pytest.approx(0, abs=1e-9)


@given(st.floats(-400, 400), st.floats(-0.03, 0.03), st.floats(1e-4, 8e-4))
def test_no_single_sheet_more_or_less_does_better(mired: float, duv: float, rate: float) -> None:
    def cost(chosen: tuple) -> float:  # type: ignore[type-arg]
        left = math.hypot((mired - sum(f.mired for f in chosen)) * rate, duv - sum(f.duv for f in chosen))
        return left + SHEET_COST_UV * len(chosen)

    found = nearest_filters(mired, duv, rate)
    assert cost(found) <= cost(()) + 1e-8
    for one in COMMON_FILTERS:
        assert cost(found) <= cost((one,)) + 1e-8


FULL = {"full CTO", "full CTB", "full plus green", "full minus green"}


@given(st.floats(-600, 600), st.floats(-0.06, 0.06), st.floats(1e-4, 8e-4))
def test_what_is_hung_is_two_sheets_a_family_and_only_full_ones_doubled(
    mired: float, duv: float, rate: float
) -> None:
    """Common practice (the rule of MAX_SHEETS)."""
    found = nearest_filters(mired, duv, rate)
    for family in ("mired", "duv"):
        names = [f.name for f in found if getattr(f, family)]
        assert len(names) <= 2
        assert len(set(names)) == len(names) or set(names) <= FULL


# The shift wanted in mired, what is hung for it (common practice), and the mired left, from the table's
# nominal shifts: 160 125 95 55 25 for CTO, 135 105 70 35 15 for CTB.
@pytest.mark.parametrize(
    ("shift", "words", "left"),
    [
        (75, "quarter CTO + eighth CTO", -5),  # three eighths would be exact, and nobody hangs them
        (50, "quarter CTO", -5),
        (320, "2 × full CTO", 0),
        (480, "2 × full CTO", 160),
        (-240, "full CTB + three quarter CTB", 0),
        (-400, "2 × full CTB", -130),
    ],
)
def test_pairs(shift: float, words: str, left: float) -> None:
    chosen = nearest_filters(shift, 0.0, 4e-4)
    found = Match("a", "b", (0, 0), (0, 0), shift, 0.0, tuple(f.name for f in chosen))
    assert found.filter_words == words
    assert shift - sum(f.mired for f in chosen) == pytest.approx(left)


def test_what_a_pair_cannot_do_is_said() -> None:
    found = match("embers", at(1960), "day", at(10000))
    assert found.filter_words == "2 × full CTB"
    assert found.left_mired == pytest.approx(1e2 - 1e6 / 1960 + 270, abs=0.1)
    assert found.short_words == "2 × full CTB (leaves −140 mired)"
    green = match("tubes", at(4300, 0.045), "balance", at(4300))
    assert green.short_words == "2 × full minus green (leaves 0 mired, Duv −0.005)"
    near = match("window", at(5500), "lamp", at(3200))
    assert near.short_words == near.filter_words == "three quarter CTO"


def test_left_over_is_what_the_filters_do_not_do() -> None:
    found = match("candles", (0.533, 0.415), "balance", at(4300))
    chosen = [next(f for f in COMMON_FILTERS if f.name == n) for n in found.filters]
    assert found.mired_shift is not None and found.duv_shift is not None
    assert found.left_mired == pytest.approx(found.mired_shift - sum(f.mired for f in chosen))
    assert found.left_duv == pytest.approx(found.duv_shift - sum(f.duv for f in chosen))
    assert found.lost_stops == pytest.approx(sum(f.stops for f in chosen))


def test_a_light_off_the_locus_gets_a_reason_and_no_filter() -> None:
    found = match("signal lamp", (0.69, 0.30), "balance", at(4300))
    assert found.mired_shift is None and found.filters == ()
    assert found.reason.startswith("signal lamp is too far off the locus")


def test_a_fixture_that_does_not_reach_says_how_far_it_gets() -> None:
    inside, outside = dial("lamp", at(3200), PANEL), dial("laser", (0.17, 0.797), PANEL)
    assert (inside.reachable, inside.nearest_xy) == (True, None)
    assert outside.reachable is False and outside.nearest_xy is not None
    assert outside.short_uv == pytest.approx(
        float(np.hypot(*(uv1976_from_xy(outside.nearest_xy) - uv1976_from_xy((0.17, 0.797)))))
    )
    assert dial("lamp", at(3200)).reachable is None


@given(st.floats(0.02, 0.7), st.floats(0.02, 0.8))
def test_the_nearest_reachable_is_reachable_and_no_corner_is_nearer(x: float, y: float) -> None:
    if x + y > 0.98:
        return
    near = nearest_reachable(PANEL, (x, y))
    assert min(shares(PANEL, near)) > -1e-6
    if reaches(PANEL, (x, y)):
        assert near == (x, y)
    here = uv1976_from_xy((x, y))
    for corner in PANEL:
        assert np.hypot(*(uv1976_from_xy(near) - here)) <= np.hypot(*(uv1976_from_xy(corner) - here)) + 1e-12


def test_exposure_of_a_plan() -> None:
    found = expose(42.0, PLAN)
    assert found is not None and found.over_stops is not None and found.needed_lux is not None
    # ISO 2720: N = sqrt(42 * 800 / 48 / 280)
    assert found.stop == pytest.approx(1.5811, abs=1e-4)
    assert found.over_stops == pytest.approx(2 * math.log2(1.5811 / 2.8), abs=1e-4)
    assert found.needed_lux == pytest.approx(280 * 2.8**2 * 48 / 800)
    assert found.missing_lux == pytest.approx(found.needed_lux - 42)
    assert found.smallest_angle_deg is None  # 1.65 stops under: even 360 degrees is not enough
    assert found.lowest_index == pytest.approx(800 * 2**-found.over_stops)
    assert found.lens_over_stops == pytest.approx(found.over_stops + 2)


def test_what_works_is_what_was_asked_for() -> None:
    found = expose(300.0, PLAN)
    assert found is not None and found.lowest_index is not None and found.smallest_angle_deg is not None
    index = PLAN.model_copy(update={"exposure_index": found.lowest_index})
    angle = PLAN.model_copy(update={"shutter_angle_deg": found.smallest_angle_deg})
    for changed in (index, angle):
        again = expose(300.0, changed)
        assert again is not None and again.over_stops == pytest.approx(0, abs=1e-9)


def test_filters_on_the_lens_take_their_stops() -> None:
    plain, filtered = expose(300.0, PLAN), expose(300.0, PLAN.model_copy(update={"filter_stops": 2.0}))
    assert plain is not None and filtered is not None
    assert filtered.stop == pytest.approx(plain.stop / 2)
    assert filtered.needed_lux == pytest.approx(4 * (plain.needed_lux or 0))


def test_what_a_plan_does_not_say_is_assumed_aloud() -> None:
    found = expose(100.0, Plan(exposure_index=800))
    assert found is not None
    assert (found.assumed, found.wanted_stop) == (("24 fps", "180° shutter"), None)
    assert expose(100.0, Plan()) is None


@pytest.mark.parametrize(
    ("stop", "text"), [(1.0, "T1"), (2.0, "T2"), (2.24, "T2 + 1/3"), (5.66, "T5.6"), (0.7, "T0.7")]
)
def test_stops_as_on_a_lens(stop: float, text: str) -> None:
    assert stop_words(stop) == text


def test_shutters() -> None:
    unsafe = safe_shutter(24, 180, 50)
    assert (unsafe.is_planned_safe, unsafe.is_even_between_frames) == (False, False)
    assert safe_shutter(24, 172.8, 50).is_planned_safe
    even = safe_shutter(24, 180, 60)
    assert even.is_even_between_frames and not even.is_planned_safe
    assert safe_shutter(240, 180, 50).angles_deg == ()


def test_swing_is_what_a_flickering_light_does() -> None:
    """Integrated by numbers: 1 + cos(2 pi 100 t) over 1/48 s, frames starting anywhere."""
    t = (np.arange(20000) + 0.5) / 20000 / 48
    exposures = [np.mean(1 + np.cos(2 * np.pi * 100 * (t + start))) for start in np.linspace(0, 0.01, 200)]
    assert swing(1 / 48, 24, 50) == pytest.approx((max(exposures) - min(exposures)) / 2, rel=1e-3)


@pytest.mark.parametrize(
    ("source", "illuminant", "kind"),
    [
        ("sodium lamps", None, "discharge"),
        ("second row of fluorescent tubes", None, "discharge"),
        ("HP3", "HP3", "discharge"),
        ("LED panel", None, "LED"),
        ("installed lamp", None, "no"),
        ("window", None, "no"),
        ("tungsten", None, "no"),
        (None, None, "no"),
    ],
)
def test_lamps_that_flicker(source: str | None, illuminant: str | None, kind: str) -> None:
    assert flickers(source, illuminant) == kind


DAY = [
    Reading(row=n, location="Loft", source="window", time=t, cct_k=k, duv=0.003, illuminance_lux=e)
    for n, (t, k, e) in enumerate([("15:00", 6000, 1600), ("16:00", 5000, 800), ("17:00", 4000, 100)], 2)
]


def test_the_hour_of_the_good_light() -> None:
    (line,) = time_lines(DAY, PLAN)
    assert line.stops_per_hour == pytest.approx(-2.0)
    # 131.7 lx are needed; from 800 to 100 lx in an hour the level falls 3 stops, evenly in stops
    minutes = 16 * 60 + 60 * math.log2(800 / 131.712) / 3
    assert line.enough_until == (f"{int(minutes // 60)}:{round(minutes % 60):02d}",)
    # 4300 K daylight is 232.6 mired; 5000 K to 4000 K is 200 to 250
    assert line.balance_at == ("16:39",)
    assert any("enough light for the plan until 16:52" in w for w in words(line))


def test_a_line_that_turns_says_where() -> None:
    day = [("14:00", 5200, 900), ("15:00", 4000, 1200), ("16:00", 3600, 640), ("17:30", 9500, 40)]
    readings = [Reading(source="sky", time=t, cct_k=k, illuminance_lux=lux) for t, k, lux in day]
    (line,) = time_lines(readings, PLAN)
    said = words(line)
    assert said[0] == "14:00 to 17:30: 5200 K to 9500 K, by way of 3600 K at 16:00"
    assert said[1].startswith("14:00 to 17:30: 900 lx to 40 lx, by way of 1200 lx at 15:00, ")
    (evenly,) = time_lines([readings[0], readings[2]], PLAN)
    assert words(evenly)[0] == "14:00 to 16:00: 5200 K to 3600 K"


def test_lines_need_two_times_of_one_source() -> None:
    assert time_lines(DAY[:1], PLAN) == ()
    soon = Reading(source="window", time="15:20", illuminance_lux=1500)
    assert time_lines([DAY[0], soon], PLAN) == ()
    assert time_lines([DAY[0], Reading(source="lamp", time="16:00", illuminance_lux=3)], PLAN) == ()


def test_crossings_both_ways() -> None:
    assert crossings([0, 10, 20], [0.0, 10.0, 0.0], 5.0) == ([15.0], [5.0])
    assert crossings([0, 10], [7.0, 7.0], 7.0) == ([], [])


def test_contrast_takes_the_fill_nearest_in_time() -> None:
    readings = [
        Reading(row=2, source="sun", role="key", time="15:00", illuminance_lux=800),
        Reading(row=3, source="sun", role="key", time="17:00", illuminance_lux=400),
        Reading(row=4, source="sky", role="fill", time="15:05", illuminance_lux=200),
        Reading(row=5, source="sky", role="fill", time="17:05", illuminance_lux=200),
        Reading(row=6, source="sun", role="key", time="11:00", illuminance_lux=9000),
    ]
    notes = location_notes("Quay", readings, PLAN)
    assert [(c.ratio, c.stops) for c in notes.contrasts] == [(4.0, 2.0), (2.0, 1.0)]


def test_our_lamps_go_to_each_of_their_lights_and_not_to_every_hour() -> None:
    readings = [*DAY, Reading(row=9, source="lamp", cct_k=2800), Reading(row=10, source="twin", cct_k=2800)]
    notes = location_notes("Loft", readings, PLAN)
    assert [n.reading.name for n in notes.lights] == ["window, 15:00", "lamp", "twin"]
    data = location_data(notes)["our_lamps"]
    assert [lamp["lamp"] for lamp in data] == ["panel"]
    assert all(len(lamp["to_lights"]) == 3 for lamp in data)


def test_one_name_two_colours_on_one_visit_are_two_lights() -> None:
    readings = [
        Reading(row=2, source="window and lamp", x=0.3127, y=0.3290, time="15:50"),
        Reading(row=3, source="window and lamp", x=0.4476, y=0.4074, time="15:58"),
    ]
    assert len(location_notes("Office", readings, PLAN).lights) == 2


READINGS = [
    Reading(row=2, source="sodium lamps", x=0.533, y=0.415, illuminance_lux=42.0),
    Reading(row=3, source="laser", x=0.17, y=0.797),
    Reading(row=4, source="sky", x=0.235, y=0.230, illuminance_lux=5000.0),
    Reading(row=5, source="FL2", illuminant="FL2"),
    Reading(row=6, illuminance_lux=3.0),
    Reading(row=7, note="nothing metered"),
]


@pytest.mark.parametrize("plan", [PLAN, Plan()])
@pytest.mark.parametrize("reading", READINGS)
def test_a_summary_is_json_without_nan(reading: Reading, plan: Plan) -> None:
    text = json.dumps(summary(reading, plan), allow_nan=False)
    assert json.loads(text)["cct_means_something"] is (reading.row in (2, 5))


def test_location_data_is_json_without_nan() -> None:
    assert json.loads(json.dumps(location_data(location_notes("Hall", READINGS, PLAN)), allow_nan=False))


def test_short_notes() -> None:
    assert short_note(READINGS[0], PLAN) == (
        "sodium lamps: T1.4 + 1/3: 1.6 stops under T2.8; to 4300 K: no gel moves it there: gel our lamps; "
        "may flicker: set 172.8° at 50 Hz, 144° at 60 Hz"
    )
    assert short_note(READINGS[5], PLAN) == ""
    assert short_note(READINGS[0], Plan(frame_rate_fps=24, shutter_angle_deg=172.8, mains_hz=50)) == ""


def test_short_notes_of_a_location() -> None:
    readings = [*DAY, Reading(row=8, source="window", role="key", illuminance_lux=800, cct_k=6000),
                Reading(row=9, source="bounce", role="fill", illuminance_lux=200)]  # fmt: skip
    assert short_location_note("Loft", readings, PLAN) == (
        "window to bounce 4.0 : 1; window: enough light until 16:52; window: passes 4300 K at 16:39"
    )
    assert short_location_note("Loft", [], PLAN) == ""
    assert location_summary("Loft", readings, PLAN)["contrast"][0]["stops"] == 2.0


def test_cct_past_the_blue_end_is_not_a_number_to_give() -> None:
    note = reading_notes(READINGS[2], PLAN)
    assert note.cct_k is None
    assert summary(READINGS[2], PLAN)["cct_k"] is None
