"""ICC profiles: matrix/TRC profiles to encodings at full precision, and encodings to profiles.

ICC.1:2022 (profile version 4.4) clauses 7.2 (header), 9 (tags), 10 (tag types). Table profiles and CMYK go
through LittleCMS instead (:mod:`lookdev.stills.managed`). Curves are parsed here because LittleCMS, as it is
bound for Python, converts pixels and does not give the curves out.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.adaptation import adaptation_matrix, xy_from_xyz
from lookdev.colorimetry.encodings import Encoding, Power, get_encoding
from lookdev.colorimetry.rgb_spaces import RGBSpace, matrix_between
from lookdev.errors import StillError
from lookdev.stills.curves import Curve, Curves, ParametricCurve, TableCurve

Array = NDArray[np.float64]

D50_XYZ = (0.9642, 1.0, 0.8249)  # ICC.1:2022 7.2.16, the PCS illuminant
_PCS_D50_XY = (0.9642 / 2.7891, 1.0 / 2.7891)

_DISPLAYS = ("sRGB", "Display P3", "Adobe RGB", "BT.709", "BT.2020", "Gamma 2.2", "Gamma 2.4", "Gamma 2.6")
_KNOWN = (*_DISPLAYS, "P3-D65", "ACEScg", "ACES2065-1", "Linear BT.2020", "Linear BT.709")
_SAME_MATRIX = 1e-3
_SAME_CODE = 0.15 / 255


@dataclass(frozen=True)
class ProfileEncoding(Encoding):
    """An encoding that a profile describes and no standard here does; it carries its profile."""

    profile: bytes = field(default=b"", repr=False, compare=False)


@dataclass(frozen=True)
class Profile:
    """The parts of an ICC profile that decide how it is read.

    Attributes
    ----------
    description : the profile's own name.
    colour_space : "RGB", "GRAY", "CMYK", "Lab", ... as the header says.
    device_class : "mntr", "scnr", "prtr", "spac", ...
    tags : tag signature to its data.
    """

    description: str
    colour_space: str
    device_class: str
    pcs: str
    tags: dict[str, bytes]

    @property
    def is_matrix(self) -> bool:
        """RGB with colorants and curves, and no table that would take precedence (ICC.1:2022 8.2 to 8.4)."""
        wanted = ("rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC")
        tables = ("A2B0", "A2B1", "D2B0", "D2B1")
        return (
            self.colour_space == "RGB"
            and self.pcs == "XYZ"
            and all(tag in self.tags for tag in wanted)
            and not any(tag in self.tags for tag in tables)
        )

    @property
    def is_grey_curve(self) -> bool:
        """Grey with one curve and no table."""
        return self.colour_space == "GRAY" and "kTRC" in self.tags and "A2B0" not in self.tags


def parse_profile(data: bytes) -> Profile:
    """Read a profile's header and tag table.

    Raises
    ------
    StillError : it is no ICC profile, or its tags reach outside it.
    """
    if len(data) < 132 or data[36:40] != b"acsp":
        raise StillError("not an ICC profile", wanted="'acsp' at byte 36")
    count = struct.unpack_from(">I", data, 128)[0]
    if count == 0 or count > 200 or 132 + 12 * count > len(data):
        raise StillError("broken ICC profile", found=f"{count} tags in {len(data)} bytes")
    tags: dict[str, bytes] = {}
    for i in range(count):
        name, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * i)
        if offset < 128 or size < 8 or offset + size > len(data):
            raise StillError("broken ICC profile", found=f"tag {_ascii(name)} outside the profile")
        tags.setdefault(_ascii(name), data[offset : offset + size])
    return Profile(
        _description(tags.get("desc", b"")),
        _ascii(data[16:20]),
        _ascii(data[12:16]),
        _ascii(data[20:24]),
        tags,
    )


def has_cicp(data: bytes) -> bool:
    """Whether a profile has a cicp tag; False for what is no profile."""
    try:
        return "cicp" in parse_profile(data).tags
    except StillError:
        return False


def code_points(profile: Profile) -> tuple[int, int, bool] | None:
    """Primaries, transfer and full range of a profile's cicp tag (ICC.1:2022 9.2.17, 10.3), or None.

    The tag is for RGB (and YCbCr, XYZ) data of input and display profiles. Where there is one it says exactly
    what curves and tables of the profile only come near, or cut at display white.
    """
    tag = profile.tags.get("cicp", b"")
    if profile.colour_space != "RGB" or tag[:4] != b"cicp" or len(tag) < 12:
        return None
    return tag[8], tag[9], tag[11] == 1


def _ascii(raw: bytes) -> str:
    return raw.decode("ascii", "replace").strip("\0 ")


def _description(tag: bytes) -> str:
    """Text of a textDescriptionType (ICC.1:2001 6.5.17) or multiLocalizedUnicodeType (ICC.1:2022 10.15)."""
    text = ""
    if tag[:4] == b"desc" and len(tag) >= 12:
        size = struct.unpack_from(">I", tag, 8)[0]
        text = tag[12 : 12 + min(size, 512)].decode("latin-1")
    elif tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + min(size, 1024)].decode("utf-16-be", "replace")
    clean = "".join(c for c in text if c.isprintable()).strip()
    return clean or "without a name"


def _xyz(tag: bytes) -> Array:
    if tag[:4] != b"XYZ " or len(tag) < 20:
        raise StillError("broken ICC profile", found="a colorant that is no XYZ value")
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536.0


_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}


def parse_curve(tag: bytes) -> Curve:
    """A curveType or parametricCurveType tag.

    Raises
    ------
    StillError : another type, or a curve that cannot be used (cut short, not increasing, no number).
    """
    kind = tag[:4]
    if kind == b"curv" and len(tag) >= 12:
        count = struct.unpack_from(">I", tag, 8)[0]
        if count == 0:
            return ParametricCurve(1.0)
        if 12 + 2 * count > len(tag):
            raise StillError("broken ICC profile", found=f"curve of {count} entries cut short")
        values = np.frombuffer(tag, ">u2", count, 12)
        if count == 1:
            return _checked_power(float(values[0]) / 256.0)
        if values[-1] <= values[0]:
            raise StillError("broken ICC profile", found="a curve that does not rise")
        return TableCurve(tuple((values / 65535.0).tolist()))
    if kind == b"para" and len(tag) >= 16:
        number = struct.unpack_from(">H", tag, 8)[0]
        wanted = _PARAMETERS.get(number, 0)
        if wanted == 0 or 12 + 4 * wanted > len(tag):
            raise StillError("broken ICC profile", found=f"parametric curve of type {number}")
        return _parametric(number, [v / 65536.0 for v in struct.unpack_from(f">{wanted}i", tag, 12)])
    raise StillError("broken ICC profile", found=f"curve of type {_ascii(kind)!r}", wanted="curv or para")


def _checked_power(g: float) -> ParametricCurve:
    if not 0.05 <= g <= 20:
        raise StillError("broken ICC profile", found=f"gamma {g:g}", wanted="0.05 to 20")
    return ParametricCurve(g)


def _parametric(number: int, p: list[float]) -> Curve:
    """ICC.1:2022 table 68 in the seven parameters of type 4."""
    g = _checked_power(p[0]).g
    if number == 0:
        return ParametricCurve(g)
    a, b = p[1], p[2]
    if a <= 0:
        raise StillError("broken ICC profile", found=f"parametric curve with a = {a:g}")
    if number == 1:
        curve = ParametricCurve(g, a, b, 0.0, -b / a)
    elif number == 2:
        curve = ParametricCurve(g, a, b, 0.0, -b / a, p[3], p[3])
    elif number == 3:
        curve = ParametricCurve(g, a, b, p[3], p[4])
    else:
        curve = ParametricCurve(g, a, b, p[3], p[4], p[5], p[6])
    ends = curve(np.array([0.0, 1.0]))
    if not np.all(np.isfinite(ends)) or ends[1] - ends[0] < 1e-3 or curve.c < 0:
        raise StillError("broken ICC profile", found="a curve that does not rise")
    return curve


@lru_cache(maxsize=64)
def encoding_from_icc(data: bytes) -> Encoding:
    """The encoding that a matrix/TRC or grey-curve profile describes.

    A profile whose colorants and curves are those of a standard encoding, as near as profiles write them,
    gives that encoding itself; else an encoding of its own that decodes with the profile's curves.
    Colorants are carried from the PCS (D50) to D65 by linear Bradford (ICC.1:2022 annex E), so that device
    white is white here whatever the profile's ``chad`` says.

    Raises
    ------
    StillError : a broken profile, or one that needs LittleCMS (tables, CMYK).
    """
    profile = parse_profile(data)
    if profile.is_grey_curve:
        curve = parse_curve(profile.tags["kTRC"])
        return _known_or_own(profile, data, spaces.SRGB, Curves(curve, curve, curve))
    if not profile.is_matrix:
        raise StillError("not a matrix profile", found=f"{profile.colour_space} {profile.device_class}")
    colorants = np.stack([_xyz(profile.tags[t]) for t in ("rXYZ", "gXYZ", "bXYZ")], axis=1)
    space = space_from_colorants(colorants, profile.description)
    red, green, blue = (parse_curve(profile.tags[t]) for t in ("rTRC", "gTRC", "bTRC"))
    return _known_or_own(profile, data, space, Curves(red, green, blue))


def space_from_colorants(colorants: Array, name: str) -> RGBSpace:
    """RGB space with white D65 of a (3, 3) matrix whose columns are colorants in the D50 PCS.

    Raises
    ------
    StillError : the colorants span no colour space.
    """
    white = colorants.sum(axis=1)
    if white.min() <= 0.05 or abs(np.linalg.det(colorants)) < 1e-4 or np.abs(colorants).max() > 4:
        raise StillError("broken ICC profile", found="colorants that span no colour space")
    adapt = adaptation_matrix(_PCS_D50_XY, spaces.D65_XY)
    carried = adapt @ colorants
    sums = carried.sum(axis=0)
    if np.abs(sums).min() < 1e-3 or np.abs(carried[1]).min() < 1e-5:
        raise StillError("broken ICC profile", found="colorants that span no colour space")
    xy = [tuple(float(v) for v in xy_from_xyz(carried[:, i])) for i in range(3)]
    space = RGBSpace(name, (xy[0], xy[1], xy[2]), spaces.D65_XY, "embedded ICC profile")  # type: ignore[arg-type]
    try:
        usable = bool(np.all(np.isfinite(np.linalg.inv(space.to_xyz))))
    except np.linalg.LinAlgError:
        usable = False
    if not usable:
        raise StillError("broken ICC profile", found="colorants that span no colour space")
    return space


def _known_or_own(profile: Profile, data: bytes, space: RGBSpace, curves: Curves) -> Encoding:
    grid = np.repeat(np.arange(256.0)[:, None] / 255, 3, axis=1)
    light = curves(grid)
    matrix = matrix_between(space, spaces.WORKING)
    for name in _KNOWN:
        known = get_encoding(name)
        if np.abs(matrix_between(known.space, spaces.WORKING) - matrix).max() > _SAME_MATRIX:
            continue
        if np.abs(known.encode(light) - grid).max() <= _SAME_CODE:
            return known
    state = "scene" if curves.red == curves.green == curves.blue == ParametricCurve(1.0) else "output"
    inverse = Curves(curves.red, curves.green, curves.blue, inverted=True)
    digest = hashlib.sha256(data).hexdigest()[:8]
    return ProfileEncoding(
        f"{profile.description} (profile {digest})",
        "embedded ICC profile",
        state,
        space,
        curves,
        inverse,
        profile=data,
    )


def white_of_profile_error(data: bytes) -> float:
    """How far the sum of the colorants lies from the PCS white, largest of X, Y, Z."""
    profile = parse_profile(data)
    if not profile.is_matrix:
        return 0.0
    total = sum(_xyz(profile.tags[t]) for t in ("rXYZ", "gXYZ", "bXYZ"))
    return float(np.abs(total - np.array(D50_XYZ)).max())


_SRGB_PARAMETERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
_TABLE_SIZE = 4096


@lru_cache(maxsize=64)
def profile_bytes(encoding: Encoding) -> bytes:
    """A matrix/TRC profile, version 4.3, of an encoding; the same bytes every time.

    An encoding that came from a profile gives that profile's colours: colorants and curves as they stand
    there, and none of its words, dates, makers or other tags.

    Raises
    ------
    StillError : the encoding reaches beyond [0, 1] (log, HDR), which a matrix/TRC profile cannot say.
    """
    if isinstance(encoding, ProfileEncoding) and encoding.profile:
        return _without_words(encoding)
    adapt = adaptation_matrix(encoding.space.white_xy, _PCS_D50_XY)
    colorants = adapt @ encoding.space.to_xyz
    curve = _curve_tag(encoding)
    parts = [
        (b"desc", _mluc(encoding.name)),
        (b"cprt", _mluc("No copyright, use freely")),
        (b"wtpt", _xyz_tag(np.array(D50_XYZ))),
        (b"chad", b"sf32\0\0\0\0" + _fixed(adapt.ravel())),
        (b"rXYZ", _xyz_tag(colorants[:, 0])),
        (b"gXYZ", _xyz_tag(colorants[:, 1])),
        (b"bXYZ", _xyz_tag(colorants[:, 2])),
        (b"rTRC", curve),
        (b"gTRC", curve),
        (b"bTRC", curve),
    ]
    return _assembled(parts)


def _without_words(encoding: ProfileEncoding) -> bytes:
    tags = parse_profile(encoding.profile).tags
    if "kTRC" in tags:  # a grey still is graded in colour, by its own curve
        adapt = adaptation_matrix(encoding.space.white_xy, _PCS_D50_XY)
        columns = (adapt @ encoding.space.to_xyz).T
        colorants = [_xyz_tag(column) for column in columns]
        curves = [_bare_curve(tags["kTRC"])] * 3
    else:
        colorants = [tags[name][:20] for name in ("rXYZ", "gXYZ", "bXYZ")]
        curves = [_bare_curve(tags[name]) for name in ("rTRC", "gTRC", "bTRC")]
    parts = [
        (b"desc", _mluc("RGB of the still")),
        (b"cprt", _mluc("No copyright, use freely")),
        (b"wtpt", _xyz_tag(np.array(D50_XYZ))),
        *zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True),
        *zip((b"rTRC", b"gTRC", b"bTRC"), curves, strict=True),
    ]
    return _assembled(parts)


def _bare_curve(tag: bytes) -> bytes:
    """A curve's own bytes (ICC.1:2022 10.6, 10.18), reserved ones zero, without what may follow."""
    if tag[:4] == b"curv":
        return b"curv\0\0\0\0" + tag[8 : 12 + 2 * int(struct.unpack_from(">I", tag, 8)[0])]
    number = struct.unpack_from(">H", tag, 8)[0]
    return b"para\0\0\0\0" + tag[8:10] + b"\0\0" + tag[12 : 12 + 4 * _PARAMETERS[number]]


def _curve_tag(encoding: Encoding) -> bytes:
    decode = encoding.decode
    if decode is tf.srgb_decode:
        return _para(3, _SRGB_PARAMETERS)
    if decode is tf.bt1886_decode:
        return _para(0, (2.4,))
    if isinstance(decode, Power) and not decode.inverse:
        return _para(0, (decode.exponent,))
    if encoding.is_linear:
        return _para(0, (1.0,))
    grid = np.repeat(np.linspace(0, 1, _TABLE_SIZE)[:, None], 3, axis=1)
    light = np.asarray(decode(grid))
    if np.abs(light - light[:, :1]).max() > 1e-6 or light.min() < -1e-3 or abs(light.max() - 1) > 1e-3:
        raise StillError(
            "no ICC profile can say this encoding", found=encoding.name, wanted="one of display range 0 to 1"
        )
    values = np.floor(np.clip(light[:, 0], 0, 1) * 65535 + 0.5).astype(">u2")
    return b"curv\0\0\0\0" + struct.pack(">I", _TABLE_SIZE) + values.tobytes()


def _fixed(values: Array | tuple[float, ...]) -> bytes:
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in values)


def _xyz_tag(xyz: Array) -> bytes:
    return b"XYZ \0\0\0\0" + _fixed(xyz)


def _para(number: int, parameters: tuple[float, ...]) -> bytes:
    return b"para\0\0\0\0" + struct.pack(">HH", number, 0) + _fixed(parameters)


def _mluc(text: str) -> bytes:
    raw = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(raw), 28) + raw


def _assembled(parts: list[tuple[bytes, bytes]]) -> bytes:
    """Header, tag table and tags (ICC.1:2022 7.2, 7.3), with the profile ID of 7.2.18."""
    table, body = b"", b""
    start = 128 + 4 + 12 * len(parts)
    placed: dict[bytes, int] = {}
    for name, tag in parts:
        if tag not in placed:
            placed[tag] = start + len(body)
            body += tag + b"\0" * (-len(tag) % 4)
        table += struct.pack(">4sII", name, placed[tag], len(tag))
    size = start + len(body)
    head = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI3i4s",
        size,
        b"\0\0\0\0",
        0x04300000,
        b"mntr",
        b"RGB ",
        b"XYZ ",
        *(2025, 1, 1, 0, 0, 0),
        b"acsp",
        b"\0\0\0\0",
        0,
        b"\0\0\0\0",
        b"\0\0\0\0",
        0,
        1,
        *(round(v * 65536) for v in D50_XYZ),
        b"\0\0\0\0",
    )
    plain = head.ljust(128, b"\0") + struct.pack(">I", len(parts)) + table + body
    # 7.2.18: MD5 with flags (44 to 47), rendering intent (64 to 67) and the ID itself set to zero
    zeroed = plain[:44] + b"\0" * 4 + plain[48:64] + b"\0" * 4 + plain[68:84] + b"\0" * 16 + plain[100:]
    identity = hashlib.md5(zeroed, usedforsecurity=False).digest()
    return plain[:84] + identity + plain[100:]
