"""READ_ME.txt of a handoff: the look in plain words, what each file is, how to check it in a minute."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lookdev.colorimetry.encodings import HDR_WHITE_CD_M2
from lookdev.looks.rendering import MID_GREY
from lookdev.lut.check_frame import frame_name
from lookdev.lut.words import plain_words

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.lut.bake import CubeReport
    from lookdev.lut.cdl import CdlFit
    from lookdev.survey.footage import FootagePlace

_WIDTH = 92


@dataclass(frozen=True)
class Contents:
    """What a handoff holds: the first of ``cubes`` is the look alone; ``cdls`` by identifier; ``slug`` names
    the look's own files; ``errors`` is what could not be done; ``choices`` who gets what, in words.

    ``before_display``, ``plain`` : the look without a display, and the display without a look. ``standards``:
    what there is by open standards, in words. ``still_edge`` : the longest edge of the stills, in pixels;
    ``still_bits`` : what they hold of their sixteen, but in linear light.
    """

    look: LookLike
    source: Encoding
    target: Encoding
    slug: str
    cubes: Sequence[CubeReport]
    cdls: Sequence[tuple[str, CdlFit]]
    places: Sequence[FootagePlace]
    errors: Sequence[str]
    choices: Sequence[str] = ()
    before_display: CubeReport | None = None
    plain: CubeReport | None = None
    standards: Sequence[str] = ()
    still_edge: int = 0
    monitors: Sequence[CubeReport] = ()
    still_bits: int = 16


def read_me_text(made: Contents) -> str:
    """The text, UTF-8, lines under 93 characters."""
    look, source, target, places = made.look, made.source, made.target, made.places
    head = f"{look.title}: handoff for footage in {source.name}, shown as {target.name}"
    blocks = [head + "\n" + "=" * min(len(head), _WIDTH)]
    blocks.append(_filled("The look in plain words: " + ", ".join(plain_words(look)) + "."))
    if look.note:
        blocks.append(_filled(look.note))
    first = made.cubes[0]
    blocks.append(_listed("Which of them", _choice_lines(made)))
    if made.choices:
        blocks.append(_listed("What was chosen", made.choices))
    blocks.append(
        _listed(
            "In a minute",
            [
                f"Load check/{frame_name(source)} as {source.name} and put luts/{first.path.name} on it.",
                "Read the five patches that proof/proof.pdf marks on its second page. If they read as in its "
                "first row, within 1 in 10 bits, everything is loaded right. They stand on points of the "
                "LUT, so that every way of interpolating gives the same; check_values.csv has all patches, "
                "in one column for tetrahedral readers and in one for trilinear ones.",
                "If they do not, the other rows there say what is wrong: range, encoding, order, channels.",
            ],
        )
    )
    blocks.append(_listed("The three commonest mistakes", _mistake_lines(made)))
    blocks.append(_listed("LUTs", _lut_lines(made)))
    blocks.append(_listed("Editable: ASC CDL", _cdl_lines(made)))
    if made.standards:
        blocks.append(_listed("For other programs", made.standards))
    blocks.append(
        _listed(
            "The rest",
            [
                "stills/ungraded: the scout's stills in the footage's encoding and at its balance, "
                f"{_depth(made)}, at most {made.still_edge} pixels long. "
                "stills/graded: the same through the look and the balance of their location. "
                "stills/differences.csv: how far the LUT is from the graded still, and that from the picture "
                "on the sheet, CIEDE2000.",
                "sheet: what the director saw. look: the look itself. proof/proof.json: the proof's numbers.",
                "manifest.json: SHA-256 of each file. `lookdev handoff --verify FOLDER` checks them, and "
                "with `--sha256` and the number that was printed when the package was made, the manifest "
                "too: ask whoever made it. SHA256SUMS: the same for `sha256sum -c SHA256SUMS`.",
            ],
        )
    )
    if places:
        lines = []
        for p in places:
            stills = f"{', '.join(p.stills)}: " if p.stills else ""
            lines.append(f"{p.name}: {stills}{p.cast.origin}. Its LUT and CDL are for {p.balance_words}.")
        lines.append(
            "Footage balanced otherwise needs that set first, or the look alone. The kelvin stands in each "
            "name behind the location."
        )
        blocks.append(_listed("Locations with a metered balance", lines))
    if made.errors:
        blocks.append(_listed("Could not be done", made.errors))
    blocks.append(
        _filled(
            "Nobody signs off colour on an uncalibrated monitor or print. The numbers here are the "
            "agreement; the pictures show it only where the display has been calibrated."
        )
    )
    return "\n\n".join(blocks) + "\n"


def _mistake_lines(made: Contents) -> list[str]:
    source, target = made.source, made.target
    lines = []
    if source.is_linear:
        lines.append(
            "The shaper is left out: the .cube has a 1D table before the 3D one, and your reader knows only "
            "one of them. The picture is dark and harsh, and cut above 1. Take the .clf, which is exact."
        )
    else:
        lines.append(
            f"The range: these LUTs take {source.code_range} range and give {target.code_range} range, 64 to "
            "940 in 10 bits being narrow. Too much contrast with black and white cut, or too little with "
            "grey blacks, means that something scales the codes once too often or not at all."
        )
    if source.state == "scene":
        lines.append(
            f"The order: {source.name} goes into the LUT as it came from the camera or the conversion to it. "
            "Nothing that shows a picture may stand before it"
            + (
                f", and none behind it: {target.name} is shown already, and twice is far too contrasty."
                if target.state == "output"
                else "; what shows it stands behind."
            )
        )
    else:
        lines.append(
            f"The encoding: the LUT takes {source.name} as it is. A conversion before it, to a working space "
            "or for the display, gives wrong colour and contrast."
        )
    lines.append(
        "The balance is in twice: a LUT whose name has @LOCATION holds that place's balance already. Put no "
        "second one on, nor the CDL of the same place, which stands for the LUT and not behind it."
    )
    return lines


def _choice_lines(made: Contents) -> list[str]:
    source, target, lines = made.source.name, made.target.name, []
    if made.before_display is not None:
        lines.append(
            "Before the show's own display transform, whatever that is: "
            f"luts/{made.before_display.path.name} or luts/{made.slug}.before_display.clf, the look alone, "
            f"{source} in, {source} out."
        )
    if made.target.state == "output":
        lines.append(
            f"With the picture as it was approved in it: luts/{made.cubes[0].path.name}, for {target}."
        )
    if made.plain is not None:
        lines.append(
            f"As ten numbers that you trim: cdl/{made.slug}.cc, and behind it the plain rendering, "
            f"luts/{made.plain.path.name} or luts/plain_rendering.clf."
        )
    if made.target.peak > 1.0:
        lines.append(hdr_words(made.target))
    return lines


def hdr_words(target: Encoding) -> str:
    """Where white, the peak and mid grey of an HDR encoding stand, beside BT.2408's table."""
    peak = target.peak * HDR_WHITE_CD_M2
    grey = MID_GREY * HDR_WHITE_CD_M2
    return (
        f"HDR: display white at {HDR_WHITE_CD_M2:.0f} cd/m2 and the peak at {peak:.0f} (ITU-R BT.2408: HDR "
        f"reference white). Up to white it is the SDR picture; mid grey stands at {grey:.1f} cd/m2, where "
        "BT.2408's table has an 18% grey card at 26: half a stop brighter than a broadcast line-up."
    )


def _lut_lines(made: Contents) -> list[str]:
    lines = []
    for report in made.cubes:
        lines.append(f"luts/{report.path.name}: {report.words()} (CIEDE2000).")
    if made.monitors:
        size, first = made.monitors[0].lut.size, made.monitors[0].path.name
        lines.append(
            f"luts/monitor/{first}, and beside it one for each location: {size} points, narrow range (64 to "
            "940) in and out, for boxes and monitors on a cable. For looking at, not for grading."
        )
    lines.append(
        f"luts/{made.slug}.clf: the look alone as a process list (Common LUT Format 3, "
        f"{made.cubes[0].lut.size} points)."
    )
    lines.append(
        "The name without @ is the look alone. A name with @LOCATION also takes out the cast that was "
        "metered there, by the share the look says: use one or the other, never both."
    )
    if "1D_SIZE" in _first_lines(made):
        lines.append(
            "Linear input needs a reader that knows a 1D shaper before the 3D table; else take the .clf."
        )
    return lines


def _first_lines(made: Contents) -> str:
    return "1D_SIZE" if made.cubes[0].lut.shaper is not None else ""


def _cdl_lines(made: Contents) -> list[str]:
    lines = [
        f"Ten numbers that act on {made.source.name} code values, before the plain rendering to "
        f"{made.target.name}; unclamped. They come near the look and can be changed."
    ]
    for identifier, fit in made.cdls:
        c = fit.cdl
        lines.append(
            f"{identifier}: slope {_three(c.slope)}, offset {_three(c.offset)}, power {_three(c.power)}, "
            f"saturation {c.saturation:.3f}. {fit.words()[:1].upper() + fit.words()[1:]}."
        )
    lines.append(
        "cdl/*.cc holds one each, the .ccc all of them, the .cdl one for every reference still. Where the "
        "log has scenes, cdl/scenes.csv says which is for which, and the .scenes.ccc has them by scene."
    )
    return lines


def _depth(made: Contents) -> str:
    if made.still_bits == 16 or made.source.is_linear:
        return "16 bits"
    return f"16 bits a channel on the codes of {made.still_bits}"


def _three(values: Sequence[float]) -> str:
    return " ".join(f"{v:.4f}" for v in values)


def _listed(title: str, lines: Sequence[str]) -> str:
    return "\n".join([title, "-" * len(title), *(_filled(line, "- ") for line in lines)])


def _filled(text: str, mark: str = "") -> str:
    return textwrap.fill(
        text, _WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark), break_long_words=False
    )
