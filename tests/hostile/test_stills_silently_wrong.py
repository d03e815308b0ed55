"""Stills taken as good, or whose colours were wrong, without a word: each is read right or named."""

from __future__ import annotations

import io
import json
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from still_files import SRGB_COLORANTS, exif_block, fixed, picture, profile, srgb_table

from lookdev.errors import StillError
from lookdev.render.grader import Output
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Task, do_task
from lookdev.stills.reader import read_info, read_still
from lookdev.stills.summary import summary


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def line_of(path: Path) -> str:
    """The refusal of ``path``: one line that names it."""
    with pytest.raises(StillError) as caught:
        read_still(path)
    text = str(caught.value)
    assert "\n" not in text and path.name in text
    return text


# Damaged JPEGs: the decoder's warnings count


def grainy(height: int = 480, width: int = 640) -> np.ndarray:
    """A picture with grain, so that its JPEG is large for its size."""
    grain = np.random.default_rng(5).integers(-25, 26, (height, width, 3))
    return np.clip(picture(height, width).astype(int) + grain, 0, 255).astype(np.uint8)


def jpeg(mode: str = "RGB", **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(grainy()).convert(mode).save(out, "JPEG", quality=95, **options)
    return out.getvalue()


KINDS = {
    "plain": {},
    "444": {"subsampling": 0},
    "restarts": {"restart_marker_rows": 1},
    "progressive": {"progressive": True},
    "grey": {"mode": "L"},
    "cmyk": {"mode": "CMYK"},
}
GOOD = {name: jpeg(**options) for name, options in KINDS.items()}


def zeros(data: bytes) -> bytes:
    at = len(data) // 3
    return data[:at] + bytes(16_000) + data[at + 16_000 :]


def missing(data: bytes) -> bytes:
    at = len(data) // 3
    return data[:at] + data[at + 32_000 :]


def half_with_an_end(data: bytes) -> bytes:
    return data[: len(data) // 2] + b"\xff\xd9"


def header_larger_than_its_data(data: bytes) -> bytes:
    at = next(i for i in range(len(data)) if data[i : i + 2] in (b"\xff\xc0", b"\xff\xc2"))
    return data[: at + 5] + struct.pack(">HH", 960, 640) + data[at + 9 :]


Damage = Callable[[bytes], bytes]
DAMAGE = (zeros, missing, half_with_an_end, header_larger_than_its_data)


@pytest.mark.parametrize("kind", KINDS)
def test_good_jpegs_are_read_without_a_word(tmp_path: Path, kind: str) -> None:
    """Pillow's own libjpeg-turbo as second decoder, within one code (T.81 allows that)."""
    still = read_still(put(tmp_path, "a.jpg", GOOD[kind]))
    assert not [line for line in still.warnings if "CMYK" not in line]
    if kind != "cmyk":
        second = np.asarray(Image.open(io.BytesIO(GOOD[kind])).convert("RGB")).astype(int)
        assert np.abs(still.pixels.astype(int) - second).max() <= 1


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_jpeg_is_refused_or_salvaged_and_marked(tmp_path: Path, kind: str, damage: object) -> None:
    path = put(tmp_path, "d.jpg", damage(GOOD[kind]))
    assert "the picture is damaged" in (line := line_of(path)) and "--salvage" in line
    still = read_still(path, salvage=True)
    assert still.pixels.shape[2] == 3
    assert any("salvaged from a damaged file" in warning for warning in still.warnings)
    with pytest.raises(StillError, match="damaged"):  # the reduced picture of sheets is held to the same
        read_still(path, enough_px=40)


def test_damage_anywhere_is_seen() -> None:
    """16 kB of zeros at forty places in the scan of a JPEG."""
    from lookdev.stills import jpeg as ours

    data = GOOD["plain"]
    first = (ours.header_end(data) or 0) + 20
    for at in np.linspace(first, len(data) - 16_010, 40).astype(int):
        bad = data[:at] + bytes(16_000) + data[at + 16_000 :]
        with pytest.raises(StillError, match="damaged"):
            ours.decode(bad, ours.header(bad))


def test_a_progressive_jpeg_that_ends_after_any_scan(tmp_path: Path) -> None:
    """T.81 G.1.1.1: the decoder itself takes a picture that lacks scans as good."""
    from lookdev.stills import jpeg as ours

    data = GOOD["progressive"]
    scans = [start for code, start, _ in ours.segments(data) if code == 0xDA]
    assert len(scans) > 4
    for start in scans[1:]:
        cut = data[:start] + b"\xff\xd9"
        line = line_of(put(tmp_path, "p.jpg", cut))
        assert "scans are missing" in line
        assert Image.open(io.BytesIO(cut)).convert("RGB").size == (640, 480)  # which another reader takes


def test_a_jpeg_with_a_harmless_oddity_is_no_damage(tmp_path: Path) -> None:
    """A JFIF revision of the future: libjpeg warns of it, and every pixel is right."""
    data = GOOD["plain"].replace(b"JFIF\0\x01\x01", b"JFIF\0\x07\x01", 1)
    still = read_still(put(tmp_path, "j.jpg", data))
    assert still.warnings == () and still.encoding_origin == "assumed sRGB"
    assert np.array_equal(still.pixels, read_still(put(tmp_path, "k.jpg", GOOD["plain"])).pixels)


def test_salvage_is_marked_on_pages_and_in_the_summary(tmp_path: Path) -> None:
    from lookdev.looks.model import Look

    path = put(tmp_path, "d.jpg", zeros(GOOD["plain"]))
    look = Look(title="as it stood")
    task = Task(path, (Output(look, tmp_path / "out" / "d.jpg"),), thumbnails=tmp_path / "t", salvage=True)
    result, row = do_task(task), do_preview(task)
    assert result.error is None and row.error is None
    assert any("salvaged" in line for line in result.warnings)
    assert any("salvaged" in line for line in row.warnings)
    assert "salvaged" in json.dumps(summary(read_still(path, salvage=True)))
    refused = do_task(Task(path, (Output(look, tmp_path / "out" / "e.jpg"),)))
    assert (
        refused.error is not None and "d.jpg" in refused.error and not (tmp_path / "out" / "e.jpg").exists()
    )


def test_salvage_is_marked_on_the_sheet_and_in_summary_json(tmp_path: Path) -> None:
    """The command itself: the sheet's words, by pypdf, and summary.json."""
    import pypdf
    from typer.testing import CliRunner

    from lookdev.cli.main import app

    scout = tmp_path / "scout"
    scout.mkdir()
    put(scout, "d.jpg", zeros(GOOD["plain"]))
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\nd.jpg,Quay,3200,5600\n")
    look = tmp_path / "plain.toml"
    look.write_text('title = "Plain"\n')
    out = tmp_path / "out"
    words = ["batch", str(scout), "--looks", str(look), "--out", str(out), "--salvage"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.output
    assert "salvaged" in (out / "summary.json").read_text()
    pages = [page.extract_text() for pdf in out.rglob("*.pdf") for page in pypdf.PdfReader(pdf).pages]
    assert pages and any("salvaged" in " ".join(text.split()) for text in pages)


def test_a_profile_with_a_segment_missing_is_named(tmp_path: Path) -> None:
    """ICC.1:2022 annex B.4: a profile in several APP2 segments, of which one is lost."""
    from lookdev.stills import jpeg as ours

    whole = ours.with_segments(jpeg(), exif_block({0x0110: "Tin"}), bytes(150_000))
    for lost in (0, 1, 2):
        parts = [(s, e) for code, s, e in ours.segments(whole) if code == 0xE2]
        assert len(parts) == 3
        start, end = parts[lost]
        still = read_still(put(tmp_path, "i.jpg", whole[:start] + whole[end:]))
        assert still.warnings == ("the embedded profile is incomplete (2 of 3 segments): read without it",)


# HDR photographs


def hdr_codes(signal: float, bits: int = 10) -> np.ndarray:
    return np.full((64, 64, 3), round(signal * ((1 << bits) - 1)), np.uint16)


def hdr_avif(codes: np.ndarray, transfer: int, primaries: int = 9) -> bytes:
    import imagecodecs

    return imagecodecs.avif_encode(
        codes,
        bitspersample=10,
        level=100,
        pixelformat="444",
        primaries=primaries,
        transfer=transfer,
        matrix=0,
    )


def hdr_heic(codes: np.ndarray, transfer: int, primaries: int = 9) -> bytes:
    import pillow_heif

    out = io.BytesIO()
    height, width = codes.shape[:2]
    file = pillow_heif.from_bytes(
        mode="RGB;16", size=(width, height), data=(codes.astype(np.uint16) << 6).tobytes()
    )
    file.save(out, quality=-1, chroma=444, color_primaries=primaries, transfer_characteristics=transfer)
    return out.getvalue()


HDR = {"heic": hdr_heic, "avif": hdr_avif}
PQ, HLG = 16, 18
# ITU-R BT.2408-7 table 1: nominal signal levels, percent, in PQ and HLG; reflectance of the card
LEVELS = [("grey card", 18, 38, 38, 0.18), ("HDR Reference White", 203, 58, 75, 1.0)]


@pytest.mark.parametrize("kind", HDR)
@pytest.mark.parametrize("level", LEVELS, ids=lambda level: level[0])
@pytest.mark.parametrize("transfer", [PQ, HLG])
def test_hdr_levels_are_those_of_bt_2408(tmp_path: Path, kind: str, level: tuple, transfer: int) -> None:
    """The table rounds to whole percents: 38 % HLG is 0.1815, 58 % PQ is 200 cd/m2, 38 % PQ 26."""
    percent = level[2 if transfer == PQ else 3]
    still = read_still(put(tmp_path, f"h.{kind}", HDR[kind](hdr_codes(percent / 100), transfer)))
    assert still.encoding.state == "scene" and still.hdr is not None
    assert still.hdr.name == {PQ: "BT.2100 PQ", HLG: "BT.2100 HLG"}[transfer]
    light = still.encoding.to_working(still.signal()[30, 30])
    assert light == pytest.approx([level[4]] * 3, rel=0.035)
    assert any("HDR picture" in note and "own rendering" in note for note in still.notes)


def test_pq_is_display_light_and_hlg_scene_light_as_colour_science_has_them(tmp_path: Path) -> None:
    """colour-science's BT.2100: the inverse OETF of HLG; PQ's EOTF, then the inverse of HLG's OOTF."""
    import colour

    rng = np.random.default_rng(2)
    codes = np.repeat(np.repeat(rng.integers(100, 900, (8, 8, 3)), 8, axis=0), 8, axis=1).astype(np.uint16)
    signal = codes[::8, ::8] / 1023
    white = colour.models.oetf_inverse_BT2100_HLG(0.75)

    hlg = read_still(put(tmp_path, "h.avif", hdr_avif(codes, HLG)))
    got = hlg.encoding.to_working(hlg.signal()[4::8, 4::8])
    assert got == pytest.approx(colour.models.oetf_inverse_BT2100_HLG(signal) / white, rel=1e-3)

    pq = read_still(put(tmp_path, "p.avif", hdr_avif(codes, PQ)))
    display = colour.models.eotf_ST2084(signal)
    wanted = colour.models.ootf_inverse_BT2100_HLG(display, L_B=0, L_W=1000, gamma=1.2) / white
    assert pq.pixels.dtype == np.float32
    assert pq.encoding.to_working(pq.signal()[4::8, 4::8]) == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize("verb", ["batch", "sheet", "handoff"])
def test_no_verb_ends_at_an_hdr_photograph(tmp_path: Path, verb: str) -> None:
    from typer.testing import CliRunner

    from lookdev.cli.main import app

    scout = tmp_path / "scout"
    scout.mkdir()
    codes = np.linspace(60, 1000, 64 * 64 * 3).reshape(64, 64, 3).astype(np.uint16)
    for kind, make in HDR.items():
        for transfer in (PQ, HLG):
            put(scout, f"{kind}{transfer}.{kind}", make(codes, transfer))
    put(scout, "plain.jpg", GOOD["plain"])
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Quay,3200,5600\n")
    look = tmp_path / "plain.toml"
    look.write_text('title = "Plain"\n[curve]\ncontrast = 1.1\n')
    out = tmp_path / "out"
    option = "--look" if verb == "handoff" else "--looks"
    words = [verb, str(scout), option, str(look), "--out", str(out)]
    result = CliRunner().invoke(app, words + (["--encoding", "ACEScct"] if verb == "handoff" else []))
    assert result.exit_code == 0, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "Traceback" not in result.output
    if verb == "batch":
        graded = sorted(path.name for path in out.rglob("*__plain.jpg"))
        assert len(graded) == 5
        notes = json.loads((out / "summary.json").read_text())["locations"][0]["stills"]
        assert sum(any("HDR picture" in note for note in still["notes"]) for still in notes) == 4


@pytest.mark.parametrize("kind", HDR)
@pytest.mark.parametrize("transfer", [PQ, HLG])
def test_an_hdr_photograph_is_graded_as_the_look_says(tmp_path: Path, kind: str, transfer: int) -> None:
    """The written SDR still against the look function itself, in float64; and it is a plain sRGB file."""
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.looks.model import Curve, Look

    codes = np.linspace(100, 1000, 64 * 64 * 3).reshape(64, 64, 3).astype(np.uint16)
    path = put(tmp_path, f"h.{kind}", HDR[kind](codes, transfer))
    look = Look(title="firm", curve=Curve(contrast=1.2))
    result = do_task(Task(path, (Output(look, tmp_path / "o" / "h.png"),)))
    assert result.error is None
    still, written = read_still(path), read_still(tmp_path / "o" / "h.png")
    assert written.encoding == SRGB
    wanted = look.transform(still.encoding, SRGB)(still.signal()) * 255
    assert np.abs(written.pixels - wanted).max() < 1.6 and np.abs(written.pixels - wanted).mean() < 0.4


def test_the_refusal_to_write_hdr_names_the_file(tmp_path: Path) -> None:
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.looks.model import Look

    path = put(tmp_path, "a.jpg", GOOD["plain"])
    for name in ("BT.2100 PQ", "BT.2100 HLG"):
        output = Output(Look(title="x"), tmp_path / "o" / "a.png", target=get_encoding(name), bits=16)
        result = do_task(Task(path, (output,)))
        assert len(result.errors) == 1 and "a.png" in result.errors[0] and name in result.errors[0]
        assert not output.path.exists()


# Markings: code points, cicp tags, chunks


def cicp_png(primaries: int, transfer: int, *more: tuple[bytes, bytes], full: int = 1) -> bytes:
    import cv2

    from lookdev.stills.png import insert_chunks

    plain = cv2.imencode(".png", picture()[..., ::-1])[1].tobytes()
    return insert_chunks(plain, [(b"cICP", bytes([primaries, transfer, 0, full])), *more])


def light_by_h273(signal: np.ndarray, primaries: int, transfer: int) -> np.ndarray:
    """Linear BT.2020 by colour-science's tables of H.273; the curves written out from H.273 table 3."""
    import colour
    from colour.models.rgb import itut_h_273 as h273

    display = {4: lambda v: v**2.2, 5: lambda v: v**2.8, 6: lambda v: v**2.4, 8: lambda v: v}
    display |= {11: display[6], 17: lambda v: 52.37 / 48 * v**2.6}
    display[13] = lambda v: np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    space = colour.RGB_Colourspace(
        "h", h273.COLOUR_PRIMARIES_ITUTH273[primaries], h273.CCS_WHITEPOINTS_ITUTH273[primaries]
    )
    target = colour.RGB_COLOURSPACES["ITU-R BT.2020"]
    return colour.RGB_to_RGB(
        display[transfer](signal), space, target, chromatic_adaptation_transform="Bradford"
    )


@pytest.mark.parametrize(
    "points",
    [
        (12, 8),
        (9, 4),
        (12, 4),
        (12, 5),
        (12, 17),
        (11, 17),
        (6, 6),
        (5, 13),
        (4, 4),
        (8, 13),
        (22, 6),
        (9, 11),
    ],
)
def test_code_points_are_read_as_the_standard_says(tmp_path: Path, points: tuple[int, int]) -> None:
    still = read_still(put(tmp_path, "c.png", cicp_png(*points)))
    assert still.warnings == () and still.encoding_origin.startswith("PNG cICP chunk")
    got = still.encoding.to_working(still.signal())
    assert np.abs(got - light_by_h273(still.signal(), *points)).max() < 2e-3


@pytest.mark.parametrize("points", [(10, 13), (1, 7), (1, 9), (1, 12), (0, 1), (77, 13), (1, 200)])
def test_code_points_that_are_not_understood_are_named(tmp_path: Path, points: tuple[int, int]) -> None:
    still = read_still(put(tmp_path, "c.png", cicp_png(*points)))
    assert still.encoding_origin == "assumed sRGB"
    assert f"code points {points[0]}, {points[1]} (ITU-T H.273) are not understood" in still.warnings[0]


def test_half_said_code_points(tmp_path: Path) -> None:
    assert read_still(put(tmp_path, "c.png", cicp_png(2, 2))).warnings == ()
    still = read_still(put(tmp_path, "c.png", cicp_png(12, 2)))
    assert still.encoding.name == "Display P3" and "leave the curve open" in still.warnings[0]


def cicp_profile(primaries: int, transfer: int) -> bytes:
    """A profile whose curves say sRGB and whose cicp tag (ICC.1:2022 10.3) says what it really is."""
    tag = b"cicp\0\0\0\0" + bytes([primaries, transfer, 0, 1])
    colorants = {
        name: b"XYZ \0\0\0\0" + fixed(*xyz)
        for name, xyz in zip((b"rXYZ", b"gXYZ", b"bXYZ"), SRGB_COLORANTS, strict=True)
    }
    curves = dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), srgb_table(64))
    return profile({**colorants, **curves, b"cicp": tag}, version=4, name="Room")


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif", "a.avif", "a.heic"])
def test_the_cicp_tag_of_a_profile_rules_over_its_curves(tmp_path: Path, name: str) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    icc = cicp_profile(9, HLG)
    path = tmp_path / name
    Image.fromarray(picture(64, 64)).save(path, icc_profile=icc)
    still = read_still(path)
    assert still.encoding.name == "BT.2100 HLG, scene light" and still.hdr is not None
    assert still.encoding_origin == "embedded ICC profile 'Room', its cicp tag: BT.2100 HLG"


def test_a_cicp_tag_that_is_not_understood_is_named_and_the_curves_are_used(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture()).save(path, icc_profile=cicp_profile(10, 13))
    still = read_still(path)
    assert still.encoding.name == "sRGB" and "code points 10, 13" in still.warnings[0]


def test_cicp_chunk_rules_over_iccp(tmp_path: Path) -> None:
    """PNG third edition 4.3 and 11.3.2.6: cICP before iCCP, sRGB, gAMA and cHRM."""
    import zlib

    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.stills.icc import profile_bytes

    iccp = (b"iCCP", b"x\0\0" + zlib.compress(profile_bytes(get_encoding("Adobe RGB"))))
    still = read_still(put(tmp_path, "c.png", cicp_png(9, HLG, iccp)))
    assert still.hdr is not None and still.encoding_origin == "PNG cICP chunk: BT.2100 HLG"
    unknown = read_still(put(tmp_path, "d.png", cicp_png(10, 13, iccp)))
    assert unknown.encoding.name == "Adobe RGB" and "code points 10, 13" in unknown.warnings[0]


def test_hdr_code_points_beside_a_profile_that_cannot_say_hdr() -> None:
    """A picture marked HLG by nclx that carries an SDR profile too, for older readers."""
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.stills.heif import _marking
    from lookdev.stills.icc import profile_bytes

    plain = profile_bytes(get_encoding("Display P3"))
    for transfer, icc, rules in (
        (HLG, plain, True),
        (PQ, plain, True),
        (13, plain, False),
        (HLG, cicp_profile(9, HLG), False),
    ):
        told = _marking({"color_primaries": 9, "transfer_characteristics": transfer}, icc)
        assert told["marking_rules"] is rules


def test_chrm_without_gama(tmp_path: Path) -> None:
    import cv2

    from lookdev.stills.png import insert_chunks

    plain = cv2.imencode(".png", picture()[..., ::-1])[1].tobytes()
    p3 = struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
    still = read_still(put(tmp_path, "c.png", insert_chunks(plain, [(b"cHRM", p3)])))
    assert still.encoding.space.name == "P3-D65" and "cHRM chunk without gAMA" in still.warnings[0]
    got = still.encoding.to_working(still.signal())
    assert np.abs(got - light_by_h273(still.signal(), 12, 13)).max() < 1e-3


# Table profiles: no colour is cut without a word


def table_space(primaries: str) -> bytes:
    """A lut16Type profile (ICC.1:2022 10.10), gamma 2.4 with the primaries of an encoding, to XYZ.

    The PCS is XYZ (6.3.4.2: 1.0 is 32768), as L*a*b* of 16 bits ends before BT.2020's green.
    """
    from lookdev.colorimetry.adaptation import adaptation_matrix
    from lookdev.colorimetry.encodings import get_encoding

    space = get_encoding(primaries).space
    adapt = adaptation_matrix(space.white_xy, (0.9642 / 2.7891, 1.0 / 2.7891))
    nodes = 17
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, nodes)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    xyz = (grid**2.4) @ (adapt @ space.to_xyz).T
    values = np.clip(np.floor(xyz * 32768 + 0.5), 0, 65535).astype(">u2")
    ramp = struct.pack(">2H", 0, 65535)
    lut = b"mft2\0\0\0\0" + bytes([3, 3, nodes, 0]) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    lut += struct.pack(">HH", 2, 2) + ramp * 3 + values.tobytes() + ramp * 3
    return profile({b"A2B0": lut}, space=b"RGB ", kind=b"scnr", pcs=b"XYZ ", name="Table room")


@pytest.mark.parametrize("primaries", ["BT.709", "Adobe RGB", "Display P3", "BT.2020"])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_table_profile_keeps_its_gamut(tmp_path: Path, primaries: str, bits: int) -> None:
    """The nodes of the table, which need no interpolation, against the primaries themselves, in light."""
    import tifffile

    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.colorimetry.rgb_spaces import WORKING, matrix_between

    grid = np.stack(np.meshgrid(*[np.array([0.0, 0.25, 0.5, 0.75, 1.0])] * 3, indexing="ij"), axis=-1)
    signal = np.repeat(np.repeat(grid.reshape(5, 25, 3), 8, axis=0), 8, axis=1)
    top, kind = (255, np.uint8) if bits == 8 else (65535, np.uint16)
    codes = np.floor(signal * top + 0.5).astype(kind)
    path = tmp_path / "t.tif"
    tifffile.imwrite(path, codes, photometric="rgb", iccprofile=table_space(primaries), metadata=None)
    still = read_still(path)
    space = get_encoding(primaries).space
    wanted = (codes / top) ** 2.4 @ matrix_between(space, WORKING).T
    bt2020 = get_encoding("BT.2020")
    got = bt2020.encode(still.encoding.to_working(still.signal()))
    off = np.abs(got - bt2020.encode(np.maximum(wanted, 0))) * 255
    assert off[wanted.min(axis=-1) > 0.01].max() < 3  # where a code is a code: not in the deepest shadow
    expected = {"BT.709": "sRGB", "Adobe RGB": "Adobe RGB", "Display P3": "Display P3", "BT.2020": "BT.2020"}
    assert still.encoding.name == expected[primaries] or still.encoding.name == "BT.2020"


# TIFF and OpenEXR of other kinds: read right, or refused by name


def test_twelve_bit_tiff(tmp_path: Path) -> None:
    """Packed 12-bit samples written by hand (TIFF 6.0: bits of the next sample follow at once)."""
    import tifffile

    codes = np.linspace(0, 4095, 24 * 32 * 3).round().astype(np.uint16).reshape(24, 32, 3)
    bits = np.unpackbits(codes.astype(">u2").view(np.uint8).reshape(24, -1, 2), axis=2)
    packed = np.packbits(bits.reshape(24, -1, 16)[:, :, 4:].reshape(24, -1), axis=1)
    path = tmp_path / "t.tif"
    with tifffile.TiffWriter(path) as file:
        file.write(
            iter([packed.tobytes()]),
            shape=(24, 32, 3),
            dtype=np.uint16,
            bitspersample=12,
            photometric="rgb",
            rowsperstrip=24,
            metadata=None,
        )
    still = read_still(path)
    assert still.pixels.dtype == np.uint16
    assert np.array_equal(still.pixels, np.floor(codes / 4095 * 65535 + 0.5).astype(np.uint16))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("photometric", [8, 9])
def test_cielab_tiff(tmp_path: Path, bits: int, photometric: int) -> None:
    """Against colour-science's CIE L*a*b* under D50 (TIFF 6.0 section 23; ICCLab: TIFF Technical Note 4)."""
    import colour
    import tifffile

    lab = np.array([[50, 20, -30], [90, -10, 40], [20, 15, 5], [100, 0, 0], [0, 0, 0], [60, 60, 50]], float)
    unit, kind = (1, "i1") if bits == 8 else (256, "i2")
    full = 255 if bits == 8 else (65535 if photometric == 8 else 65280)
    lightness = np.round(lab[:, :1] / 100 * full).astype(int)
    ab = np.round((lab[:, 1:] + (128 if photometric == 9 else 0)) * unit).astype(int)
    codes = np.concatenate([lightness, ab], axis=1).astype("i8")
    picture_ = np.tile(codes.astype(kind.replace("i", "u"))[None], (4, 1, 1))
    path = tmp_path / "t.tif"
    tifffile.imwrite(path, picture_, photometric=photometric, metadata=None)
    still = read_still(path)
    xy = (0.9642 / 2.7891, 1.0 / 2.7891)
    exact = np.concatenate([lightness / full * 100, ab / unit - (128 if photometric == 9 else 0)], axis=1)
    wanted = colour.XYZ_to_RGB(
        colour.Lab_to_XYZ(exact, xy), "ITU-R BT.2020", xy, chromatic_adaptation_transform="Bradford"
    )
    got = still.encoding.to_working(still.signal()[0])
    assert still.encoding_origin.startswith("TIFF of CIE L*a*b*")
    assert got == pytest.approx(np.maximum(wanted, 0), abs=1e-3)


@pytest.mark.parametrize(
    ("photometric", "words"),
    [(32803, "CFA"), (34892, "LinearRaw"), (32845, "LogLuv"), (32844, "LogL"), (10, "ITU"), (4, "mask")],
)
def test_tiffs_that_are_no_pictures_yet_are_refused_by_name(
    tmp_path: Path, photometric: int, words: str
) -> None:
    import tifffile

    shape = (16, 16) if photometric in (32803, 32844, 4) else (16, 16, 3)
    out = io.BytesIO()
    tifffile.imwrite(out, np.full(shape, 90, np.uint16), photometric="minisblack", planarconfig=None)
    data = bytearray(out.getvalue())
    at = data.index(struct.pack("<HHI", 262, 3, 1))
    data[at + 8 : at + 10] = struct.pack("<H", photometric)
    assert words in line_of(put(tmp_path, "r.tif", bytes(data)))


@pytest.mark.parametrize("place", ["next page", "SubIFD"])
def test_a_thumbnail_that_comes_first_is_not_the_picture(tmp_path: Path, place: str) -> None:
    import tifffile

    path = tmp_path / "t.tif"
    small, large = picture(24, 32), picture(96, 128)
    with tifffile.TiffWriter(path) as file:
        below = {"subifds": 1} if place == "SubIFD" else {}
        file.write(small, photometric="rgb", subfiletype=1, metadata=None, **below)
        file.write(large, photometric="rgb", subfiletype=0, metadata=None)
    still = read_still(path)
    assert np.array_equal(still.pixels, large) and "reduced" in still.notes[0]
    assert read_info(path)[0] == (96, 128)


def rationals(*values: float) -> tuple[int, ...]:
    return tuple(part for v in values for part in (round(v * 100_000), 100_000))


P3_TAGS = [
    (318, 5, 2, rationals(0.3127, 0.3290), True),
    (319, 5, 6, rationals(0.680, 0.320, 0.265, 0.690, 0.150, 0.060), True),
]


@pytest.mark.parametrize("bits", [8, 16])
def test_tiff_primaries_and_transfer_function(tmp_path: Path, bits: int) -> None:
    """TIFF 6.0 section 20; the values by colour-science's tables, as above."""
    import tifffile

    table = np.arange(1 << bits) / ((1 << bits) - 1)
    curve = np.where(table <= 0.04045, table / 12.92, ((table + 0.055) / 1.055) ** 2.4)
    transfer = (301, 3, 1 << bits, tuple(np.round(curve * 65535).astype(int).tolist()), True)
    path = tmp_path / "t.tif"
    tifffile.imwrite(
        path, picture(bits=bits), photometric="rgb", metadata=None, extratags=[transfer, *P3_TAGS]
    )
    still = read_still(path)
    assert still.encoding_origin.startswith("TIFF PrimaryChromaticities and TransferFunction")
    assert still.warnings == ()
    got = still.encoding.to_working(still.signal())
    assert np.abs(got - light_by_h273(still.signal(), 12, 13)).max() < 1e-3


def test_tiff_primaries_alone(tmp_path: Path) -> None:
    import tifffile

    path = tmp_path / "t.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", metadata=None, extratags=P3_TAGS)
    still = read_still(path)
    assert still.encoding.space.name == "P3-D65" and "power of 2.2 is assumed" in still.warnings[0]
    assert (
        np.abs(still.encoding.to_working(still.signal()) - light_by_h273(still.signal(), 12, 4)).max() < 1e-3
    )
    light = picture(bits=16).astype(np.float32) / 65535
    tifffile.imwrite(path, light, photometric="rgb", metadata=None, extratags=P3_TAGS)
    floats = read_still(path)
    assert floats.encoding.space.name == "P3-D65" and floats.encoding.state == "scene"


def exr(channels: dict[str, np.ndarray]) -> bytes:
    import OpenEXR

    out = io.BytesIO()
    with OpenEXR.File({"type": OpenEXR.scanlineimage}, channels) as file:
        file.write(out)
    return out.getvalue()


def test_exr_luminance_and_chroma(tmp_path: Path) -> None:
    """OpenEXR, technical introduction: RY = (R - Y) / Y, BY = (B - Y) / Y, Y by the primaries (BT.709)."""
    rgb = picture(bits=16).astype(np.float32) / 65535 + 0.05
    y = (rgb @ np.array([0.2126, 0.7152, 0.0722])).astype(np.float32)
    parts = {"Y": y, "RY": (rgb[..., 0] - y) / y, "BY": (rgb[..., 2] - y) / y}
    still = read_still(put(tmp_path, "y.exr", exr(parts)))
    assert np.abs(still.pixels - rgb).max() < 2e-3
    grey = read_still(put(tmp_path, "g.exr", exr({"Y": y})))
    assert np.array_equal(grey.pixels[..., 0], grey.pixels[..., 2])


@pytest.mark.parametrize("names", [["R"], ["R", "G"], ["Z"], ["G", "B"], ["Y", "RY"], ["A"]])
def test_exr_of_half_a_colour_is_refused_by_name(tmp_path: Path, names: list[str]) -> None:
    one = np.ones((16, 16), np.float32)
    line = line_of(put(tmp_path, "r.exr", exr(dict.fromkeys(names, one))))
    assert ", ".join(sorted(names)) in line


# Of our own: what was still taken in silence after the above


def test_zeros_between_a_whole_picture_and_its_end_are_no_damage(tmp_path: Path) -> None:
    data = GOOD["plain"]
    whole = read_still(put(tmp_path, "a.jpg", data)).pixels
    for padding in (b"\0" * 60, b"\0" * 100_000, b"\xff" * 60):
        still = read_still(put(tmp_path, "p.jpg", data[:-2] + padding + data[-2:]))
        assert still.warnings == () and np.array_equal(still.pixels, whole)
    assert "damaged" in line_of(put(tmp_path, "q.jpg", data[:-2] + b"\x55" * 60 + data[-2:]))
    assert "damaged" in line_of(put(tmp_path, "r.jpg", data[:-9_000] + bytes(8_998) + data[-2:]))


@pytest.mark.parametrize("size", [0, 3, 5])
def test_a_cicp_chunk_of_the_wrong_size(tmp_path: Path, size: int) -> None:
    import cv2

    from lookdev.stills.png import insert_chunks

    plain = cv2.imencode(".png", picture())[1].tobytes()
    still = read_still(put(tmp_path, "c.png", insert_chunks(plain, [(b"cICP", bytes(size))])))
    assert still.warnings == (f"PNG cICP chunk of {size} bytes, where 4 belong: not used",)


def test_a_png_profile_that_cannot_be_unpacked(tmp_path: Path) -> None:
    import cv2

    from lookdev.stills.png import insert_chunks

    plain = cv2.imencode(".png", picture())[1].tobytes()
    still = read_still(put(tmp_path, "c.png", insert_chunks(plain, [(b"iCCP", b"x\0\0garbage")])))
    assert still.warnings == ("the embedded profile cannot be unpacked: read without it",)


def test_linear_light_of_narrow_range(tmp_path: Path) -> None:
    still = read_still(put(tmp_path, "c.png", cicp_png(1, 8, full=0)))
    assert "read as full range" in still.warnings[0]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"extratags": [(319, 5, 6, (0, 0) * 6, True)]}, "PrimaryChromaticities that cannot be read"),
        ({"extratags": [(319, 5, 6, (1, 3) * 6, True)]}, "that no colour space has"),
        ({"extratags": [(318, 5, 2, (1, 3, 1, 3), True)]}, "WhitePoint alone"),
        ({"subfiletype": 1}, "a reduced picture only"),
    ],
)
def test_tiffs_that_say_half(tmp_path: Path, options: dict, words: str) -> None:
    import tifffile

    path = tmp_path / "t.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", metadata=None, **options)
    assert words in read_still(path).warnings[0]


def bmp_v5(kind: bytes, tail: bytes = b"") -> bytes:
    """A BMP with a BITMAPV5HEADER of the colour space ``kind``; ``tail`` is its profile."""
    pixels = picture(40, 56)
    rows = pixels[::-1, :, ::-1].tobytes()
    head = struct.pack("<IiiHHIIiiII", 124, 56, 40, 1, 24, 0, len(rows), 0, 0, 0, 0) + bytes(16)
    head += kind[::-1] + (b"\x01" * 36 if kind == bytes(4) else bytes(36)) + bytes(12) + struct.pack("<I", 4)
    head += struct.pack("<III", 124 + len(rows), len(tail), 0)
    return b"BM" + struct.pack("<IHHI", 138 + len(rows) + len(tail), 0, 0, 138) + head + rows + tail


def test_the_colour_space_of_a_bmp(tmp_path: Path) -> None:
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.stills.icc import profile_bytes

    icc = profile_bytes(get_encoding("Display P3"))
    still = read_still(put(tmp_path, "a.bmp", bmp_v5(b"MBED", icc)))
    assert still.encoding.name == "Display P3" and np.array_equal(still.pixels, picture(40, 56))
    assert read_still(put(tmp_path, "b.bmp", bmp_v5(b"sRGB"))).warnings == ()
    assert "another file" in read_still(put(tmp_path, "c.bmp", bmp_v5(b"LINK", b"p.icc"))).warnings[0]
    assert "primaries" in read_still(put(tmp_path, "d.bmp", bmp_v5(bytes(4)))).warnings[0]


def test_the_colour_space_of_a_jpeg_2000(tmp_path: Path) -> None:
    """ISO/IEC 15444-1 I.5.3.3: method 2 holds a profile, method 1 a number (16 is sRGB)."""
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.stills.icc import profile_bytes

    out = io.BytesIO()
    Image.fromarray(picture(40, 56)).save(out, "JPEG2000", irreversible=False)
    data = out.getvalue()
    at, head = data.index(b"colr") - 4, data.index(b"jp2h") - 4

    def with_colour(body: bytes) -> bytes:
        box = struct.pack(">I4s", 8 + len(body), b"colr") + body
        made = data[:at] + box + data[at + 15 :]
        size = int.from_bytes(data[head : head + 4], "big") + len(box) - 15
        return made[:head] + struct.pack(">I", size) + made[head + 4 :]

    assert read_still(put(tmp_path, "a.jp2", data)).warnings == ()
    icc = profile_bytes(get_encoding("Display P3"))
    still = read_still(put(tmp_path, "b.jp2", with_colour(b"\2\0\0" + icc)))
    assert still.encoding.name == "Display P3" and np.array_equal(still.pixels, picture(40, 56))
    other = read_still(put(tmp_path, "c.jp2", with_colour(b"\1\0\0" + struct.pack(">I", 20))))
    assert "colour space 20 is not read" in other.warnings[0]
