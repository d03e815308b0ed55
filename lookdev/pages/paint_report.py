"""Matches and palettes as table rows, JSON and sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.munsell_notation import notations
from lookdev.colorimetry.rgb_spaces import SRGB, WORKING, matrix_between
from lookdev.looks.stages.balance import describe_white
from lookdev.pages.swatch_page import (
    Candidate,
    MatchPage,
    PaletteEntry,
    PalettePage,
)
from lookdev.paint.chip import KIND_WORDS, Chip, ChipSet
from lookdev.paint.match import Match
from lookdev.paint.metamerism import adapted_lab
from lookdev.paint.palette import PaletteColour
from lookdev.paint.predict import (
    Site,
    Viewing,
    hex_of,
    screen_within,
    signal_from_lab,
)
from lookdev.paint.target import Target
from lookdev.paint.words import what_changed
from lookdev.text.csv_out import csv_text
from lookdev.text.numbers import signed, unsigned

Array = NDArray[np.float64]


def lab_words(lab: ArrayLike) -> str:
    """``L* 54.2  a* 9.1  b* 14.0``."""
    l, a, b = (unsigned(float(v), 1) for v in np.asarray(lab))  # noqa: E741
    return f"L* {l}  a* {a}  b* {b}"


def colour(lab: Array, signal: Array | None = None) -> dict[str, Any]:
    """CIELAB for D65, sRGB hex and Munsell of a colour, for JSON; ``in_srgb`` tells whether hex shows it."""
    shown = signal_from_lab(lab) if signal is None else signal
    out: dict[str, Any] = {
        "lab": [round(float(v), 2) + 0.0 for v in lab],
        "hex": hex_of(shown),
        "munsell": notations(lab)[0],
    }
    if signal is None and not in_srgb(lab):
        out["in_srgb"] = False
    return out


def in_srgb(lab: Array) -> bool:
    """Whether sRGB can show a CIELAB colour."""
    from lookdev.colorimetry.difference import working_from_lab

    light = working_from_lab(lab) @ matrix_between(WORKING, SRGB).T
    return bool(np.all((light > -2e-3) & (light < 1.002)))


def site_facts(site: Site) -> list[str]:
    """Light, trust and camera of a site, a line each."""
    card = "exposed so that an 18% grey card reads 18%"
    if abs(site.level_stops) >= 0.05:
        card = f"the wall {signed(site.level_stops, 1)} stops from where an 18% grey card reads 18%"
    return [
        f"Light: {site.light.name}, {describe_white(site.light.xy)}. Spectrum: {site.light.origin}; "
        f"{site.light.trust}.",
        f"Camera balanced to {describe_white(site.camera_xy)} ({site.camera_origin}); {card}.",
    ]


HOW_FAR = (
    "Distances are CIEDE2000 (1: just told apart side by side). Where a paint is known by its colour only, 9 "
    "in 10 paints of that colour read within what is given."
)


def open_words(spread: float | None) -> str:
    """How sure an estimated reflectance is: ``9 in 10 within 0.8``, or ``how sure is not known``."""
    return "how sure is not known" if spread is None else f"9 in 10 within {spread:.1f}"


@dataclass(frozen=True)
class _Ranked:
    """The ranked chips (k): as made, CIELAB (k, 3) and Munsell; on screen at each viewing, code values (k, 3)
    and CIELAB (k, 3), and how far that is known."""

    chips: tuple[Chip, ...]
    reflectances: Array
    made: Array
    munsell: list[str]
    screens: list[tuple[Array, Array]]
    spreads: list[list[float | None]]

    @classmethod
    def of(cls, found: Match, chips: ChipSet, viewings: Sequence[Viewing]) -> _Ranked:
        ranked = chips.subset([r.row for r in found.ranked])
        return cls(
            tuple(ranked.chips),
            ranked.reflectances,
            adapted_lab(ranked.reflectances, _d65()),
            list(ranked.munsell()),
            [v.screen(ranked.reflectances) for v in viewings],
            [list(screen_within(ranked, v)) for v in viewings],
        )


def match_rows(found: Match, chips: ChipSet, viewings: Sequence[Viewing]) -> list[dict[str, Any]]:
    """The ranked chips for JSON, with how each reads at each viewing and how far that is known."""
    ranked = _Ranked.of(found, chips, viewings)
    made, munsell, screens, spreads = ranked.made, ranked.munsell, ranked.screens, ranked.spreads
    out = []
    for i, (rank, chip) in enumerate(zip(found.ranked, ranked.chips, strict=True)):
        out.append(
            {
                "rank": i + 1,
                "chip": chip.name,
                "code": chip.code,
                "from": KIND_WORDS[chip.kind],
                "worst_ciede2000": round(rank.worst, 3),
                "as_made_d65": colour(made[i]) | {"munsell": munsell[i]},
                "on_screen": [
                    colour(screens[k][1][i], screens[k][0][i])
                    | {
                        "place": v.site.name,
                        "look": v.look.title if v.look is not None else None,
                        "ciede2000": round(rank.differences[k], 3),
                        "residual": what_changed(found.target_lab, screens[k][1][i]),
                        "nine_in_ten_within": _rounded(spreads[k][i]),
                    }
                    for k, v in enumerate(viewings)
                ],
                "warnings": list(chip.remarks),
            }
        )
    return out


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _d65() -> Array:
    from lookdev.paint.spectra import illuminant_weights

    return illuminant_weights("D65")


def match_json(found: Match, target: Target, chips: ChipSet, viewings: Sequence[Viewing]) -> dict[str, Any]:
    """A match for programs."""
    ideal = found.ideal
    return {
        "target": colour(found.target_lab) | {"from": target.words},
        "chips": chips.title,
        "count": len(chips),
        "viewings": [
            {
                "place": v.site.name,
                "look": v.look.title if v.look is not None else None,
                "light": v.site.light.origin,
                "trust": v.site.light.trust,
            }
            for v in viewings
        ],
        "ranked": match_rows(found, chips, viewings),
        "ideal": None
        if ideal is None
        else {
            "munsell": ideal.munsell,
            "worst_ciede2000": round(ideal.worst, 3),
            "as_made_d65": colour(ideal.made),
            "beyond_matt_atlas": ideal.beyond_munsell,
        },
        "found_within_3": found.reachable,
        "proven_impossible": found.proven,
        "alike": found.alike,
        "alike_apart": round(found.alike_apart, 2),
        "verdict": list(found.verdict),
    }


def match_csv(answer: dict[str, Any]) -> str:
    """One row a ranked chip and viewing, from :func:`match_json`."""
    head = [
        "rank",
        "chip",
        "code",
        "worst_ciede2000",
        "place",
        "look",
        "ciede2000",
        "nine_in_ten_within",
        "residual",
        "screen_hex",
        "screen_munsell",
        "made_hex",
        "made_munsell",
        "from",
    ]
    rows = [
        [
            str(c["rank"]), c["chip"], c["code"], f"{c['worst_ciede2000']:.3f}", s["place"], s["look"] or "",
            f"{s['ciede2000']:.3f}",
            "" if s["nine_in_ten_within"] is None else f"{s['nine_in_ten_within']:.2f}", s["residual"],
            s["hex"], s["munsell"], c["as_made_d65"]["hex"], c["as_made_d65"]["munsell"], c["from"],
        ]
        for c in answer["ranked"]
        for s in c["on_screen"]
    ]  # fmt: skip
    return csv_text(head, rows)


MOST_VIEWINGS = 6


def match_page(found: Match, target: Target, chips: ChipSet, viewings: Sequence[Viewing]) -> MatchPage:
    """The swatch page of a match. Of many viewings, the six where the first chip does worst are shown."""
    worst_first = sorted(range(len(viewings)), key=lambda k: -found.ranked[0].differences[k])
    shown = [viewings[k] for k in sorted(worst_first[:MOST_VIEWINGS])]
    ranked = _Ranked.of(found, chips, shown)
    made, munsell, screens, spreads = ranked.made, ranked.munsell, ranked.screens, ranked.spreads
    candidates = []
    for i, (rank, chip) in enumerate(zip(found.ranked, ranked.chips, strict=True)):
        outside = "" if in_srgb(made[i]) else " (outside sRGB)"
        lines = [f"made: {munsell[i]} · {hex_of(signal_from_lab(made[i]))}{outside}"]
        if i == 0:
            worst = int(np.argmax([rank.differences[viewings.index(v)] for v in shown]))
            residual = what_changed(found.target_lab, screens[worst][1][i])
            lines = [KIND_WORDS[chip.kind], *lines, f"against the target: {residual}"]
        number = f"CIEDE2000 {rank.worst:.1f}" + (" at worst" if len(viewings) > 1 else "")
        known = _known_words(chip, [s[i] for s in spreads])
        candidates.append(
            Candidate(
                chip.label,
                tuple(s[0][i] for s in screens),
                signal_from_lab(made[i]),
                f"{number}, {known}" if known else number,
                tuple(lines),
            )
        )
    sites = list(dict.fromkeys(v.site for v in shown))
    lamp = [adapted_lab(ranked.reflectances[:1], s.light.weights)[0] for s in sites]
    facts = site_facts(sites[0]) if len(sites) == 1 else [f"{s.name}: {site_facts(s)[0]}" for s in sites]
    verdict = found.verdict
    if len(shown) < len(viewings):
        verdict = (
            *verdict,
            f"Shown: the {len(shown)} of {len(viewings)} places and looks where it does worst.",
        )
    return MatchPage(
        target=signal_from_lab(found.target_lab),
        target_words=f"Target {target.words}",
        target_lines=(
            f"target {lab_words(found.target_lab)} · {notations(found.target_lab)[0]} · "
            f"{hex_of(signal_from_lab(found.target_lab))}",
        ),
        facts=(*facts, f"Chips: {chips.title}, {len(chips)}. " + HOW_FAR),
        verdict=verdict,
        viewings=tuple(v.name for v in shown),
        candidates=tuple(candidates),
        lamp=tuple(signal_from_lab(v) for v in lamp),
        lamp_words=tuple(
            "to the eye under the lamp" if len(sites) == 1 else f"to the eye: {s.name}" for s in sites
        ),
    )


def _known_words(chip: Chip, spreads: Sequence[float | None]) -> str:
    if not chip.estimated:
        return ""
    return open_words(None if None in spreads else max(s for s in spreads if s is not None))


def palette_json(name: str, colours: Sequence[PaletteColour], chips: ChipSet) -> dict[str, Any]:
    """A palette for programs."""
    return {
        "still": name,
        "chips": chips.title,
        "colours": [
            {
                "share": round(c.share, 4),
                "lab": [round(float(v), 2) + 0.0 for v in c.lab],
                "hex": c.hex,
                "munsell": c.munsell,
                "nearest": [{"chip": label, "ciede2000": round(off, 2)} for label, off in c.chips],
            }
            for c in colours
        ],
    }


def palette_page(
    name: str, picture: NDArray[np.uint8], colours: Sequence[PaletteColour], chips: ChipSet
) -> PalettePage:
    """The swatch page of a palette."""
    entries = tuple(
        PaletteEntry(
            signal_from_lab(c.lab),
            c.share,
            f"{c.hex} · {100 * c.share:.0f}%",
            (c.munsell, lab_words(c.lab), *(f"{label} ({off:.1f})" for label, off in c.chips)),
        )
        for c in colours
    )
    facts = (
        f"Dominant colours of the picture as it is on screen, with the nearest chips as made in daylight "
        f"({chips.title}; CIEDE2000 in brackets). A start only: which paint reads so under the lamp and "
        "through the look, lookdev paint match tells.",
    )
    return PalettePage(name, picture, entries, facts)
