"""TIFF 6.0, BigTIFF and TIFF/EP tags, through tifffile."""

from __future__ import annotations

import io
import logging
import math
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.encodings import Encoding, get_encoding, linear
from lookdev.errors import StillError
from lookdev.stills.curves import Curves, TableCurve
from lookdev.stills.formats import Decoded, Header, TakeMemory
from lookdev.stills.marking import Marked, encoding_from_chromaticities, space_from_chromaticities
from lookdev.stills.still import code_values, spread

_GREY_WHITE_IS_ZERO, _GREY, _RGB, _PALETTE, _SEPARATED, _YCBCR = 0, 1, 2, 3, 5, 6
_CIELAB, _ICCLAB = 8, 9
_READ = (_GREY_WHITE_IS_ZERO, _GREY, _RGB, _PALETTE, _SEPARATED, _YCBCR, _CIELAB, _ICCLAB)
_OTHERS = {
    4: "a transparency mask",
    10: "ITU L*a*b*",
    32803: "an undeveloped mosaic (CFA)",
    32844: "LogL",
    32845: "LogLuv",
    34892: "undeveloped sensor light (LinearRaw)",
    51177: "a depth map",
}
_MAX_STRIP_ENTRIES = 4_000_000
_WHITE_POINT, _PRIMARIES, _TRANSFER = 318, 319, 301
_DEFAULT_EXPONENT = 2.2  # TIFF 6.0 section 20, TransferFunction: the default is a power of 2.2


def _picture_page(source: BinaryIO) -> tuple[Any, int, int]:
    """The first page that is a picture of full size, how many came before it, and how many pages there are.

    TIFF 6.0, NewSubfileType bit 0: a reduced picture of another page. It may come first, with the full one
    after it or in its SubIFDs (TIFF Technical Note 1). Of many pages only the first are looked at.
    """
    import tifffile

    log = logging.getLogger("tifffile")
    if not log.handlers:
        log.addHandler(logging.NullHandler())  # it logs damaged tags; without a handler, on standard error
    source.seek(0)
    file = tifffile.TiffFile(source)
    first: Any = file.pages[0]
    pages = [first]
    for number in range(1, _MOST_PAGES):
        try:
            pages.append(file.pages[number])
        except Exception:  # no more, or damaged from here on
            break
    below = list(first.pages) if first.subifds else []
    for number, page in enumerate([*pages, *below]):
        whole = page.aspage() if hasattr(page, "aspage") else page
        if not int(whole.subfiletype) & 1:
            return whole, number, len(pages)
    return first, 0, len(pages)


_MOST_PAGES = 16


def header(source: BinaryIO) -> Header:
    """Size, profile, tags; no pixel is read."""
    page, number, count = _picture_page(source)
    if len(page.dataoffsets) > _MAX_STRIP_ENTRIES:
        raise StillError("cannot be decoded", found=f"{len(page.dataoffsets)} strips")
    tag = page.tags.get(274)
    orientation = int(tag.value) if tag is not None and tag.value in range(1, 9) else 1
    photometric, sample_format = int(page.photometric), int(page.sampleformat)
    bits = int(page.bitspersample)
    is_float = sample_format == 3
    if photometric not in _READ:
        raise StillError(
            "this kind of TIFF is not read",
            found=_OTHERS.get(photometric, f"photometric interpretation {photometric}"),
            wanted="RGB, grey, CMYK or CIE L*a*b*",
        )
    is_lab = photometric in (_CIELAB, _ICCLAB)
    if sample_format not in (1, 3, 4, *((2,) if is_lab else ())) or (is_float and bits not in (16, 32, 64)):
        raise StillError(
            "this kind of TIFF is not read", found=f"sample format {sample_format}, {bits} bits per sample"
        )
    xmp = page.tags.get(700)
    notes: tuple[str, ...] = ()
    if number:
        notes = (f"the first {number} pictures in the file are reduced ones: the full one is read",)
    elif count > 1:
        notes = ("file of several pages: the first is read",)
    marked, warnings = _marking(page, is_float)
    if int(page.subfiletype) & 1:
        warnings = (*warnings, "the file holds a reduced picture only (NewSubfileType 1)")
    return Header(
        kind="TIFF",
        size=(int(page.imagelength), int(page.imagewidth)),
        orientation=orientation,
        icc=None if is_lab else _bytes(page.tags.get(34675)),
        exif=None if page.parent.is_bigtiff else source,
        xmp=_bytes(xmp),
        marked=marked,
        notes=notes,
        warnings=warnings,
        extra=(photometric, is_float),
        bytes_per_pixel=max(3, int(page.samplesperpixel)) * (4 if is_float else -(-bits // 8)),
    )


def _marking(page: Any, is_float: bool) -> tuple[Marked | None, tuple[str, ...]]:
    """What WhitePoint, PrimaryChromaticities and TransferFunction say (TIFF 6.0 section 20)."""
    primaries = _ratios(page.tags.get(_PRIMARIES), 6)
    if primaries is None and (_PRIMARIES in page.tags or _WHITE_POINT in page.tags):
        name = "PrimaryChromaticities" if _PRIMARIES in page.tags else "WhitePoint"
        said = f"TIFF {name} {'that cannot be read' if _PRIMARIES in page.tags else 'alone'}: not used"
        return (_assumed_float() if is_float else None), (said,)
    white = _ratios(page.tags.get(_WHITE_POINT), 2)
    curves = _curves(page.tags.get(_TRANSFER), int(page.bitspersample))
    assumed = _assumed_float()
    if primaries is None:
        unused = curves is not None and not is_float
        more = ("TIFF TransferFunction without PrimaryChromaticities: not used",) if unused else ()
        return (assumed if is_float else None), more
    words = "TIFF PrimaryChromaticities"
    warnings: tuple[str, ...] = ()
    if white is None:
        white, warnings = [0.3127, 0.3290], (f"{words} without WhitePoint: D65 is assumed",)
    space = space_from_chromaticities([*white, *primaries])
    if space is None:
        return (assumed if is_float else None), (f"{words} that no colour space has: not used",)
    if is_float:
        made = Encoding(f"Linear {space.name}", words, "scene", space, linear, linear)
        return (made, f"float TIFF: scene-linear, {words}"), warnings
    if curves is not None:
        back = Curves(curves.red, curves.green, curves.blue, inverted=True)
        made = Encoding(f"curves of the file, {space.name}", words, "output", space, curves, back)
        return (made, f"{words} and TransferFunction: {made.name}"), warnings
    found = encoding_from_chromaticities([*white, *primaries], _DEFAULT_EXPONENT)
    if found is None:
        return None, (f"{words} that no colour space has: not used",)
    if found.name != "sRGB":
        warnings = (*warnings, f"{words} without TransferFunction: a power of 2.2 is assumed (TIFF 6.0)")
    return (found, f"{words}: {found.name}"), warnings


def _assumed_float() -> Marked:
    return get_encoding("Linear BT.709"), "float TIFF: scene-linear, BT.709 primaries assumed"


def _ratios(tag: Any, count: int) -> list[float] | None:
    if tag is None or not isinstance(tag.value, tuple) or len(tag.value) != 2 * count:
        return None
    parts = [float(v) for v in tag.value]
    if any(parts[i + 1] == 0 for i in range(0, 2 * count, 2)):
        return None
    return [parts[i] / parts[i + 1] for i in range(0, 2 * count, 2)]


def _curves(tag: Any, bits: int) -> Curves | None:
    """One or three tables of 2^bits values of 0 to 65535."""
    if tag is None or bits > 16:
        return None
    size = 1 << bits
    try:
        values = np.ravel(np.asarray(tag.value, dtype=np.float64)) / 65535
    except (TypeError, ValueError):
        return None
    if len(values) not in (size, 3 * size):
        return None
    tables = [TableCurve(tuple(table.tolist())) for table in values.reshape(-1, size)]
    if any(table.entries[-1] <= table.entries[0] for table in tables):
        return None
    return Curves(tables[0], tables[len(tables) // 2], tables[-1])


def _bytes(tag: Any) -> bytes | None:
    if tag is None:
        return None
    value = tag.value
    return bytes(value) if isinstance(value, (bytes, tuple, list)) else None


def decode(
    source: BinaryIO,
    head: Header,
    *,
    salvage: bool = False,
    reduce: int = 1,
    take: TakeMemory | None = None,
) -> Decoded:
    """Pixels of the picture's page; 9 to 15 bits are spread over 16.

    Those of a file that is not compressed are read into memory from ``take``. The file itself is never in
    memory: tifffile's objects know each other, and what they hold stays until the collector comes by.
    """
    page, _, _ = _picture_page(source)
    photometric, is_float = head.extra
    size, bits = head.size, int(page.bitspersample)
    raw_ycbcr = photometric == _YCBCR and int(page.compression) not in (6, 7)
    is_lab = photometric in (_CIELAB, _ICCLAB)
    if raw_ycbcr or photometric == _PALETTE or (bits < 8 and not is_lab):
        return _by_pillow(source, page)
    if bits > 16 and bits not in (32, 64):
        raise StillError("this kind of TIFF is not read", found=f"{bits} bits per sample")
    pixels = page.asarray(out=_memory(page, take), maxworkers=1)
    pixels = _interleaved(np.asarray(pixels), page, size)
    if is_lab:
        return _from_lab(pixels, photometric, bits)
    pixels, warnings = _plain_numbers(pixels, is_float, bits)
    extra = tuple(int(v) for v in page.extrasamples)
    colours = {_RGB: 3, _YCBCR: 3, _SEPARATED: 4}.get(photometric, 1)
    if pixels.shape[2] < colours:
        raise StillError("cannot be decoded", found=f"{pixels.shape[2]} samples where {colours} belong")
    alpha, premultiplied = None, False
    if pixels.shape[2] > colours and extra[:1] in ((1,), (2,)):
        alpha, premultiplied = pixels[..., colours], extra[0] == 1
    body = pixels[..., :colours]
    if photometric == _SEPARATED:
        if body.dtype == np.uint16:
            body = (body >> 8).astype(np.uint8)
        return Decoded(np.ascontiguousarray(body), "CMYK", warnings=warnings)
    if colours == 1:
        body = body[..., 0]
        if photometric == _GREY_WHITE_IS_ZERO and not is_float:
            body = np.iinfo(body.dtype).max - body
        return Decoded(np.ascontiguousarray(body), "GREY", alpha, premultiplied, warnings)
    return Decoded(np.ascontiguousarray(body), "RGB", alpha, premultiplied, warnings)


def _memory(page: Any, take: TakeMemory | None) -> NDArray[Any] | None:
    """Memory for all of a page's pixels, where they are read as they lie in the file; else None."""
    if take is None or not page.is_contiguous or page.dtype is None:
        return None
    shape, dtype = tuple(page.shaped), np.dtype(page.dtype).newbyteorder("=")
    memory: NDArray[Any] = take(math.prod(shape) * dtype.itemsize).view(dtype)
    return memory.reshape(shape)


def _by_pillow(source: BinaryIO, page: Any) -> Decoded:
    from PIL import Image

    from lookdev.stills.formats import pillow_without_limit

    source.seek(0)
    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(source.read()), formats=("TIFF",))
    if isinstance(page.index, int) and page.index:
        image.seek(page.index)
    elif not isinstance(page.index, int):
        raise StillError("this kind of TIFF is not read", found="a picture of few bits in a SubIFD")
    if image.mode in ("1", "L"):
        return Decoded(np.asarray(image.convert("L")), "GREY")
    if image.mode in ("I;16", "I", "F"):
        raise StillError("this kind of TIFF is not read", found=f"{int(page.bitspersample)} bits per sample")
    return Decoded(np.asarray(image.convert("RGB")))


_LAB_BAND_PIXELS = 1 << 18


def _from_lab(pixels: NDArray[Any], photometric: int, bits: int) -> Decoded:
    """16-bit BT.2020 code values of CIE L*a*b* under D50, 1976 (TIFF 6.0 section 23; TIFF Technical Note 4).

    L* 0 to 100 fills the codes; a* and b* are whole numbers, of a 256th in 16 bits, signed (CIELab) or
    with 128 added (ICCLab).
    """
    if pixels.shape[2] < 3 or bits not in (8, 16) or pixels.dtype.kind == "f":
        raise StillError("this kind of TIFF is not read", found=f"CIE L*a*b* of {bits} bits")
    target = get_encoding("BT.2020")
    to_rgb = target.space.from_xyz @ adaptation_matrix(_PCS_D50_XY, target.space.white_xy)
    unsigned, signed = ("u1", "i1") if bits == 8 else ("u2", "i2")
    full_l, unit = (255.0, 1.0) if bits == 8 else (65535.0 if photometric == _CIELAB else 65280.0, 256.0)
    out = np.empty((*pixels.shape[:2], 3), dtype=np.uint16)
    rows = max(1, _LAB_BAND_PIXELS // pixels.shape[1])
    for top in range(0, len(pixels), rows):
        codes = pixels[top : top + rows, :, :3]
        lightness = codes[..., 0].astype(unsigned).astype(np.float64) / full_l * 100
        if photometric == _CIELAB:
            ab = codes[..., 1:].astype(signed).astype(np.float64) / unit
        else:
            ab = codes[..., 1:].astype(unsigned).astype(np.float64) / unit - 128
        fy = (lightness + 16) / 116
        f = np.stack([fy + ab[..., 0] / 500, fy, fy - ab[..., 1] / 200], axis=-1)
        xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * _PCS_D50
        out[top : top + rows] = code_values(target.encode(np.maximum(xyz @ to_rgb.T, 0.0)), np.uint16)
    return Decoded(out, "RGB", marked=(target, "TIFF of CIE L*a*b* under D50, as 16-bit BT.2020"))


_PCS_D50 = np.array([0.9642, 1.0, 0.8249])
_PCS_D50_XY = (0.9642 / 2.7891, 1.0 / 2.7891)


def _interleaved(pixels: NDArray[Any], page: Any, size: tuple[int, int]) -> NDArray[Any]:
    """(h, w, samples) whatever the planar configuration."""
    samples = int(page.samplesperpixel)
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    elif int(page.planarconfig) == 2 and samples > 1 and pixels.shape[0] == samples:
        pixels = np.moveaxis(pixels, 0, -1)
    if pixels.ndim != 3 or pixels.shape[:2] != size:
        raise StillError("cannot be decoded", found=f"an array of {' x '.join(map(str, pixels.shape))}")
    return pixels


def _plain_numbers(pixels: NDArray[Any], is_float: bool, bits: int) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Native uint8, uint16 or finite float32; what was changed is said."""
    if not is_float:
        if pixels.dtype.itemsize > 2:
            return (pixels >> (8 * (pixels.dtype.itemsize - 2))).astype(np.uint16), ()
        if bits not in (8, 16):
            return spread(pixels, bits), ()
        return pixels.astype(pixels.dtype.newbyteorder("="), copy=False), ()
    light = pixels.astype(np.float32)
    return finite(light)


_FINITE_ROWS = 64


def finite(light: NDArray[Any]) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Float pixels with NaN and infinities set to 0 and to half float's largest, and the words for it."""
    rows = range(0, len(light), _FINITE_ROWS)  # of the whole it would be a picture of its own
    if all(np.isfinite(light[top : top + _FINITE_ROWS]).all() for top in rows):
        return light, ()
    bad = int(np.count_nonzero(~np.isfinite(light)))
    mended = np.nan_to_num(light, nan=0.0, posinf=65504.0, neginf=-65504.0)
    return mended, (f"{bad} values that are no numbers were set to 0 or to the largest",)
