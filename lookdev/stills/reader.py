"""The one reader of stills: bytes to an upright :class:`~lookdev.stills.still.Still` that says what it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, replace
from itertools import takewhile
from pathlib import Path
from threading import Lock
from types import ModuleType
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding, linear
from lookdev.errors import StillError
from lookdev.stills import exif as exif_tags
from lookdev.stills import jpeg
from lookdev.stills.find import find_stills
from lookdev.stills.formats import (
    CLIP_SUFFIXES,
    OTHERS,
    STILL_SUFFIXES,
    SUFFIXES,
    Decoded,
    Header,
    TakeMemory,
    begins_like_raw,
    has_dng_version,
    sniff,
)
from lookdev.stills.hdr import hdr_words, scene_light
from lookdev.stills.icc import code_points, encoding_from_icc, parse_profile, white_of_profile_error
from lookdev.stills.marking import marked_by_code_points
from lookdev.stills.open_file import open_file, read_file
from lookdev.stills.orientation import upright, upright_size
from lookdev.stills.part import Moment, Part, View
from lookdev.stills.still import PANORAMA_ASPECT, Metadata, Still, code_values, merged, signal_of
from lookdev.stills.view import check_panorama, few_pixels, projection_of, take_view, view_size

if TYPE_CHECKING:
    from lookdev.stills.raw import Sensor

__all__ = ["MAX_PIXELS", "STILL_SUFFIXES", "find_stills", "read_info", "read_still"]

MAX_PIXELS = 160_000_000  # a 151-megapixel back fits; 8 bits then take half a gigabyte
MID_GREY = 0.18
BYTES_A_PIXEL = 8  # a file of 16-bit RGBA, not compressed
_SPARE_BYTES = 1 << 26
_HEADER_BYTES = 1 << 18
FORMATS_IN_WORDS = f"JPEG, PNG, TIFF, HEIF, AVIF, WebP, OpenEXR, camera raw, {', '.join(OTHERS)}"
_ONE_LARGE_FILE = Lock()
MARGIN = 2  # between a decoder's own reduction and the size wanted: what is left is averaged in light


@dataclass(frozen=True)
class Head:
    """What a file says of itself, without its pixels.

    Attributes
    ----------
    size : (height, width), upright.
    metadata : where no light is known.
    sensor : of a raw file, whose own balance stands for another white under another light; else None.
    """

    size: tuple[int, int]
    metadata: Metadata
    sensor: Sensor | None = None

    def under(self, light_xy: tuple[float, float] | None) -> Metadata:
        """The metadata where ``light_xy`` was metered."""
        return self.metadata if self.sensor is None else self.sensor.balanced(self.metadata, light_xy)


def read_head(path: Path, *, max_pixels: int = MAX_PIXELS, part: Part | None = None) -> Head:
    """Size upright and metadata, without decoding pixels; the rest as in reading.

    Raises
    ------
    StillError : as :func:`read_still`.
    """
    path = Path(path)
    try:
        if _is_clip(path, part):
            return Head(*_clips().info(path, part, max_pixels))
        with _opened(path, max_pixels, headers_only=True) as (_, head):
            metadata = _metadata(head)
        size, sensor = upright_size(head.size, _orientation(head, metadata)), None
        if isinstance(part, View):
            check_panorama(size, metadata.projection)
            size, metadata = view_size(part, size[1]), through_lens(metadata, part)
        if head.kind == "raw":
            sensor = head.extra.sensor
        return Head(size, metadata, sensor)
    except StillError as error:
        raise error.about(path) from error


def read_info(
    path: Path,
    *,
    max_pixels: int = MAX_PIXELS,
    light_xy: tuple[float, float] | None = None,
    part: Part | None = None,
) -> tuple[tuple[int, int], Metadata]:
    """(height, width) upright, and the metadata, without decoding pixels; the rest as in reading.

    Raises
    ------
    StillError : as :func:`read_still`.
    """
    head = read_head(path, max_pixels=max_pixels, part=part)
    return head.size, head.under(light_xy)


def through_lens(metadata: Metadata, view: View) -> Metadata:
    """What a view says of itself: its panorama's settings, and the lens that it is taken through."""
    lens = {"focal_length_mm": "the view's lens_mm"}
    kept = {name: words for name, words in metadata.origins.items() if name != "lens"}
    return replace(
        metadata, lens=None, focal_length_mm=view.lens_mm, projection=None, origins={**kept, **lens}
    )


def _is_clip(path: Path, part: Part | None) -> bool:
    """Whether a file is a clip: by its suffix, unless its first bytes are a still's.

    Raises
    ------
    StillError : a moment of what is no clip, a view of what is one; or it cannot be read.
    """
    clip = path.suffix.lower() in CLIP_SUFFIXES and sniff(read_file(path, 64), "") is None
    if isinstance(part, Moment) and not clip:
        raise StillError("is no clip that has moments", wanted="a picture of a .mp4 or .mov")
    if isinstance(part, View) and clip:
        raise StillError("is a clip", wanted="a panorama, for a view")
    return clip


def _clips() -> ModuleType:
    from lookdev.stills import clip

    return clip


def read_still(
    path: Path,
    *,
    max_edge_px: int | None = None,
    max_pixels: int = MAX_PIXELS,
    salvage: bool = False,
    enough_px: int | None = None,
    balance_xy: tuple[float, float] | None = None,
    light_xy: tuple[float, float] | None = None,
    part: Part | None = None,
    take: TakeMemory | None = None,
    admit: Callable[[int], None] | None = None,
) -> Still:
    """Read any still that a scout brings home.

    What the code values mean is decided by, in this order: PNG's cICP; an embedded profile, its cicp tag
    first; the marking of the container (HEIF and AVIF nclx, OpenEXR chromaticities, TIFF's own tags); the DCF
    marking; other PNG chunks; else sRGB is assumed. A marking that is not understood is warned of. HDR
    pictures (PQ, HLG) come as scene light: see :func:`scene_light`.

    Parameters
    ----------
    path : the file; its content decides the format, not its name.
    max_edge_px : reduce so that the longer edge is at most this, averaging in linear light.
    max_pixels : larger pictures are refused before a pixel is decoded.
    salvage : use a JPEG that breaks off or is damaged as far as it goes, with a warning.
    enough_px : for previews: decode at 1/2, 1/4 or 1/8 where the format can, if the longer edge keeps at
        least twice this many pixels. A JPEG's decoder averages code values: the rest is for averaging light.
    balance_xy : for raw files: develop as if the camera had been set to this white, not to its own.
    light_xy : for raw files: the light that was metered there. A DNG with matrices for two illuminants is
        developed with the one between them that belongs to this light; without it, to the balance.
    part : a view of a panorama, or a moment of a clip; a clip without one is read in its middle.
    take : gives memory of so many bytes; an 8-bit still's pixels may come in it.
    admit : called with the bytes that the still will take, before it is decoded; may wait, or refuse.

    Raises
    ------
    StillError : the file cannot be read, is no still, is too large or is broken; one line with its name.
    """
    path = Path(path)
    try:
        if _is_clip(path, part):
            clip: Still = _clips().read(path, part, max_pixels, salvage=salvage, admit=admit)
            if max_edge_px is None or max(clip.full_size) <= max_edge_px:
                return clip
            return replace(
                clip, pixels=reduced(clip.pixels, clip.encoding, _fitted(clip.full_size, max_edge_px))
            )
        view = part if isinstance(part, View) else None
        with ExitStack() as held:
            with _one_large_file_at_a_time(path):
                data, head = held.enter_context(_opened(path, max_pixels))
                if admit is not None:
                    admit((len(data) if isinstance(data, bytes) else 0) + head.bytes_in_hand)
            return _read(path, data, head, max_edge_px, salvage, enough_px, balance_xy, light_xy, take, view)
    except StillError as error:
        raise error.about(path) from error


def _one_large_file_at_a_time(path: Path) -> AbstractContextManager[object]:
    """So that what waits for its turn to be decoded is one large file, not one a worker."""
    try:
        is_large = path.stat().st_size > _SPARE_BYTES
    except OSError:  # reading it will say so
        is_large = False
    return _ONE_LARGE_FILE if is_large else nullcontext()


Source = bytes | BinaryIO
"""What a still is read from: the bytes of its file, or the open file."""


@contextmanager
def _opened(path: Path, max_pixels: int, headers_only: bool = False) -> Iterator[tuple[Source, Header]]:
    """The file's bytes, and what its header says; of a JPEG the first bytes do for that, and TIFF and OpenEXR
    are read from the open file, as they are asked for."""
    first = read_file(path, _HEADER_BYTES)
    size = path.stat().st_size
    kind = sniff(first, path.suffix.lower())
    if kind is None:
        raise StillError(
            "not a still that can be read", found=_first_bytes(first, size), wanted=FORMATS_IN_WORDS
        )
    _refuse_large(first, size, kind, max_pixels)
    is_enough = headers_only and kind == "JPEG" and jpeg.header_end(first) is not None
    with ExitStack() as held:
        data: Source = first
        if kind in ("TIFF", "OpenEXR"):
            data = file = held.enter_context(open_file(path))
            if kind == "TIFF" and has_dng_version(file):  # it may say so at its end
                data, kind = read_file(path), "raw"
        elif size > len(first) and not is_enough:
            data = read_file(path)
        yield data, _header(path, data, kind, max_pixels, headers_only)


def _header(path: Path, data: Source, kind: str, max_pixels: int, headers_only: bool) -> Header:
    options = {"is_kept": not headers_only} if kind == "raw" else {}
    head: Header = _guarded(lambda: _format(kind).header(data, **options), kind)
    height, width = head.size
    if height < 1 or width < 1:
        raise StillError("a picture without pixels", found=f"{width} x {height}")
    if height * width > max_pixels:
        raise StillError(
            "the picture is too large",
            found=f"{width} x {height} pixels",
            wanted=f"at most {max_pixels} pixels (--max-pixels)",
        )
    if path.suffix.lower() not in SUFFIXES[kind]:
        words = f"named {path.suffix or 'without a suffix'}, but it is {kind}: read as {kind}"
        head = replace(head, warnings=(*head.warnings, words))
    return head


def _refuse_large(data: bytes, size: int, kind: str, max_pixels: int) -> None:
    """Refuse a file that no picture of so many pixels needs, by its size and first bytes alone."""
    most = BYTES_A_PIXEL * max_pixels + _SPARE_BYTES
    if size > most:
        raise StillError(
            "the file is too large for a still",
            found=f"{size / 1e9:.1f} GB",
            wanted=f"at most {most / 1e9:.1f} GB ({BYTES_A_PIXEL} bytes a pixel of --max-pixels)",
        )
    if kind == "raw" and size > _SPARE_BYTES and not begins_like_raw(data):
        raise StillError(
            "not a raw file that can be read", found=_first_bytes(data, size), wanted="a camera's raw file"
        )


def _first_bytes(data: bytes, size: int) -> str:
    letters = takewhile(lambda c: " " <= c <= "~" and c not in "'\"\\", data[:16].decode("latin-1"))
    text = "".join(letters).strip()
    shown = text if len(text) > 2 else data[:8].hex(" ") + " in hexadecimal"
    return f"{size} bytes that begin with {shown}"


def _format(kind: str) -> ModuleType:
    from importlib import import_module

    names = {"JPEG": "jpeg", "PNG": "png", "TIFF": "tiff", "HEIF": "heif", "AVIF": "heif", "WebP": "webp"}
    return import_module(
        "lookdev.stills." + {**names, "OpenEXR": "exr", "raw": "raw", **dict.fromkeys(OTHERS, "others")}[kind]
    )


def _guarded(work: Any, kind: str) -> Any:
    """Run a decoder; whatever a broken file leads it to becomes one line."""
    broken = f"this {kind} file is broken or cut short"
    try:
        return work()
    except StillError:
        raise
    except MemoryError as error:
        raise StillError(f"this {kind} file needs more memory than there is") from error
    except Exception as error:  # decoders raise anything on broken files
        said = error.args[0] if error.args and isinstance(error.args[0], bytes) else str(error)
        words = " ".join((said.decode("utf-8", "replace") if isinstance(said, bytes) else said).split())
        plain = words and " object at 0x" not in words
        raise StillError(f"{broken} ({words})" if plain else broken) from error


def _metadata(head: Header) -> Metadata:
    metadata = exif_tags.metadata_from_exif(head.exif)
    metadata = metadata if head.metadata is None else merged(head.metadata, metadata)
    projection = projection_of(head.xmp)
    return metadata if projection is None else replace(metadata, projection=projection)


def _orientation(head: Header, metadata: Metadata) -> int:
    if head.kind in ("HEIF", "AVIF", "raw", "OpenEXR", "TIFF"):
        return head.orientation
    return metadata.orientation


def _read(
    path: Path,
    data: Source,
    head: Header,
    max_edge_px: int | None,
    salvage: bool,
    enough_px: int | None,
    balance_xy: tuple[float, float] | None,
    light_xy: tuple[float, float] | None,
    take: TakeMemory | None,
    view: View | None,
) -> Still:
    metadata = _metadata(head)
    if head.kind == "raw":
        metadata = head.extra.sensor.balanced(metadata, light_xy)
    turn = _orientation(head, metadata)
    options: dict[str, Any] = {"salvage": salvage}
    panorama = upright_size(head.size, turn)
    if view is not None:
        check_panorama(panorama, metadata.projection)
        share = panorama[1] / max(
            view_size(view, panorama[1])
        )  # so that the view, not the panorama, is enough
        enough_px = enough_px and math.ceil(enough_px * share)
        max_edge_px, view_edge_px = None, max_edge_px
    if head.kind in ("JPEG", "TIFF"):
        options["take"] = take
    if head.kind == "JPEG":
        options["reduce"] = decoder_reduction("JPEG", max(head.size), enough_px)
    if head.kind == "raw":
        reduce = decoder_reduction("raw", max(head.size), max_edge_px or enough_px)
        options |= {"balance_xy": balance_xy, "light_xy": light_xy, "reduce": reduce}
    decoded: Decoded = _guarded(lambda: _format(head.kind).decode(data, head, **options), head.kind)
    pixels, encoding, origin, warnings = _guarded(lambda: interpret(decoded, head), head.kind)
    pixels, encoding, hdr = scene_light(pixels, encoding)
    if decoded.alpha is not None:
        pixels = over_grey(pixels, decoded.alpha, encoding, decoded.premultiplied)
        warnings = (*warnings, "transparency laid over mid grey")
    pixels = upright(pixels, turn)
    whole = options.get("reduce", 1) == 1
    full_size = (int(pixels.shape[0]), int(pixels.shape[1])) if whole else panorama
    if decoded.metadata is not None:
        metadata = merged(decoded.metadata, metadata)
    if view is not None:
        check_panorama(full_size, metadata.projection)
        pixels, full_size = take_view(pixels, encoding, view), view_size(view, full_size[1])
        metadata, max_edge_px = through_lens(metadata, view), view_edge_px
        few = few_pixels(full_size)
        warnings = warnings if few is None else (*warnings, few)
    if max_edge_px is not None and max(pixels.shape[:2]) > max_edge_px:
        pixels = reduced(pixels, encoding, _fitted(full_size, max_edge_px))
    return Still(
        path=path,
        pixels=pixels,
        encoding=encoding,
        encoding_origin=origin,
        metadata=replace(metadata, orientation=turn),
        warnings=(*decoded.warnings, *head.warnings, *warnings),
        notes=(*head.notes, *((hdr_words(hdr),) if hdr else ())),
        full_size=full_size,
        hdr=hdr,
        is_panorama=view is None and is_panorama(full_size, metadata.projection),
        kind=head.kind,
    )


def decoder_reduction(kind: str, long_edge_px: int, enough_px: int | None) -> int:
    """1, 2, 4 or 8: how much smaller a still of that format comes out of its decoder for a preview.

    ``long_edge_px`` of the file; ``enough_px`` as in :func:`read_still`, None for the whole.

    >>> decoder_reduction("JPEG", 6000, 720), decoder_reduction("raw", 6000, 720)
    (4, 2)
    """
    if enough_px is None or kind not in ("JPEG", "raw"):
        return 1
    if kind == "raw":  # halving takes whole mosaic cells, which are light
        return min(2, reduction(long_edge_px, enough_px))
    return reduction(long_edge_px, MARGIN * enough_px)


def reduction(long_edge: int, least_px: int) -> int:
    """Largest of 1, 2, 4, 8 that leaves at least ``least_px``."""
    return max(n for n in (1, 2, 4, 8) if n == 1 or long_edge // n >= least_px)


def is_panorama(size: tuple[int, int], projection: str | None) -> bool:
    """2:1 or wider, or marked in XMP (GPano:ProjectionType)."""
    return projection is not None or size[1] >= PANORAMA_ASPECT * size[0]


def interpret(decoded: Decoded, head: Header) -> tuple[NDArray[Any], Encoding, str, tuple[str, ...]]:
    """RGB pixels (h, w, 3), their encoding, what decided it, and warnings."""
    warnings: tuple[str, ...] = ()
    if head.icc and not head.marking_rules:
        try:
            return _by_profile(decoded, head.icc)
        except StillError as error:
            found = f" ({error.found})" if error.found else ""
            warnings = (f"the embedded profile cannot be used: {error.problem}{found}; read without it",)
    if decoded.mode == "CMYK":
        from lookdev.stills.managed import cmyk_without_profile

        words = "CMYK without a usable profile: the colours are a guess"
        return cmyk_without_profile(decoded.pixels), get_encoding("sRGB"), "assumed sRGB", (*warnings, words)
    pixels = _three_channels(decoded)
    encoding, origin = decoded.marked or _by_marking(head)
    return pixels, _of_picture(encoding, pixels), origin, warnings


def _of_picture(encoding: Encoding, pixels: NDArray[Any]) -> Encoding:
    """Integers that are marked linear are a picture to look at; floats are scene light."""
    if not encoding.is_linear or encoding.state == "output" or pixels.dtype.kind == "f":
        return encoding
    return _as_displayed(encoding, "")


def _three_channels(decoded: Decoded) -> NDArray[Any]:
    if decoded.mode == "GREY":
        return np.repeat(decoded.pixels[..., None], 3, axis=2)
    return decoded.pixels


def _by_profile(decoded: Decoded, icc: bytes) -> tuple[NDArray[Any], Encoding, str, tuple[str, ...]]:
    from lookdev.stills.managed import convert_with_profile

    profile = parse_profile(icc)
    origin = f"embedded ICC profile '{profile.description}'"
    told = code_points(profile) if decoded.mode == "RGB" else None
    warned: tuple[str, ...] = ()
    if told is not None:
        words = f"{origin}, its cicp tag"
        marked, warned = marked_by_code_points(told[0], told[1], words, full_range=told[2])
        if marked is not None:
            return decoded.pixels, _of_picture(marked[0], decoded.pixels), marked[1], warned
    fits = (profile.is_matrix and decoded.mode != "CMYK") or (
        profile.is_grey_curve and decoded.mode == "GREY"
    )
    if fits:
        encoding = encoding_from_icc(icc)
        if encoding.state == "scene" and decoded.pixels.dtype.kind != "f":
            encoding = _as_displayed(encoding, profile.description)
        off = white_of_profile_error(icc)
        warnings = (f"the profile's white lies {off:.3f} off D50; greys are kept grey",) if off > 0.01 else ()
        return _three_channels(decoded), encoding, origin, (*warned, *warnings)
    if decoded.pixels.dtype.kind == "f":
        raise StillError("a table profile cannot be used on float pixels")
    pixels, encoding = convert_with_profile(decoded.pixels, decoded.mode, icc)
    return pixels, encoding, f"{origin}, through LittleCMS to {encoding.name}", warned


def _as_displayed(encoding: Encoding, description: str) -> Encoding:
    """Integers with a linear profile are a picture to look at, unless the profile is a scene encoding's."""
    if description == encoding.name:
        return encoding
    return replace(encoding, name=f"{encoding.name}, display-referred", state="output")


def _by_marking(head: Header) -> tuple[Encoding, str]:
    if head.marked is not None and (head.kind != "PNG" or head.marking_rules):
        return head.marked
    dcf = exif_tags.dcf_encoding_name(head.exif)
    if dcf is not None:
        return get_encoding(dcf[0]), dcf[1]
    if head.marked is not None:
        return head.marked
    return get_encoding("sRGB"), "assumed sRGB"


def over_grey(
    pixels: NDArray[Any], alpha: NDArray[Any], encoding: Encoding, premultiplied: bool
) -> NDArray[Any]:
    """Lay pixels over mid grey (0.18 of linear light), mixing in linear light, in the pixels' own type."""
    out = np.empty_like(pixels)
    grey = np.full(3, MID_GREY)
    rows = max(1, (1 << 18) // max(1, pixels.shape[1]))
    for top in range(0, len(pixels), rows):
        band = slice(top, top + rows)
        cover = np.clip(signal_of(alpha[band]), 0, 1)[..., None]
        signal = signal_of(pixels[band])
        if premultiplied and encoding.is_linear:
            light = signal + grey * (1 - cover)
        else:
            if premultiplied:
                signal = np.where(cover > 0, signal / np.maximum(cover, 1e-6), 0.0)
            light = encoding.decode(signal) * cover + grey * (1 - cover)
        mixed = code_values(encoding.encode(light), pixels.dtype)
        out[band] = np.where(cover >= 1.0, pixels[band], mixed)
    return out


def _fitted(size: tuple[int, int], max_edge_px: int) -> tuple[int, int]:
    scale = max_edge_px / max(size)
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def reduced(pixels: NDArray[Any], encoding: Encoding, size: tuple[int, int]) -> NDArray[Any]:
    """Area average in linear light to ``size`` (height, width), in the pixels' own type."""
    import cv2

    light = linear_light(pixels, encoding)
    small = cv2.resize(light, (size[1], size[0]), interpolation=cv2.INTER_AREA)
    return code_values(np.asarray(encoding.encode(small)), pixels.dtype)


def linear_light(pixels: NDArray[Any], encoding: Encoding) -> NDArray[np.float32]:
    """Linear RGB (h, w, 3) of the encoding's own primaries, by table for integer code values."""
    if pixels.dtype.kind == "f":
        light = pixels if encoding.decode is linear else encoding.decode(pixels)
        return np.asarray(light, dtype=np.float32)
    levels = 256 if pixels.dtype == np.uint8 else 65536
    ramp = np.repeat(np.arange(levels)[:, None] / (levels - 1.0), 3, axis=1)
    table = np.asarray(encoding.decode(ramp), dtype=np.float32)
    out = np.empty(pixels.shape, dtype=np.float32)
    for channel in range(3):
        np.take(table[:, channel], pixels[..., channel], out=out[..., channel])
    return out
