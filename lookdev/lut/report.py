"""An examination in plain lines, for the terminal and for the proof page."""

from __future__ import annotations

from lookdev.lut.examine import Examination, GreyAxis


def examination_lines(found: Examination) -> list[tuple[str, str]]:
    """(subject, sentence) for each thing examined."""
    g = found.grey
    lines = [
        ("grey", grey_sentence(g)),
        ("ends", f"black stands still up to input {g.black_up_to:.3f}, white from {g.white_from:.3f}"),
        ("banding", banding_sentence(g)),
        ("turns", turning_sentence(found)),
        ("clips", clipping_sentence(found)),
    ]
    if found.hues:
        lines.append(("hue", hue_sentence(found)))
    return lines


def clipping_sentence(found: Examination) -> str:
    """How much of pictures, and of the table, stands at the ends."""
    c = found.clipping
    table = f"{c.at_white:.1%} of the table has a channel at white, {c.at_black:.1%} at black"
    ends = f"output from {c.lowest:.4f} to {c.highest:.4f}" + (" (beyond 0 to 1)" if c.outside else "")
    if c.pictures_at_white is None:
        return f"{table}; {ends}"
    pictures = f"{c.pictures_at_white:.1%} of picture colours have a channel at white"
    return f"{pictures}, {c.pictures_at_black:.1%} at black; {table}; {ends}"


def grey_sentence(g: GreyAxis) -> str:
    """Where grey starts, passes and ends, and its largest tint."""
    ends = " / ".join(
        " ".join(f"{v:.3f}" for v in g.outputs[i]) for i in (0, len(g.outputs) // 2, len(g.outputs) - 1)
    )
    first, middle, last = (float(g.inputs[i]) for i in (0, len(g.outputs) // 2, len(g.outputs) - 1))
    tint = (
        f"channels apart by at most {g.tint:.4f}, at input {g.tint_at:.3f}"
        if g.tint > 5e-4
        else "stays neutral"
    )
    return f"{first:g}, {middle:.3g} and {last:g} become {ends}; {tint}"


def banding_sentence(g: GreyAxis) -> str:
    """The largest step along grey, in output codes for one input code."""
    verdict = "expect banding there"
    if g.largest_step <= 12:
        verdict = "fine in 10 bits" if g.largest_step <= 4 else "8-bit footage would band there"
    step = f"largest step along grey is {g.largest_step:.2f} codes of 1023 for one"
    return f"{step}, at input {g.step_at:.3f}: {verdict}"


def turning_sentence(found: Examination) -> str:
    """Whether grey or a channel ever falls where its input rises."""
    g = found.grey
    said = "grey never turns back"
    if g.turns:
        start, end, channel, fall = max(g.turns, key=lambda t: t[3])
        count = "once" if len(g.turns) == 1 else f"{len(g.turns)} times"
        said = f"grey turns back {count}, most in {channel} from {start:.3f} to {end:.3f}, by {fall:.4f}"
    if found.axis_falls > 0:
        share = f"{found.axis_falls:.2%} of the table's steps, by at most {found.deepest_fall:.4f}"
        return f"{said}; a channel falls against its own input in {share}"
    return f"{said}; no channel falls against its own input"


def hue_sentence(found: Examination) -> str:
    """The hues that swing most from dark to light."""
    worst = sorted(found.hues, key=lambda h: -h.swing_degrees)[:3]
    return "from dark to light, " + ", ".join(f"{h.ramp} swings {h.swing_degrees:.1f}°" for h in worst)
