"""The pitch as one file for a browser: no network, nothing beside it, every picture inside.

The page's script, style and data stand in ``pitch_web``. A content security policy (W3C CSP Level 3) allows
the one style and the one script by their digests, pictures from the page's own memory, and nothing else.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.files import write_whole
from lookdev.pages.pitch_model import STOOD, Pitch, PitchPlace

Picture = NDArray[np.uint8]

BUDGET_BYTES = 15_000_000
LONG_SIDE_PX = 1920
_FINE = (*((LONG_SIDE_PX, q) for q in (93, 90, 86, 80, 72, 60)), (1440, 60), (1080, 60), (720, 55), (480, 50))
"""Long side in pixels and WebP quality, the finest first: what a page of many places must weigh decides."""
_FALLBACK = ((960, 80), (720, 75), (480, 70), (320, 60))
_FALLBACK_SHARE = 0.4
_GROUNDS = {"dark": "dark", "grey": "light"}


@cache
def _asset(name: str) -> str:
    return resources.files("lookdev.pages").joinpath("pitch_web", name).read_text("utf-8")


def pitch_html(pitch: Pitch, workers: int = 2, budget_bytes: int = BUDGET_BYTES) -> str:
    """The page. Pictures are written as finely as fits into ``budget_bytes``, base64 counted."""
    pictures = [picture for place in pitch.places for picture in (place.stood, *place.pictures)]
    with ThreadPoolExecutor(workers) as pool:
        room = budget_bytes * 3 // 4 - 200_000  # base64 takes four bytes for three
        fallbacks = _fitting(pictures, _jpeg, _FALLBACK, int(room * _FALLBACK_SHARE), pool.map)
        fine = _fitting(pictures, _webp, _FINE, room - sum(map(len, fallbacks)), pool.map)
    made = iter(zip(pictures, fine, fallbacks, strict=True))
    places = [
        _place(place, [_picture(*next(made)) for _ in range(1 + len(place.pictures))])
        for place in pitch.places
    ]
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
    data = {"id": hashlib.sha256(shown.encode()).hexdigest()[:12], **data}
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
        "data": in_script(json.dumps(data, ensure_ascii=True, separators=(",", ":"))),
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


def _place(place: PitchPlace, pictures: list[dict[str, object]]) -> dict[str, object]:
    return {
        "name": place.name,
        "code": place.code,
        "light": place.light,
        "words": place.words,
        "panorama": place.panorama,
        "proposed": place.proposed,
        "stood": pictures[0],
        "pictures": pictures[1:],
    }


def _picture(pixels: Picture, fine: bytes, fallback: bytes) -> dict[str, object]:
    height, width = pixels.shape[:2]
    webp, jpeg = (base64.b64encode(data).decode("ascii") for data in (fine, fallback))
    return {"width": width, "height": height, "webp": webp, "jpeg": jpeg}


def _fitting(
    pictures: list[Picture],
    encode: Callable[[Picture, int, int], bytes],
    ladder: tuple[tuple[int, int], ...],
    room: int,
    over: Callable[..., Any],
) -> list[bytes]:
    """Every picture as finely, by size and quality, as all of them fit into ``room`` bytes."""
    probes = pictures[:: max(1, len(pictures) // 6)]
    for edge, quality in ladder:
        last = (edge, quality) == ladder[-1]
        known: list[bytes] = []

        def finely(picture: Picture, edge: int = edge, quality: int = quality) -> bytes:
            return encode(picture, edge, quality)

        if not last:
            known = list(over(finely, probes))
            if sum(map(len, known)) / len(probes) * len(pictures) > room * 0.97:
                continue
        made = _with_probes(pictures, known, over, finely)
        if last or sum(map(len, made)) <= room:
            return made
    return []


def _with_probes(
    pictures: list[Picture],
    known: list[bytes],
    over: Callable[..., Any],
    encode: Callable[[Picture], bytes],
) -> list[bytes]:
    """Every picture; ``known`` are those of the probes, which are not encoded again."""
    step = max(1, len(pictures) // 6)
    at = {i * step: data for i, data in enumerate(known)}
    rest = iter(over(encode, [p for i, p in enumerate(pictures) if i not in at]))
    return [at[i] if i in at else next(rest) for i in range(len(pictures))]


def _webp(pixels: Picture, edge: int, quality: int) -> bytes:
    import imagecodecs

    small = _reduced(pixels, edge)
    return bytes(imagecodecs.webp_encode(small, level=quality, lossless=False, method=2))


def _jpeg(pixels: Picture, edge: int, quality: int) -> bytes:
    import simplejpeg

    small = _reduced(pixels, edge)
    return bytes(simplejpeg.encode_jpeg(small, quality=quality, colorsubsampling="444"))


def _reduced(pixels: Picture, long_side: int) -> Picture:
    from lookdev.pages.thumbnails import resize_srgb

    height, width = pixels.shape[:2]
    if max(height, width) <= long_side:
        return np.ascontiguousarray(pixels)
    scale = long_side / max(height, width)
    return resize_srgb(pixels, (max(1, round(width * scale)), max(1, round(height * scale))))
