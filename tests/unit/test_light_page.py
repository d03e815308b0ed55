"""The sentences on the light page, and what the page does with little."""

from __future__ import annotations

import pytest

from lookdev.meter.exposure import expose
from lookdev.meter.filters import match
from lookdev.meter.flicker import safe_shutter
from lookdev.meter.hints import nearest_illuminants
from lookdev.meter.log import Reading
from lookdev.meter.notes import location_notes, reading_notes
from lookdev.meter.notes_words import colour_words, shutter_words
from lookdev.meter.scout import Plan
from lookdev.pages.light_cards import (
    card_lines,
    hint_line,
    match_line,
    plan_words,
    rendition_line,
    stop_line,
)
from lookdev.pages.light_page import light_document

PLAN = Plan(
    exposure_index=800, frame_rate_fps=24, shutter_angle_deg=180, t_stop=2.8, lens_t_stop=1.4, balance_k=4300
)
PANEL = ((0.69, 0.31), (0.17, 0.70), (0.14, 0.05))

# ISO 2720 with C = 280: T2.8 at EI 800 and 1/48 s needs 280 * 7.84 * 48 / 800 = 131.7 lx (12.2 fc)
STOPS = [
    (
        42.0,
        "T1.4 + 1/3: 1.6 stops under T2.8. Missing 90 lx (8.3 fc); or EI 3200; wide open at T1.4: 0.4 "
        "stops over.",
    ),
    (
        32.93,
        "T1.4: 2.0 stops under T2.8. Missing 99 lx (9.2 fc); or EI 3200; wide open at T1.4: just enough.",
    ),
    (131.7, "T2.8: what T2.8 needs."),
    (5.0, "under T0.7: 4.7 stops under T2.8. Missing 130 lx (12 fc); or EI 25600; wide open at T1.4: 2.7 "
        "stops under."),
    # 800 * 131.712 / 140 = 752.6: no standard index lies between that and 800
    (140.0, "T2.8: 0.1 stops over. Works down to a 169° shutter (1/51 s)."),
    (
        526.848,
        "T5.6: 2.0 stops over T2.8. Works down to EI 200 or a 45° shutter (1/192 s); or ND 0.6 on "
        "the lens.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("lux", "line"), STOPS)
def test_stop_line(lux: float, line: str) -> None:
    found = expose(lux, PLAN)
    assert found is not None and stop_line(found) == line


def test_a_shutter_that_would_do() -> None:
    found = expose(100.0, PLAN)
    assert found is not None and "or EI 1250 or a 237° shutter" in stop_line(found)


def test_match_line() -> None:
    # mired arithmetic: 1e6 / 3200 - 1e6 / 5500 = 130.7
    from lookdev.colorimetry.temperature import xy_from_cct

    one, other = (tuple(float(v) for v in xy_from_cct(k)) for k in (5500, 3200))
    assert match_line(match("window", one, "lamp", other)) == (  # type: ignore[arg-type]
        "+130 mired, Duv 0.000: three quarter CTO (takes about 0.6 stops); left over +5 mired, Duv 0.000."
    )


def test_hint_line_never_identifies() -> None:
    line = hint_line(nearest_illuminants((0.533, 0.415)))
    assert (
        line == "HP1 high-pressure sodium (0.000); u′v′ distance, a hint at the lamp, not an identification."
    )
    assert hint_line(nearest_illuminants((0.17, 0.797))).startswith("no CIE illuminant: the nearest, ")


def test_rendition_line() -> None:
    # CIE 15:2018 table 10.1: Ra of FL2 is 64; TM-30-18 calculator: Rf 70, Rg 86
    line = rendition_line(reading_notes(Reading(source="FL2", illuminant="FL2"), PLAN))
    assert line.startswith("Ra 64, R9 −84, CIE Rf 70, TM-30 Rf 70, Rg 86, SSI ")
    assert line.endswith("to CIE daylight 4300 K (published spectrum of CIE FL2).")


def test_shutter_words() -> None:
    # sin(pi 2.0833) / (pi 2.0833) is 3.95%, sin(2.5 pi) / 2.5 pi 12.7%; at 3 ms a third of a pulse is seen
    assert shutter_words(safe_shutter(24, 180, 50)) == (
        "50 Hz: safe 86.4°, 172.8°, 259.2°, 345.6°; 180°: can flicker by ±4% from frame to frame, bands "
        "of up to ±4.0% possible in a readout of 15 ms"
    )
    assert shutter_words(safe_shutter(24, 172.8, 50)).endswith("; 172.8° is safe, within 1%")
    assert shutter_words(safe_shutter(24, 180, 60, 3.0)) == (
        "60 Hz: safe 144°, 216°, 288°, 360°; 180°: no flicker between frames, bands of up to ±12.7% "
        "possible in a readout of 15 ms, ±11.5% in the plan's 3 ms"
    )
    assert shutter_words(safe_shutter(25, 180, 50)).endswith("180° is safe, within 1%")
    assert shutter_words(safe_shutter(1000, 180, 50)).startswith("50 Hz: no safe angle at this frame rate; ")


def test_plan_words_say_what_was_assumed() -> None:
    assert plan_words(Plan()) == (
        "Plan: 24 fps · 180° (1/48 s) (assumed: 24 fps, 180° shutter). No exposure_index in scout.toml: "
        "exposure not worked out. No balance_k: sources matched to each other alone."
    )
    assert plan_words(PLAN).startswith("Plan: EI 800 · 24 fps · 180° (1/48 s) · to shoot at T2.8")


def test_colour_that_has_no_cct() -> None:
    assert colour_words(reading_notes(Reading(x=0.17, y=0.797), PLAN)).startswith("no CCT: 0.1")
    assert colour_words(reading_notes(Reading(x=0.235, y=0.230), PLAN)) == "no CCT: past the end of the locus"
    assert colour_words(reading_notes(Reading(), PLAN)) == "colour not metered"


def test_a_source_seen_again_gets_only_what_changes() -> None:
    note = reading_notes(Reading(source="window", cct_k=6500, illuminance_lux=500, stills=("a.jpg",)), PLAN)
    assert [label for label, _ in card_lines(note, PLAN, again=True)] == [
        "Stop",
        "To balance",
        "Chromaticity",
    ]
    assert "Stills" in [label for label, _ in card_lines(note, PLAN)]


@pytest.mark.parametrize("reading", [Reading(), Reading(illuminance_lux=0.001), Reading(x=0.1741, y=0.0050)])
def test_a_page_of_next_to_nothing(reading: Reading) -> None:
    document = light_document("", location_notes("", [reading], Plan()), Plan())
    assert document.faults() == []
    assert document.pdf_bytes()[:5] == b"%PDF-"
