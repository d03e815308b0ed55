"""The proof: one page that says how closely a LUT reproduces its look, and one that says how to check it.

Written for a colourist with a minute: numbers first, then the curve and the chromaticities, then what the
check frame must read and what the usual wrong readings mean.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.temperature import uv1976_from_xy
from lookdev.lut.bake import LINEAR_TOP
from lookdev.lut.check_frame import HEIGHT, WIDTH, Frame, brightest_words, draw_frame, frame_name
from lookdev.lut.mistakes import WrongAnswer
from lookdev.lut.proof import Proof, curve_top_stops
from lookdev.lut.read_me import hdr_words
from lookdev.lut.report import examination_lines
from lookdev.pages.chromaticity import chromaticity_plot
from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.plot import Axis, Plot
from lookdev.pages.setting import BODY, LABEL, PAPER_WHITE, SMALL, SMALL_BOLD, Column, as_uint8

_CHANNELS = (("red", (150, 20, 20)), ("green", (10, 95, 30)), ("blue", (25, 45, 150)))
_GAP = 16.0


def proof_document(proof: Proof, *, paper: str = "a4", foot: str = "") -> Document:
    """The proof as a document of two pages."""
    document = Document(f"Proof: {proof.title}", paper=paper, surround=PAPER_WHITE, foot=foot)
    _numbers_page(document, proof)
    _check_page(document, proof)
    return document


def write_proof(
    proof: Proof, pdf_path: Path, png_path: Path | None = None, *, paper: str = "a4"
) -> list[Path]:
    """Write the proof as a PDF, and as one PNG a page if asked; returns the files."""
    return proof_document(proof, paper=paper).save(pdf_path, png_path)


def _numbers_page(document: Document, proof: Proof) -> None:
    ends = f"{proof.source.name}  →  {proof.target.name}"
    page = document.new_page(f"Proof · {proof.title}", ends)
    box = page.content
    left, width = box.left, box.width
    y = page.paragraph(
        left, box.top + 2, width, proof.words[:1].upper() + proof.words[1:] + ".", BODY, max_lines=3
    )
    y += 8
    third = (width - 2 * _GAP) / 3
    plot_height = 285.0
    _curve_plot(page, left, y, third * 1.25, plot_height, proof)
    uv_left = left + third * 1.25 + _GAP
    _chromaticities(page, uv_left, y, third * 0.95, plot_height, proof)
    table_left = uv_left + third * 0.95 + _GAP
    _error_table(page, table_left, y, box.right - table_left, proof)
    y += plot_height + 14
    rows = [[name, text[:1].upper() + text[1:]] for name, text in examination_lines(proof.examination)]
    rows.append(["CDL", proof.cdl.words()[:1].upper() + proof.cdl.words()[1:]])
    rows.append(["interpolation", _interpolation(proof)])
    page.table(left, y, [Column("", 62), Column("", width - 70)], rows, SMALL, padding=2.6)


def _interpolation(proof: Proof) -> str:
    codes = proof.values.trilinear_codes
    return (
        "Numbers here are for tetrahedral interpolation. A system that interpolates trilinearly differs on "
        f"the check frame by up to {codes:.1f} codes of 1023."
    )


def _curve_plot(page: Page, x: float, top: float, width: float, height: float, proof: Proof) -> None:
    stops = proof.curve_stops
    top_stops = curve_top_stops(proof.target)
    ticks = tuple(range(-8, int(top_stops) + 1, 2))
    plot = Plot(
        page,
        x,
        top,
        width,
        height,
        Axis(-9, top_stops, "grey in the scene, stops from mid grey", ticks=ticks),
        Axis(0, 1, f"{proof.target.name} signal"),
        title="What happens to grey",
    )
    plot.grid()
    apart = float(np.abs(proof.curve_look - proof.curve_look[:, :1]).max())
    if apart < 0.004:
        plot.curve(stops, proof.curve_look[:, 1], width=1.4)
    else:
        for index, (_, colour) in enumerate(_CHANNELS):
            plot.curve(stops, proof.curve_look[:, index], colour=colour, width=1.2)
    every = slice(0, None, max(1, len(stops) // 27))
    plot.points(stops[every], proof.curve_lut[every, 1], size=3.0, fill=None, outline=(0, 0, 0))
    words = "lines: the look (red, green, blue) · rings: the LUT, green"
    page.text(plot.frame.left + 5, plot.frame.top + 4, words, LABEL, width=plot.frame.width - 10)


def _chromaticities(page: Page, x: float, top: float, width: float, height: float, proof: Proof) -> None:
    plot = chromaticity_plot(
        page,
        x,
        top,
        width,
        height,
        across=(0.09, 0.43),
        up=(0.25, 0.59),
        title="Where the 24-patch chart goes",
        planckian=False,
    )
    before, after = uv1976_from_xy(proof.chart_before_xy), uv1976_from_xy(proof.chart_after_xy)
    for a, b in zip(before, after, strict=True):
        plot.curve([a[0], b[0]], [a[1], b[1]], colour=(60, 60, 60), width=0.5)
    plot.points(before[:, 0], before[:, 1], size=4.0, fill=(255, 255, 255), outline=(0, 0, 0))
    plot.points(after[:, 0], after[:, 1], size=3.6)
    page.text(x, plot.bottom + 2, "white: plainly rendered · black: through the look", LABEL, width=width)


def _error_table(page: Page, x: float, top: float, width: float, proof: Proof) -> None:
    y = page.text(x, top, "How far the LUT is from the look", SMALL_BOLD, width=width) + 2
    y = page.paragraph(
        x, y, width, "CIEDE2000 against the look in float64. About 1 can just be seen side by side.", LABEL
    )
    number = 29.0
    columns = [
        Column("", width - 4 * (number + 4)),
        *(Column(name, number, "right") for name in ("mean", "95%", "99%", "most")),
    ]
    rows = []
    reports = [(f"{proof.size}³, whole cube", proof.whole), (f"{proof.size}³, pictures", proof.picture)]
    for other in proof.others:
        reports += [
            (f"{other.lut.size}³, whole cube", other.whole),
            (f"{other.lut.size}³, pictures", other.picture),
        ]
    for name, d in reports[:8]:
        rows.append(
            [name, *(f"{v:.3f}" if v < 10 else f"{v:.1f}" for v in (d.mean, d.p95, d.p99, d.maximum))]
        )
    y = page.table(x, y + 3, columns, rows, SMALL, gap=4.0, padding=2.4).bottom
    codes = "  ".join(f"{v:.3f}" for v in proof.whole.worst_input)
    said = (
        f"Worst: {proof.worst_words}, {proof.source.name} {codes}. “Pictures” are the colours that an sRGB "
        "picture can hold; the whole cube also has lights that no lamp and no paint gives."
    )
    page.paragraph(x, y + 6, width, said, LABEL)


def _check_page(document: Document, proof: Proof) -> None:
    page = document.new_page(f"Check · {proof.title}", f"{proof.cube}")
    box = page.content
    width = box.width
    y = page.paragraph(box.left, box.top + 2, width, _how(proof), BODY, max_lines=3) + 8
    frame = draw_frame(proof.patches, proof.source)
    picture_width = (width - _GAP) / 2
    across = int(picture_width / document.pixel)
    before = _resized(_eight_bits(frame), across)
    after = _resized(as_uint8(proof.frame_after), across)
    boxes = [
        page.backdrop(x, y, p) for x, p in ((box.left, before), (box.left + picture_width + _GAP, after))
    ]
    for picture in boxes:
        for number, patch in enumerate(proof.tells, start=1):
            cx, cy = patch.centre
            at = picture.left + cx / WIDTH * picture.width, picture.top + cy / HEIGHT * picture.height
            _tag(page, *at, str(number))
    y = boxes[0].bottom + 3
    words = ("before the LUT, as the codes stand", f"after the LUT, {proof.target.name} codes as they stand")
    for picture, said in zip(boxes, words, strict=True):
        page.text(picture.left, y, said, LABEL, width=picture_width)
    y = _wrong_table(page, box.left, y + 16, width, proof)
    page.paragraph(
        box.left,
        y + 5,
        width,
        f"Output is {proof.target.name.removesuffix(' narrow')}, {proof.target.code_range} range. Judging "
        "colour by eye needs a calibrated monitor; reading these numbers does not."
        + (f" {hdr_words(proof.target)} {brightest_words(proof.values)}" if proof.target.peak > 1.0 else ""),
        LABEL,
    )


def _how(proof: Proof) -> str:
    name = frame_name(proof.source)
    load = f"Load {name} (or .png) as {proof.source.name}, full range, with no other transform."
    if proof.source.is_linear:
        load = f"Load {name} as {proof.source.name}, light from 0 to {LINEAR_TOP:g}, with no other transform."
    if proof.source.code_range == "narrow":
        load = (
            f"Load {name} (or .png) as {proof.source.name}: its codes are narrow range already, so "
            "your grading system must not scale them."
        )
    return (
        f"{load} Apply the LUT. The patches marked below must read, in 10-bit codes and within 1, what the "
        "first row says, by whatever interpolation: they stand on points of the LUT. Every patch is in "
        "check_values.csv, for tetrahedral and for trilinear readers. The other rows are what they read "
        "after the usual mistakes."
    )


def _eight_bits(frame: Frame) -> NDArray[np.uint8]:
    """The frame's codes; its light, as far as 1, by a square root."""
    values = frame.astype(np.float64)
    return as_uint8(values / 65535.0 if frame.dtype == np.uint16 else np.sqrt(values))


def _resized(pixels: NDArray[np.uint8], across: int) -> NDArray[np.uint8]:
    import cv2

    size = (across, round(across * HEIGHT / WIDTH))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _tag(page: Page, x: float, y: float, number: str) -> None:
    page.marker(x, y, "circle", 11, fill=(255, 255, 255), outline=(0, 0, 0))
    page.text(x - 6, y - LABEL.line / 2, number, LABEL, width=12, align="centre")


def _wrong_table(page: Page, x: float, top: float, width: float, proof: Proof) -> float:
    cell, sign, gap = 84.0, 108.0, 8.0
    meaning = width - sign - len(proof.tells) * (cell + gap) - gap
    columns = [
        Column("it looks", sign),
        Column("because", meaning),
        *(Column(f"{i}: {p.name}", cell, "right") for i, p in enumerate(proof.tells, start=1)),
    ]
    rows = [_wrong_row(answer) for answer in (proof.right, *proof.wrong)]
    return page.table(x, top, columns, rows, SMALL, gap=gap, padding=2.4).bottom


def _wrong_row(answer: WrongAnswer) -> list[str]:
    return [answer.sign, answer.meaning, *(" · ".join(str(v) for v in codes) for codes in answer.codes)]
