"""`lookdev paint` as people use it: commands on real files, read back."""

import csv
import hashlib
import io
import json

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.rendering import render_curve
from lookdev.paint.chip import munsell_set
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.predict import Site

LAMPS = {
    "Ferry hall": ("FL2", 4300),
    "Loading dock": ("HP1", 3200),
    "Net loft": ("D55", 5600),
    "Cabin": ("A", 3200),
}
WALLS = ("5YR 6/4", "10GY 4/4", "5PB 5/6", "N 7")
LOOK = """title = "Held back"
[balance]
keep = 0.3
mired = -8
[curve]
contrast = 1.1
[colour]
saturation = 0.8
"""


@pytest.fixture(scope="module")
def scout(tmp_path_factory):
    """Four places, each with a still of four painted walls and a grey card, made from their reflectances."""
    from lookdev.colorimetry.temperature import balance_white_xy

    base = tmp_path_factory.mktemp("paint")
    folder = base / "scout"
    folder.mkdir()
    deck = munsell_set()
    names = [c.name for c in deck.chips]
    walls = np.stack([deck.reflectances[names.index(w)] for w in WALLS] + [np.full(85, 0.18)])
    lines = ["stills;location;source;camera_balance_k;lux"]
    for place, (lamp, kelvin) in LAMPS.items():
        camera = tuple(float(v) for v in balance_white_xy(kelvin))
        light = Site(place, light_from_illuminant(lamp), camera).scene(walls)
        signal = get_encoding("sRGB").from_working(render_curve(light))
        strip = np.repeat(np.repeat(signal[None], 60, axis=0), 40, axis=1)
        pixels = np.floor(np.clip(strip, 0, 1) * 255 + 0.5).astype(np.uint8)
        still = f"{place.replace(' ', '_').lower()}.png"
        Image.fromarray(pixels).save(folder / still)
        lines.append(f"{still};{place};{lamp};{kelvin};200")
    (folder / "meter.csv").write_text("\n".join(lines), encoding="utf-8")
    (folder / "scout.toml").write_text('title = "Low water"\n', encoding="utf-8")
    (base / "held_back.toml").write_text(LOOK, encoding="utf-8")
    (base / "deck.csv").write_text(
        "name,code,munsell\nWet rope,P1,5YR 6/4\nNet green,P2,10GY 4/4\nTide,P3,5PB 5/6\nFog,P4,N 7\n",
        "utf-8",
    )
    return base


def run(*arguments):
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    return ended.value.code


def test_a_wall_picked_in_the_graded_still_gives_its_chip_first_under_every_lamp(scout, capsys):
    from lookdev.lut.received import open_look
    from lookdev.render.reference import grade_reference

    look = open_look(scout / "held_back.toml")
    from lookdev.meter.scout import load_scout
    from lookdev.paint.sites import sites_of
    from lookdev.survey.survey import survey

    sites, errors = sites_of(survey(load_scout(scout / "scout")), through_still=True)
    assert not errors and [s.name for s in sites] == list(LAMPS)
    srgb = get_encoding("sRGB")
    for site in sites:
        name = site.name.replace(" ", "_").lower()
        still = np.asarray(Image.open(scout / "scout" / f"{name}.png"))
        Image.fromarray(grade_reference(still, look.transform(srgb, srgb, site.cast))).save(
            scout / f"{name}_graded.png"
        )
        for i, wall in enumerate(WALLS):
            target = f"{scout / (name + '_graded.png')}:{40 * i + 8},10,24,30"
            status = run(
                "paint", "match", scout / "scout", target, "--looks", scout / "held_back.toml",
                "--only", site.name, "--out", scout / "paint", "--json", "--count", 3,
            )  # fmt: skip
            answer = json.loads(capsys.readouterr().out)
            assert status == 0
            assert answer["ranked"][0]["chip"] == wall, (site.name, wall)
            assert answer["ranked"][0]["worst_ciede2000"] < 1.0


def test_an_underexposed_still_needs_its_card(scout, capsys, tmp_path):
    from dataclasses import replace

    from lookdev.looks.model import Look
    from lookdev.meter.scout import load_scout
    from lookdev.paint.predict import Viewing
    from lookdev.paint.sites import sites_of
    from lookdev.survey.survey import survey

    site = next(
        s for s in sites_of(survey(load_scout(scout / "scout")), through_still=True)[0] if s.name == "Cabin"
    )
    deck = munsell_set()
    wall = deck.reflectances[[c.name for c in deck.chips].index("10GY 4/4")]
    dark = Viewing(replace(site, level_stops=-1.2), Look(title="plain"))
    strip = np.repeat(dark.screen(np.stack([wall, np.full(85, 0.18)]))[0][None], 40, axis=0).repeat(
        50, axis=1
    )
    Image.fromarray(np.floor(strip * 255 + 0.5).astype(np.uint8)).save(tmp_path / "dark.png")
    (tmp_path / "plain.toml").write_text('title = "Plain"\n', encoding="utf-8")
    for extra, first in ((["--card", "60,5,30,30"], True), ([], False)):
        status = run(
            "paint", "match", scout / "scout", f"{tmp_path / 'dark.png'}:5,5,30,30", *extra,
            "--looks", tmp_path / "plain.toml", "--only", "cabin", "--out", tmp_path / "out", "--json",
        )  # fmt: skip
        answer = json.loads(capsys.readouterr().out)
        assert status == 0
        assert (answer["ranked"][0]["chip"] == "10GY 4/4") == first
        assert any("give --card" in w for w in answer["warnings"]) != first


def test_a_wall_metered_by_itself(scout, capsys, tmp_path):
    from lookdev.meter.scout import load_scout
    from lookdev.paint.light import metered_at_the_wall
    from lookdev.paint.sites import sites_of
    from lookdev.survey.survey import survey

    site = next(
        s for s in sites_of(survey(load_scout(scout / "scout")), through_still=True)[0] if s.name == "Cabin"
    )
    wall = metered_at_the_wall(site.light, (0.46, 0.42))
    assert wall.xy == pytest.approx((0.46, 0.42), abs=1e-9)
    status = run(
        "paint", "predict", scout / "scout", "--chip", "N 7", "--looks", scout / "held_back.toml",
        "--only", "cabin", "--wall-xy", "0.46", "0.42", "--out", tmp_path / "out", "--json",
    )  # fmt: skip
    answer = json.loads(capsys.readouterr().out)["places"][0]
    assert status == 0
    assert "as metered at the wall" in answer["light"]["spectrum"]
    run(
        "paint", "predict", scout / "scout", "--chip", "N 7", "--looks", scout / "held_back.toml",
        "--only", "cabin", "--out", tmp_path / "out", "--json",
    )  # fmt: skip
    card = json.loads(capsys.readouterr().out)["places"][0]
    a = answer["columns"].index("Held back: a")
    assert answer["rows"][0][a] < card["rows"][0][a] - 1  # greener than under the lamp itself


def test_predict_says_all_there_is(scout, capsys):
    status = run(
        "paint", "predict", scout / "scout", "--chips", scout / "deck.csv",
        "--looks", scout / "held_back.toml",
        "--out", scout / "predict", "--json",
    )  # fmt: skip
    answer = json.loads(capsys.readouterr().out)
    assert status == 0 and not answer["failed"]
    columns, places = answer["chip_columns"], answer["places"]
    assert [p["place"] for p in places] == list(LAMPS) and len(answer["chips"]) == 4
    rope = dict(zip(columns, answer["chips"][0], strict=True))
    assert rope["chip"] == "Wet rope" and rope["munsell"] == "5YR 6/4"
    assert rope["from"] == "estimated from Munsell" and 28 < rope["lrv_percent"] < 31
    hall = dict(zip(places[0]["columns"], places[0]["rows"][0], strict=True))
    rows = list(csv.DictReader(io.StringIO((scout / "predict" / "predict.csv").read_text("utf-8-sig"))))
    assert len(rows) == 16 and rows[0]["Held back: hex"] == hall["Held back: hex"]
    assert float(rows[0]["Held back: nine_in_ten_within"]) == hall["Held back: nine_in_ten_within"]

    # the workbook read by another library: openpyxl
    import openpyxl

    book = openpyxl.load_workbook(scout / "predict" / "predict.xlsx")
    assert book.sheetnames == ["as made", *LAMPS]
    assert [c.value for c in book["as made"][2]][:2] == ["Wet rope", "P1"]
    assert hall["Held back: hex"] in [c.value for c in book["Ferry hall"][2]]
    pages = sorted(p.name for p in (scout / "predict").glob("*.png"))
    assert (scout / "predict" / "painter.pdf").read_bytes().startswith(b"%PDF") and len(pages) >= 4


def test_a_large_deck_gets_tables_and_pages_only_for_chips_that_are_named(scout, capsys, tmp_path):
    lines = [f"Paint {k},{k % 10 + 1}YR {k % 7 + 2}/{k % 4 + 1}" for k in range(40)]
    (tmp_path / "fan.csv").write_text("\n".join(["name,munsell", *lines]), encoding="utf-8")
    ask = ("paint", "predict", scout / "scout", "--chips", tmp_path / "fan.csv", "--only", "cabin",
           "--looks", scout / "held_back.toml")  # fmt: skip
    assert run(*ask, "--out", tmp_path / "one") == 0
    assert "tables only" in capsys.readouterr().err
    assert sorted(p.name for p in (tmp_path / "one").iterdir()) == [
        "predict.csv", "predict.json", "predict.xlsx"
    ]  # fmt: skip
    assert run(*ask, "--chip", "Paint 3", "--chip", "Paint 5", "--out", tmp_path / "two") == 0
    assert (tmp_path / "two" / "painter.pdf").exists()
    rows = (tmp_path / "two" / "predict.csv").read_text("utf-8-sig").splitlines()
    assert [r.split(",")[0] for r in rows[1:]] == ["Paint 3", "Paint 5"]


def test_sheets_show_the_very_colours_and_no_text_is_cut(scout):
    from lookdev.lut.received import open_look
    from lookdev.meter.scout import load_scout
    from lookdev.pages.paint_places import pick_list, place_pages
    from lookdev.pages.paint_report import match_page
    from lookdev.pages.painter_page import painter_document
    from lookdev.pages.swatch_page import match_sheet
    from lookdev.paint.chip_file import read_chips
    from lookdev.paint.match import match
    from lookdev.paint.predict import Viewing, predict_sites
    from lookdev.paint.sites import sites_of
    from lookdev.paint.target import parse_target
    from lookdev.survey.survey import survey

    look = open_look(scout / "held_back.toml")
    sites, _ = sites_of(survey(load_scout(scout / "scout")))
    deck = read_chips(scout / "deck.csv").chips
    found = predict_sites(deck, sites, (look,) * 5)
    target = parse_target("#8a6f5c")
    viewings = [Viewing(s, look) for s in sites]
    answer = match(target.lab, viewings, munsell_set())
    for paper in ("a4", "letter"):
        sheet = painter_document("Łódź · Øst 東 café", place_pages(found), pick_list(found), paper)
        assert sheet.faults() == []
        page = match_sheet("match", match_page(answer, target, munsell_set(), viewings), paper)
        assert page.faults() == []
    pixels = page.png_pages()[0].reshape(-1, 3)
    assert (pixels == (0x8A, 0x6F, 0x5C)).all(axis=1).sum() > 20_000


def test_same_request_same_bytes(scout, capsys):
    sums = []
    for out in ("one", "two"):
        run(
            "paint", "match", scout / "scout", "#7a6a5a",
            "--looks", scout / "held_back.toml", "--only", "cabin",
            "--out", scout / out,
        )  # fmt: skip
        sums.append(
            [
                hashlib.sha256((scout / out / f).read_bytes()).hexdigest()
                for f in ("match.pdf", "match.png", "match.csv")
            ]
        )
    assert sums[0] == sums[1]


def test_palette(scout, capsys):
    status = run(
        "paint",
        "palette",
        scout / "scout" / "net_loft.png",
        "--chips",
        scout / "deck.csv",
        "--out",
        scout / "pal",
        "--json",
    )
    answer = json.loads(capsys.readouterr().out)
    assert status == 0
    assert sum(c["share"] for c in answer["colours"]) == pytest.approx(1, abs=1e-3)
    assert (scout / "pal" / "palette_net_loft.pdf").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("match", "{scout}", "#12", "--looks", "{look}"), "not a target"),
        (("match", "{scout}", "#808080", "--looks", "{look}", "--only", "Attic"), "no such location"),
        (("match", "{scout}", "#808080", "--looks", "{look}", "--paper", "a3"), "'a3' is not one of"),
        (("match", "{scout}", "net_loft.png:500,0,10,10", "--looks", "{look}"), "outside the still"),
        (("match", "{scout}", "#808080"), "no looks given"),
        (("match", "{scout}", "#808080", "--looks", "{look}", "--wall-xy", "0.4", "0.4"), "one place"),
        (
            (
                "match",
                "{scout}",
                "#808080",
                "--looks",
                "{look}",
                "--only",
                "cabin",
                "--wall-xy",
                "0.9",
                "0.9",
            ),
            "no light has this chromaticity",
        ),
        (("match", "{scout}", "#808080", "--looks", "{look}", "--card", "1,2,3,4"), "a card without a still"),
        (("match", "{scout}", "net_loft.png:1,1,9,9", "--looks", "{look}", "--card", "1,2,3"), "not a patch"),
        (("match", "{scout}", "#808080", "--looks", "{look}", "--chips", "nothing.csv"), "nothing.csv"),
        (("predict", "{scout}", "--looks", "{look}"), "no chip"),
        (
            ("predict", "{scout}", "--looks", "{look}", "--chips", "{deck}", "--chip", "Wet ropes"),
            "Wet rope (the nearest)",
        ),
        (
            ("predict", "{scout}", "--looks", "{look}", "--chip", "N 5", "--out", "{scout}/x"),
            "inside the scout",
        ),
        (("predict", "nowhere", "--looks", "{look}", "--chip", "N 5"), "no such folder"),
        (("palette", "nowhere.jpg"), "no such still"),
    ],
)
def test_wrong_requests_are_one_line_and_status_2(scout, capsys, tmp_path, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    places = {"scout": scout / "scout", "look": scout / "held_back.toml", "deck": scout / "deck.csv"}
    status = run("paint", *[a.format(**places) for a in arguments])
    shown = capsys.readouterr()
    assert status == 2
    assert words in shown.err and shown.err.strip().count("\n") <= 1 and "Traceback" not in shown.err
    assert list(tmp_path.iterdir()) == []


def test_a_bad_row_is_named_and_the_rest_is_done(scout, capsys, tmp_path):
    (tmp_path / "deck.csv").write_text("name,munsell\nGood,5G 5/4\nBad,5Q 5/4\n", encoding="utf-8")
    status = run(
        "paint", "predict", scout / "scout", "--chips", tmp_path / "deck.csv",
        "--looks", scout / "held_back.toml",
        "--only", "cabin", "--out", tmp_path / "out",
    )  # fmt: skip
    shown = capsys.readouterr()
    assert status == 1
    assert "deck.csv, row 3, column munsell" in shown.err
    assert "Good" in shown.out and (tmp_path / "out" / "painter.pdf").exists()


def test_apart_tells_wall_from_costume_and_skin(scout, capsys, tmp_path):
    nm = list(range(400, 701, 20))
    rows = [[w, round(0.25 + 0.3 * k / 15, 3)] for k, w in enumerate(nm)]
    text = "nm,forearm\n" + "\n".join(f"{w},{v}" for w, v in rows)
    (tmp_path / "skins.csv").write_text(text, encoding="utf-8")
    status = run(
        "paint", "apart", scout / "scout", "Tide", "5PB 5/4", "--chips", scout / "deck.csv",
        "--skins", tmp_path / "skins.csv", "--looks", scout / "held_back.toml", "--only", "cabin",
        "--out", tmp_path / "out", "--json",
    )  # fmt: skip
    answer = json.loads(capsys.readouterr().out)
    assert status == 0
    assert {(p["one"], p["two"]) for p in answer["pairs"]} == {
        ("Tide · P3", "5PB 5/4"), ("Tide · P3", "forearm"), ("5PB 5/4", "forearm")
    }  # fmt: skip
    assert (tmp_path / "out" / "apart.csv").exists()
    assert run("paint", "apart", scout / "scout", "N 5", "--skins", "none", "--out", tmp_path / "two") == 2
    capsys.readouterr()
    wall = ("paint", "apart", scout / "scout", "N 5", "--only", "cabin", "--looks", scout / "held_back.toml")
    assert run(*wall, "--out", tmp_path / "wall", "--json") == 0
    skins = {p["two"] for p in json.loads(capsys.readouterr().out)["pairs"]}
    assert skins == {
        f"{name} skin" for name in ("very light", "light", "intermediate", "tan", "brown", "dark")
    }
