"""ASC CDL: the ten numbers nearest to a look, and the .cc, .ccc and .cdl files that carry them.

Source: ASC Color Decision List v1.2 (ASC Technology Committee, 2009): the formula, and the XML schema with
ColorCorrection, ColorCorrectionCollection and ColorDecisionList in the namespace ``urn:ASC:CDL:v1.2``.
Files with the older namespaces, with none, and with ``SATNode`` for ``SatNode`` are read too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import BT709, Encoding, get_encoding
from lookdev.errors import LookdevError, LutError
from lookdev.files import read_ordinary, write_whole
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike, Pipeline, Transform
from lookdev.looks.rendering import MID_GREY, render_curve
from lookdev.looks.signal import passing, signal
from lookdev.looks.stages.cdl import CDL, cdl_step
from lookdev.looks.steps import join, run
from lookdev.lut.error import Difference, appearance, difference, picture_inputs

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

Array = NDArray[np.float64]

NAMESPACE = "urn:ASC:CDL:v1.2"
MAX_BYTES = 4_000_000
_FIT_COLOURS = 2000
_CUBE_WEIGHT, _OWN_WEIGHT, _GREY_WEIGHT = 0.15, 1.0, 2.0  # of taste: the scout's colours, and greys above all
_GREY_GOAL, _GREY_MOST, _GREY_HOLD = 1.5, 1.44, 4.0
"""CIEDE2000 that greys are to come under; above which each counts once more, and how much. They come to 1.5
or, where ten numbers cannot, to what they can (DEVELOPERS.md, "LUTs, measured")."""
_OTHER_BEGINS = (1.5, 3.0)  # shares of the way from no change to where the fit was, to begin again at
_RIDGE = 0.3  # CIELAB units that a number may cost which lies its usual distance from no change
_IDENTITY = np.array([1.0] * 3 + [0.0] * 3 + [1.0] * 3 + [1.0])
_USUAL = np.array([0.25] * 3 + [0.06] * 3 + [0.25] * 3 + [0.4])
_LOW = np.array([0.05] * 3 + [-1.0] * 3 + [0.1] * 3 + [0.0])
_HIGH = np.array([8.0] * 3 + [1.0] * 3 + [8.0] * 3 + [4.0])


# ---- the nearest ten numbers -----------------------------------------------------------------------------


@dataclass(frozen=True)
class CdlFit:
    """A CDL with how far it is from the look: over all the colours tried, and over the scout's own.

    ``exact`` says that the look is a CDL in this very encoding, so that nothing had to be fitted.
    ``name`` and ``place`` say whose it is, ``balance`` for which footage. ``failure`` says in words where it
    fails most; ``grey`` how far greys are off, 6 stops either way of mid grey.
    """

    cdl: CDL
    overall: Difference
    scout: Difference | None
    exact: bool
    name: str
    place: str | None = None
    failure: str = ""
    balance: str = ""
    grey: Difference | None = None

    def words(self) -> str:
        """One line: how close, and where it fails."""
        if self.exact:
            return "the look is this CDL: nothing is lost"
        stats = self.scout or self.overall
        over = "the scout's own colours" if self.scout else "picture colours"
        return (
            f"CIEDE2000 over {over}: mean {stats.mean:.2f}, 95% below {stats.p95:.2f}, "
            f"largest {stats.maximum:.2f}; {self.failure}"
        )

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        c = self.cdl
        return {
            "place": self.place,
            "holds_for": self.balance or None,
            "encoding": c.encoding,
            "slope": list(c.slope),
            "offset": list(c.offset),
            "power": list(c.power),
            "saturation": c.saturation,
            "exact": self.exact,
            "difference": self.overall.numbers(),
            "difference_scout_colours": self.scout.numbers() if self.scout else None,
            "difference_greys": self.grey.numbers() if self.grey else None,
            "fails_most": self.failure or None,
        }


def fit_cdl(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    *,
    scout_inputs: Array | None = None,
    cast: Cast | None = None,
    place: str | None = None,
    balance: str = "",
    start: CDL | None = None,
    colours: int = _FIT_COLOURS,
) -> CdlFit:
    """The CDL in ``source`` that, followed by the plain rendering to ``target``, comes nearest to ``look``.

    Both are shown: where ``target`` is light (a log encoding), as BT.709 shows it. Least squares over at most
    ``colours`` of ``scout_inputs`` (n, 3), code values in ``source``, over as many picture colours, and over
    greys, of which those count once more that are far off, with a pull towards no change, so that no number
    runs far for little and each can be trimmed by hand. Deterministic; ``start`` gives numbers to begin with.
    """
    cube = picture_inputs(source)
    transform = shown_through(look, source, target, cast)
    own = as_cdl(look, source, cast)
    has_scout = scout_inputs is not None and len(scout_inputs) > 0
    exact = own is not None
    if own is None:
        tried = [(grey_ramp(source), _GREY_WEIGHT), (_thinned(cube, colours), _CUBE_WEIGHT)]
        if scout_inputs is not None and has_scout:
            tried.append((_thinned(scout_inputs, colours), _OWN_WEIGHT))
        own = _fitted(transform, tried, source, start)
    stand_in = shown_through(Look(title=look.title, cdl=own), source, target, None)
    overall = _difference(transform, stand_in, cube)
    grey = _difference(transform, stand_in, grey_ramp(source))
    scout = None
    if scout_inputs is not None and has_scout:
        scout = _difference(transform, stand_in, _thinned(scout_inputs, 8000))
    failure = "" if exact else _where(scout or overall, transform)
    return CdlFit(own, overall, scout, exact, look.title, place, failure, balance, grey)


def as_cdl(look: LookLike, source: Encoding, cast: Cast | None) -> CDL | None:
    """The look's own CDL where the look is nothing else and acts in ``source``; identity looks count."""
    if not isinstance(look, Look):
        return None
    look = look.acting
    if not look.model_copy(update={"cdl": CDL()}).is_identity:
        return None
    if look.cdl.is_identity:
        return CDL(encoding=source.name)
    return look.cdl if get_encoding(look.cdl.encoding) == source else None


def _fitted(
    transform: Transform, seen: Sequence[tuple[Array, float]], source: Encoding, start: CDL | None
) -> CDL:
    """Least squares of ``seen``, (colours, weight) each, greys first, drawn towards no change.

    Differences count by lightness, chroma and hue with the weights of CIE 116 (CIE94) at the wanted colour,
    which are smooth where CIEDE2000 is not, so that the fit ends where it should.
    """
    from scipy.optimize import least_squares

    here, target = passing(source), transform.target
    limit = Pipeline(Look(title="plain"), source, target).limit
    shown_as = signal(target, limit, rendered=source.state == "output")
    inputs = np.concatenate([colours for colours, _ in seen])
    share = np.concatenate([np.full(len(c), weight / np.sqrt(len(c))) for c, weight in seen])
    wanted = appearance(transform(inputs), target)
    scales = _tolerances(wanted) * share[:, None, None]
    greys = slice(0, len(seen[0][0]))

    def residuals(p: Array, grey_hold: float) -> Array:
        step = cdl_step(p[0:3], p[3:6], p[6:9], float(p[9]), here)
        shown = run(join([step], here, shown_as), inputs)
        got = appearance(np.clip(shown, 0.0, 1.0) if shown_as.bounded else shown, target)
        off = np.einsum("nij,nj->ni", scales, got - wanted).ravel()
        too_far = grey_hold * np.maximum(ciede2000(got[greys], wanted[greys]) - _GREY_MOST, 0.0)
        towards_identity = _RIDGE * (p - _IDENTITY) / _USUAL
        return np.concatenate([off, too_far, towards_identity])

    def nearest(begin: Array, grey_hold: float) -> Array:
        inside = np.clip(begin, _LOW + 1e-6, _HIGH - 1e-6)
        bounds = (_LOW, _HIGH)
        found = least_squares(
            residuals, inside, bounds=bounds, x_scale=_USUAL, max_nfev=60, args=(grey_hold,)
        )
        return np.asarray(found.x)

    def rank(p: Array) -> tuple[float, float]:
        off = residuals(p, _GREY_HOLD)
        worst = residuals(p, 1.0)[len(inputs) * 3 :][: greys.stop].max() + _GREY_MOST
        return max(_GREY_GOAL, float(worst)), float(off @ off)

    def best(begins: Sequence[Array]) -> Array:
        ends = (np.round(nearest(begin, _GREY_HOLD), 6) + 0.0 for begin in begins)
        return min(ends, key=rank)

    if start is not None:
        p = best([np.array([*start.slope, *start.offset, *start.power, start.saturation])])
    else:  # straight to the greys it ends elsewhere: mostly worse, now and then where alone greys come near
        first = nearest(_IDENTITY, 0.0)
        p = best([first, _further(first, 0.0)])
        if rank(p)[0] > 1.1 * _GREY_GOAL:  # there are other places to end, with greys at half of that
            p = min(p, best([_further(first, share) for share in _OTHER_BEGINS]), key=rank)
    return CDL(
        slope=(float(p[0]), float(p[1]), float(p[2])),
        offset=(float(p[3]), float(p[4]), float(p[5])),
        power=(float(p[6]), float(p[7]), float(p[8])),
        saturation=float(p[9]),
        encoding=source.name,
    )


def _further(numbers: Array, share: float) -> Array:
    """Ten numbers at a share of their way from no change, with the same saturation."""
    return np.append(_IDENTITY[:9] + share * (numbers[:9] - _IDENTITY[:9]), numbers[9])


def _tolerances(lab: Array) -> Array:
    """(n, 3, 3): takes a difference in CIELAB to those of lightness, chroma and hue, by their tolerances."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hued = chroma > 1e-6
    cos = np.where(hued, lab[:, 1] / np.maximum(chroma, 1e-6), 1.0)
    sin = np.where(hued, lab[:, 2] / np.maximum(chroma, 1e-6), 0.0)
    out = np.zeros((len(lab), 3, 3))
    out[:, 0, 0] = 1.0
    out[:, 1, 1], out[:, 1, 2] = cos / (1.0 + 0.045 * chroma), sin / (1.0 + 0.045 * chroma)
    out[:, 2, 1], out[:, 2, 2] = -sin / (1.0 + 0.015 * chroma), cos / (1.0 + 0.015 * chroma)
    return out


def grey_ramp(source: Encoding) -> Array:
    """Greys (n, 3) from 6 stops under mid grey to 6 above it, in ``source``, as far as it holds them."""
    light = np.repeat((MID_GREY * 2.0 ** np.linspace(-6.0, 6.0, 37))[:, None], 3, axis=1)
    signal = source.from_working(render_curve(light) if source.state == "output" else light)
    return np.asarray(np.clip(signal, 0.0, None if source.is_linear else 1.0))


def shown_through(look: LookLike, source: Encoding, target: Encoding, cast: Cast | None) -> Transform:
    """The look as a CDL is judged by it: shown. Light, which is no picture, is rendered for BT.709."""
    return look.transform(source, target if target.state == "output" else BT709, cast)


def _difference(transform: Transform, stand_in: Transform, inputs: Array) -> Difference:
    target = transform.target
    deltas = ciede2000(appearance(transform(inputs), target), appearance(stand_in(inputs), target))
    return difference(inputs, deltas)


def _thinned(colours: Array, count: int) -> Array:
    """At most ``count`` colours, evenly picked in their order."""
    if len(colours) <= count:
        return colours
    return np.asarray(colours[np.linspace(0, len(colours) - 1, count).round().astype(int)])


def _where(stats: Difference, transform: Transform) -> str:
    from lookdev.lut.words import colour_words

    source = transform.source
    worst = colour_words(appearance(np.array(stats.worst_input), source))
    codes = " ".join(f"{v:.3f}" for v in stats.worst_input)
    return f"fails most on {worst} ({source.name} {codes})"


# ---- writing ---------------------------------------------------------------------------------------------


def _numbers(values: Sequence[float]) -> str:
    return " ".join(f"{v:.6f}" for v in values)


def _clean(text: str) -> str:
    """``text`` without the characters that XML 1.0 cannot hold."""
    return "".join(c for c in text if c.isprintable() and not 0xD800 <= ord(c) <= 0xDFFF)


def _correction(fit: CdlFit, identifier: str, indent: str, attributes: str = "", viewing: str = "") -> str:
    c = fit.cdl
    notes = [
        f"look: {fit.name}" + (f", with the metered balance of {fit.place}" if fit.place else ""),
        *([f"holds for {fit.balance}"] if fit.balance else []),
        f"encoding: {c.encoding}",
        fit.words(),
    ]
    lines = [f"<ColorCorrection id={quoteattr(_clean(identifier))}{attributes}>"]
    if viewing:
        lines.append(f"  <InputDescription>{escape(c.encoding)}</InputDescription>")
        lines.append(f"  <ViewingDescription>{escape(_clean(viewing))}</ViewingDescription>")
    lines.append("  <SOPNode>")
    lines += [f"    <Description>{escape(_clean(note))}</Description>" for note in notes]
    lines += [
        f"    <Slope>{_numbers(c.slope)}</Slope>",
        f"    <Offset>{_numbers(c.offset)}</Offset>",
        f"    <Power>{_numbers(c.power)}</Power>",
        "  </SOPNode>",
        "  <SatNode>",
        f"    <Saturation>{c.saturation:.6f}</Saturation>",
        "  </SatNode>",
        "</ColorCorrection>",
    ]
    return "\n".join(indent + line for line in lines)


_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_XMLNS = f' xmlns="{NAMESPACE}"'


def cc_text(fit: CdlFit, identifier: str, viewing: str = "") -> str:
    """One ColorCorrection: the content of a .cc file; ``viewing``: what stands behind it, in words."""
    return _HEAD + _correction(fit, identifier, "", _XMLNS, viewing) + "\n"


def ccc_text(fits: Sequence[tuple[str, CdlFit]], note: str, viewing: str = "") -> str:
    """A ColorCorrectionCollection of (identifier, fit): the content of a .ccc file."""
    encoding = fits[0][1].cdl.encoding if fits else ""
    body = [f"  <InputDescription>{escape(encoding)}</InputDescription>"]
    if viewing:
        body.append(f"  <ViewingDescription>{escape(_clean(viewing))}</ViewingDescription>")
    body.append(f"  <Description>{escape(_clean(note))}</Description>")
    body += [_correction(fit, identifier, "  ") for identifier, fit in fits]
    tag = "ColorCorrectionCollection"
    return _HEAD + f"<{tag}{_XMLNS}>\n" + "\n".join(body) + f"\n</{tag}>\n"


def cdl_text(decisions: Sequence[tuple[str, str, CdlFit]], note: str, viewing: str = "") -> str:
    """A ColorDecisionList of (media reference, identifier, fit): the content of a .cdl file."""
    encoding = decisions[0][2].cdl.encoding if decisions else ""
    body = [f"  <InputDescription>{escape(encoding)}</InputDescription>"]
    if viewing:
        body.append(f"  <ViewingDescription>{escape(_clean(viewing))}</ViewingDescription>")
    body.append(f"  <Description>{escape(_clean(note))}</Description>")
    for media, identifier, fit in decisions:
        body.append("  <ColorDecision>")
        body.append(f"    <MediaRef ref={quoteattr(_clean(media))}/>")
        body.append(_correction(fit, identifier, "    "))
        body.append("  </ColorDecision>")
    tag = "ColorDecisionList"
    return _HEAD + f"<{tag}{_XMLNS}>\n" + "\n".join(body) + f"\n</{tag}>\n"


def write_cc(path: Path, fit: CdlFit, identifier: str, viewing: str = "") -> None:
    """Write a .cc file, whole or not at all."""
    write_whole(Path(path), cc_text(fit, identifier, viewing))


# ---- reading ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ReadCorrection:
    """One ColorCorrection of a file: its id, the ten numbers, and the notes that stand with it."""

    identifier: str
    cdl: CDL
    notes: tuple[str, ...]


def read_cdl(path: Path, encoding: str | None = None) -> list[ReadCorrection]:
    """Every ColorCorrection in a .cc, .ccc or .cdl file.

    ``encoding`` names the encoding in which they act; without it the file's own note ("encoding: ACEScct")
    counts, and without that ACEScct.

    Raises
    ------
    LutError : not such a file, or a number is missing, wrong or out of range.
    """
    path = Path(path)
    root = _xml(path)
    general = _texts(root, ("InputDescription", "Description"))
    found = [e for e in root.iter() if _tag(e) == "ColorCorrection"]
    if not found:
        raise LutError("no ColorCorrection in it", file=path, wanted="an ASC CDL file (.cc, .ccc, .cdl)")
    return [_read_correction(e, path, general, encoding) for e in found]


def _xml(path: Path) -> Element:
    from xml.etree import ElementTree

    try:
        if path.stat().st_size > MAX_BYTES:
            raise LutError("too large to be a CDL", file=path, wanted=f"at most {MAX_BYTES} bytes")
        raw = read_ordinary(path)
    except OSError as error:
        raise LutError(f"cannot be read: {error.strerror}", file=path) from None
    if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
        raise LutError("has a document type or entities, which a CDL never needs", file=path)
    try:
        return ElementTree.fromstring(raw)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise LutError(f"is not XML: {error}", file=path) from None


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _texts(element: Element, names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple((e.text or "").strip() for e in element if _tag(e) in names and (e.text or "").strip())


def _read_correction(
    element: Element, path: Path, general: tuple[str, ...], encoding: str | None
) -> ReadCorrection:
    identifier = element.get("id") or "unnamed"
    notes = [*general, *_texts(element, ("InputDescription", "Description"))]
    values: dict[str, list[float]] = {}
    for part in element.iter():
        name = _tag(part)
        if name in ("SOPNode", "SatNode", "SATNode"):
            notes += _texts(part, ("Description",))
        if name in ("Slope", "Offset", "Power", "Saturation"):
            values[name] = _floats(part.text or "", 1 if name == "Saturation" else 3, path, identifier, name)
    if not values:
        raise LutError("no SOPNode and no SatNode", file=path, key=identifier)
    said = next((n.partition(":")[2].strip() for n in notes if n.lower().startswith("encoding:")), "")
    parameters: dict[str, object] = {k.lower(): tuple(v) for k, v in values.items() if k != "Saturation"}
    if "Saturation" in values:
        parameters["saturation"] = values["Saturation"][0]
    parameters["encoding"] = encoding or said or "ACEScct"
    try:
        return ReadCorrection(identifier, CDL.model_validate(parameters), tuple(notes))
    except LookdevError:
        raise
    except ValueError as error:
        first = error.errors()[0] if hasattr(error, "errors") else {"loc": ("",), "msg": str(error)}
        key = f"{identifier}, {str(first['loc'][0]).title()}"
        wanted = str(first["msg"])
        raise LutError("out of range", file=path, key=key, found=first.get("input"), wanted=wanted) from None


def _floats(text: str, count: int, path: Path, identifier: str, name: str) -> list[float]:
    where = {"file": path, "key": f"{identifier}, {name}"}
    try:
        values = [float(part) for part in text.split()]
    except ValueError:
        raise LutError("not numbers", found=text.strip(), wanted=f"{count} numbers", **where) from None  # type: ignore[arg-type]
    if len(values) != count or not np.isfinite(values).all():
        raise LutError("incomplete", found=text.strip(), wanted=f"{count} finite numbers", **where)  # type: ignore[arg-type]
    return values


def load_cdl_look(path: Path, encoding: str | None = None) -> list[Look]:
    """The corrections of a CDL file as looks, titled by file and id."""
    read = read_cdl(path, encoding)
    stem = Path(path).stem.replace("_", " ")
    titles = [stem if len(read) == 1 else f"{stem} {r.identifier}" for r in read]
    return [
        Look(title=title[:120], note="; ".join(r.notes)[:500], cdl=r.cdl)
        for title, r in zip(titles, read, strict=True)
    ]
