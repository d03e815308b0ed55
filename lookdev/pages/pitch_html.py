"""The pitch as one file for a browser: no network, nothing beside it, every picture inside.

The page's script, style and data stand in ``pitch_web``. A content security policy (W3C CSP Level 3) allows
the one style and the one script by their digests, pictures from the page's own memory, and nothing else.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from lookdev.files import write_whole
from lookdev.pages.pitch_model import STOOD, Picture, Pitch, PitchPlace, ScreenPicture

BUDGET_BYTES = 15_000_000
LONG_SIDE_PX = 1920
_STRIP_ROWS, _STRIPS = 48, 8
"""A picture's weight is guessed from one strip of so many rows in so many, or in fewer where it is low."""
_USUALLY_OFF = 0.93
"""What a picture takes, times the guess: the seams between strips cost bytes (measured, 0.85 to 1.0)."""


@dataclass(frozen=True)
class _Rung:
    """How finely a picture is written: long side in pixels, WebP's quality and libwebp's method (0 quick, 2
    smaller), and what share of the first rung's bytes that took on photographs (measured, a few of each)."""

    edge_px: int
    quality: int
    method: int
    weight: float


_FINE = (
    _Rung(LONG_SIDE_PX, 93, 0, 1.0),
    _Rung(LONG_SIDE_PX, 90, 0, 0.83),
    _Rung(LONG_SIDE_PX, 86, 0, 0.73),
    _Rung(LONG_SIDE_PX, 83, 0, 0.64),
    _Rung(LONG_SIDE_PX, 80, 0, 0.56),
    _Rung(LONG_SIDE_PX, 83, 2, 0.48),
    _Rung(LONG_SIDE_PX, 80, 2, 0.44),
    _Rung(LONG_SIDE_PX, 76, 2, 0.40),
    _Rung(LONG_SIDE_PX, 72, 2, 0.37),
    _Rung(LONG_SIDE_PX, 66, 2, 0.34),
    _Rung(LONG_SIDE_PX, 60, 2, 0.32),
    _Rung(1440, 60, 2, 0.20),
    _Rung(1080, 60, 2, 0.13),
    _Rung(720, 55, 2, 0.06),
    _Rung(480, 50, 2, 0.03),
)
"""The finest first: what a page of many places must weigh decides. While there is room, the quick method: at
93 it makes 6% more bytes in half the time, of the same error."""
_FALLBACK = ((960, 80), (720, 75), (640, 70), (480, 70), (320, 60))
_FALLBACK_SHARE = 0.25
_GROUNDS = {"dark": "dark", "grey": "light"}


@cache
def _asset(name: str) -> str:
    return resources.files("lookdev.pages").joinpath("pitch_web", name).read_text("utf-8")


def pitch_html(pitch: Pitch, workers: int = 2, budget_bytes: int = BUDGET_BYTES) -> str:
    """The page. Each place's pictures are as fine as fits into its share of ``budget_bytes``."""
    room = room_of_a_place(len(pitch.places), budget_bytes)

    def pictures(place: PitchPlace) -> tuple[ScreenPicture, ...]:
        return place.drawn.pictures if place.drawn is not None else screen_pictures(place, room)

    with ThreadPoolExecutor(workers) as pool:
        made = pool.map(pictures, pitch.places)
        places = [_place(place, of_it) for place, of_it in zip(pitch.places, made, strict=True)]
    data: dict[str, Any] = {
        "title": pitch.title,
        "stood": STOOD,
        "looks": [
            {"title": k.title, "note": k.note, "code": k.code, "fingerprint": k.fingerprint}
            for k in pitch.looks
        ],
        "places": places,
    }
    shown = json.dumps(data, ensure_ascii=True, separators=(",", ":"))
    name = json.dumps({"id": hashlib.sha256(shown.encode()).hexdigest()[:12]}, separators=(",", ":"))
    style, script = _asset("page.css"), _asset("page.js")
    policy = "; ".join(
        (
            "default-src 'none'",
            f"style-src '{_digest(style)}'",
            f"script-src '{_digest(script)}'",
            "img-src blob: data:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    parts = {
        "policy": policy,
        "scheme": _GROUNDS[pitch.surround],
        "surround": pitch.surround,
        "title": html.escape(pitch.title),
        "date": html.escape(pitch.date),
        "style": style,
        "script": script,
        "data": in_script(f"{name[:-1]},{shown[1:]}"),
    }
    page = _asset("page.html")
    pieces = page.split("{{")
    out = [pieces[0]]
    for piece in pieces[1:]:
        name, rest = piece.split("}}", 1)
        out += [parts[name], rest]
    return "".join(out)


def write_pitch_html(pitch: Pitch, path: Path, workers: int = 2) -> None:
    """Write the page, whole or not at all."""
    write_whole(path, pitch_html(pitch, workers))


def in_script(text: str) -> str:
    """JSON that can stand in a script element, whatever was typed: no ``<``, ``>`` or ``&`` is left in it.

    >>> in_script('{"title": "</script>"}')
    '{"title": "\\\\u003c/script\\\\u003e"}'
    """
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _place(place: PitchPlace, pictures: tuple[ScreenPicture, ...]) -> dict[str, object]:
    stood, *graded = (_picture(picture) for picture in pictures)
    return {
        "name": place.name,
        "code": place.code,
        "light": place.light,
        "words": place.words,
        "panorama": place.panorama,
        "proposed": place.proposed,
        "stood": stood,
        "pictures": graded,
    }


def _picture(picture: ScreenPicture) -> dict[str, object]:
    webp, jpeg = (base64.b64encode(data).decode("ascii") for data in (picture.webp, picture.jpeg))
    return {"width": picture.size[0], "height": picture.size[1], "webp": webp, "jpeg": jpeg}


def room_of_a_place(places: int, budget_bytes: int = BUDGET_BYTES) -> int:
    """Bytes that the pictures of one of so many places may have in a page of ``budget_bytes``.

    >>> room_of_a_place(12)
    920833
    """
    return (budget_bytes * 3 // 4 - 200_000) // max(1, places)  # base64 takes four bytes for three


def screen_pictures(
    place: PitchPlace, room: int, small: Sequence[Picture] | None = None
) -> tuple[ScreenPicture, ...]:
    """The still as it stood and in each look, as finely, by size and quality, as fits into ``room`` bytes.

    ``small`` : the same pictures reduced, where they are at hand, from which those to fall back on are made.
    """
    pictures = [place.stood, *place.pictures]
    jpegs = _fallbacks(small or pictures, int(room * _FALLBACK_SHARE))
    webps = _fine(pictures, jpegs, room - sum(map(len, jpegs)))
    sizes = [(int(p.shape[1]), int(p.shape[0])) for p in pictures]
    return tuple(ScreenPicture(*each) for each in zip(sizes, webps, jpegs, strict=True))


def _fallbacks(pictures: Sequence[Picture], room: int) -> list[bytes]:
    """JPEGs of all, at the first long side and quality at which they fit; the first one is tried first."""
    made: list[bytes] = []
    for edge, quality in _FALLBACK:
        is_last = (edge, quality) == _FALLBACK[-1]
        first = _jpeg(pictures[0], edge, quality)
        if len(first) * len(pictures) > room and not is_last:
            continue
        made = [first, *(_jpeg(picture, edge, quality) for picture in pictures[1:])]
        if sum(map(len, made)) <= room:
            break
    return made


def _jpeg(picture: Picture, edge: int, quality: int) -> bytes:
    import simplejpeg

    data = simplejpeg.encode_jpeg(_reduced(picture, edge), quality=quality, colorsubsampling="444")
    return bytes(data)


def _fine(pictures: list[Picture], jpegs: list[bytes], room: int) -> list[bytes]:
    """WebP of all. How fine the next is follows from what is left and what the others will take, by guess and
    by how far off the guesses before were; it is never finer than the one before, so that looks are alike."""
    first = _guessed(pictures[0])
    guesses = [first * len(jpeg) / len(jpegs[0]) for jpeg in jpegs]  # a flatter look takes less in either
    made: list[bytes] = []
    off, at = _USUALLY_OFF, 0
    for i, picture in enumerate(pictures):
        left, rest = room - sum(map(len, made)), sum(guesses[i:]) * off
        while at + 1 < len(_FINE) and rest * _FINE[at].weight > left:
            at += 1
        data = _webp(picture, _FINE[at])
        while at + 1 < len(_FINE) and len(data) > left:
            at += 1
            data = _webp(picture, _FINE[at])
        off += (len(data) / (guesses[i] * _FINE[at].weight) - off) / (i + 1)
        made.append(data)
    return made


def _guessed(picture: Picture) -> float:
    """Bytes that a picture will take at the finest rung, by some strips of it."""
    strips = len(picture) // _STRIP_ROWS
    step = min(_STRIPS, strips // 3)
    if step < 2:
        return float(len(_webp(picture, _FINE[0])))
    each = picture[: strips * _STRIP_ROWS].reshape(strips, -1, *picture.shape[1:])
    some = each[step // 2 :: step]
    probe = np.ascontiguousarray(some.reshape(-1, *picture.shape[1:]))
    return len(_webp(probe, _FINE[0])) * strips / len(some)


def _webp(picture: Picture, rung: _Rung) -> bytes:
    import imagecodecs

    pixels = _reduced(picture, rung.edge_px)
    return bytes(imagecodecs.webp_encode(pixels, level=rung.quality, lossless=False, method=rung.method))


def _reduced(pixels: Picture, long_side: int) -> Picture:
    from lookdev.pages.thumbnails import resize_srgb

    height, width = pixels.shape[:2]
    if max(height, width) <= long_side:
        return np.ascontiguousarray(pixels)
    scale = long_side / max(height, width)
    return resize_srgb(pixels, (max(1, round(height * scale)), max(1, round(width * scale))))
