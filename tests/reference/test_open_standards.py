"""What a handoff holds by open standards: an OpenColorIO configuration and ACES Metadata Files.

OpenColorIO (PyPI) loads the configuration and must give the numbers of the .cube files, which colour-science
reads for itself here. The rules of the ACES Metadata File are those of acesMetadataFile.xsd, version 2.0,
namespace urn:ampas:aces:amf:v2.0 (Academy S-2019-001; github.com/ampas/aces-amf), read, and written down by
hand below: no package of the registry has the schema.
"""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path
from xml.etree import ElementTree

import colour
import numpy as np
import PyOpenColorIO as OCIO  # noqa: N814
import pytest

from lookdev.colorimetry.encodings import ACESCCT, BT709, get_encoding
from lookdev.jobs.handoff_standards import write_standards
from lookdev.looks.model import Look
from lookdev.looks.toml_file import load_look
from lookdev.lut.bake import export_cube
from lookdev.lut.cdl import ccc_text, fit_cdl
from lookdev.lut.process_list import read_clf

LOOK = load_look(Path(__file__).parent.parent / "fixed_looks" / "slack_water.toml")
PLACE = "Loading dock 3, Østkai"
AMF, CDL = "{urn:ampas:aces:amf:v2.0}", "{urn:ASC:CDL:v1.01}"


def made(folder: Path, date: str | None, source=ACESCCT, target=BT709) -> list[str]:
    def cube(look: Look, to, name: str):
        return export_cube(look, source, to, folder / "luts" / name, size=9)

    other = LOOK.model_copy(update={"strength": 0.5})
    places = {None: cube(LOOK, target, "slack.cube"), PLACE: cube(other, target, "slack@dock.cube")}
    places["Quay"] = places[PLACE]  # places may share a LUT
    fits = [
        ("slack", fit_cdl(LOOK, source, target, colours=200)),
        ("slack@dock", fit_cdl(other, source, target, colours=200, place=PLACE)),
    ]
    (folder / "cdl").mkdir()
    (folder / "cdl/slack.ccc").write_text(ccc_text(fits, "n"))
    plain = cube(Look(title="plain"), target if target.state == "output" else BT709, "plain.cube")
    before = cube(LOOK, source, "before.cube")
    return write_standards(folder, "slack", LOOK, source, target, places, fits, plain, before, date)


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("package")
    made(folder, "2031-03-04")
    return folder


def through(config: OCIO.Config, transform) -> np.ndarray:
    values = np.random.default_rng(3).random((500, 3)).astype(np.float32)
    processor = config.getProcessor(transform).getOptimizedCPUProcessor(OCIO.OPTIMIZATION_LOSSLESS)
    processor.applyRGB(values)
    return values


def by_colour(path: Path) -> np.ndarray:
    lut = colour.read_LUT(str(path))
    values = np.random.default_rng(3).random((500, 3)).astype(np.float32)
    return lut.apply(values, interpolator=colour.algebra.table_interpolation_tetrahedral)


def test_every_view_gives_the_numbers_of_its_cube(package: Path) -> None:
    config = OCIO.Config.CreateFromFile(str(package / "config.ocio"))
    config.validate()
    assert list(config.getDisplays()) == ["BT.709"]
    title = LOOK.title
    files = {
        title: "slack.cube",
        f"{title} at Loading dock 3 Østkai": "slack@dock.cube",
        f"{title} at Quay": "slack@dock.cube",
        "plain rendering": "plain.cube",
    }
    views = list(config.getViews("BT.709"))
    assert set(files) < set(views)
    for view, file in files.items():
        got = through(config, OCIO.DisplayViewTransform("ACEScct", "BT.709", view))
        assert np.abs(got - by_colour(package / "luts" / file)).max() < 2e-6, view


def test_every_cdl_is_a_look_and_a_view(package: Path) -> None:
    config = OCIO.Config.CreateFromFile(str(package / "config.ocio"))
    assert set(config.getLookNames()) == {"before", "slack CDL", "slack@dock CDL"}
    alone = through(config, OCIO.LookTransform("ACEScct", "ACEScct", "before"))
    assert np.abs(alone - by_colour(package / "luts/before.cube")).max() < 2e-6
    chain = OCIO.GroupTransform()
    chain.appendTransform(OCIO.FileTransform("cdl/slack.ccc", cccId="slack@dock"))
    chain.appendTransform(OCIO.FileTransform("luts/plain.cube", interpolation=OCIO.INTERP_TETRAHEDRAL))
    name = f"{LOOK.title} at Loading dock 3 Østkai as ten numbers"
    shown = through(config, OCIO.DisplayViewTransform("ACEScct", "BT.709", name))
    assert np.abs(shown - through(config, chain)).max() < 2e-6


@pytest.mark.parametrize(
    ("source", "target", "display"),
    [("S-Log3 S-Gamut3.Cine", "BT.2100 PQ", "BT.2100 PQ"), ("ACEScct", "ACEScct", "BT.709")],
)
def test_other_encodings(tmp_path: Path, source: str, target: str, display: str) -> None:
    lines = made(tmp_path, "2031-03-04", get_encoding(source), get_encoding(target))
    config = OCIO.Config.CreateFromFile(str(tmp_path / "config.ocio"))
    config.validate()
    assert list(config.getDisplays()) == [display] and source in config.getColorSpaceNames()
    assert any("None points at the CDLs" in line for line in lines) == (source != "ACEScct")


def test_the_look_for_aces_is_the_look(package: Path) -> None:
    """By OpenColorIO's own ACES2065-1 and ACEScct: its built-in transform there and back, our LUT between."""
    config = OCIO.Config.CreateRaw()
    to_aces = OCIO.BuiltinTransform("ACEScct_to_ACES2065-1")
    processor = config.getProcessor(to_aces).getOptimizedCPUProcessor(OCIO.OPTIMIZATION_LOSSLESS)
    codes = (np.random.default_rng(8).random((400, 3)) * 0.5 + 0.15).astype(np.float32)
    aces = codes.copy()
    processor.applyRGB(aces)
    wanted = LOOK.transform(ACESCCT, ACESCCT)(codes)
    got = read_clf(package / "aces/slack.aces.clf")(aces).astype(np.float32)
    back = OCIO.BuiltinTransform("ACEScct_to_ACES2065-1", OCIO.TRANSFORM_DIR_INVERSE)
    config.getProcessor(back).getOptimizedCPUProcessor(OCIO.OPTIMIZATION_LOSSLESS).applyRGB(got)
    apart = np.abs(got - wanted)
    assert np.percentile(apart, 95) < 0.002 and apart.mean() < 5e-4  # a LUT of 33 lies between


ONE, MAY, MANY = (1, 1), (0, 1), (0, 99)
INFO = [("description", MAY), ("author", MANY), ("dateTime", ONE), ("uuid", ONE)]
RULES = {
    "acesMetadataFile": [("amfInfo", ONE), ("clipId", MAY), ("pipeline", ONE), ("archivedPipeline", MANY)],
    "amfInfo": INFO,
    "pipelineInfo": [*INFO, ("systemVersion", ONE)],
    "dateTime": [("creationDateTime", ONE), ("modificationDateTime", ONE)],
    "systemVersion": [("majorVersion", ONE), ("minorVersion", ONE), ("patchVersion", ONE)],
    "pipeline": [
        ("pipelineInfo", ONE),
        ("inputTransform", MAY),
        ("lookTransform", MANY),
        ("outputTransform", MAY),
    ],
    "cdlWorkingSpace": [("toCdlWorkingSpace", MAY), ("fromCdlWorkingSpace", ONE)],
    "toCdlWorkingSpace": [("description", MAY), ("hash", MAY), ("transformId", ONE)],
    "fromCdlWorkingSpace": [("description", MAY), ("hash", MAY), ("transformId", ONE)],
    "outputTransform": [("description", MAY), ("hash", MAY), ("file", ONE)],
}
"""Children in the schema's order, how often each; of its choices those that are written."""
TEN = [("cdlWorkingSpace", ONE), ("ColorCorrectionRef", ONE), ("file", ONE)]
LOOKS = ([("description", MAY), ("hash", MAY), ("file", ONE)], [("description", MAY), ("hash", MAY), *TEN])
PATTERNS = {
    "creationDateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)?",
    "modificationDateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)?",
    "uuid": r"urn:uuid:[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}",
    "majorVersion": r"\d",
    "minorVersion": r"\d",
    "patchVersion": r"\d",
    "transformId": r"urn:ampas:aces:transformId:v2\.0:CSC\.\S+\.\S+\.a\d+\.v\d+",
    "hash": r"[A-Za-z0-9+/]{43}=",
}


def faults(element: ElementTree.Element) -> list[str]:
    name = element.tag.rpartition("}")[2]
    names = [child.tag.rpartition("}")[2] for child in element]
    found = []
    if name == "lookTransform":
        if not any(follows(names, rule) for rule in LOOKS):
            found.append(f"{name}: {names}")
    elif name in RULES and not follows(names, RULES[name]):
        found.append(f"{name}: {names}")
    elif name not in RULES and names:
        found.append(f"{name} has children")
    if name in PATTERNS and not re.fullmatch(PATTERNS[name], element.text or ""):
        found.append(f"{name}: {element.text}")
    if name in ("lookTransform", "outputTransform") and element.get("applied") not in ("true", "false"):
        found.append(f"{name} says not whether it was applied")
    space = CDL if name == "ColorCorrectionRef" else AMF
    if not element.tag.startswith(space):
        found.append(f"{element.tag}: not of {space}")
    return found + [fault for child in element for fault in faults(child)]


def follows(names: list[str], rule: list[tuple[str, tuple[int, int]]]) -> bool:
    order = [name for name, _ in rule]
    known = all(name in order for name in names)
    return (
        known
        and [order.index(name) for name in names] == sorted(order.index(name) for name in names)
        and all(least <= names.count(name) <= most for name, (least, most) in rule)
    )


def test_the_metadata_files_keep_the_rules_of_their_schema(package: Path) -> None:
    files = sorted((package / "aces").glob("*.amf"))
    assert [f.name for f in files] == ["slack.amf", "slack.cdl.amf", "slack@dock.cdl.amf"]
    uuids = []
    for file in files:
        root = ElementTree.fromstring(file.read_bytes())
        assert root.tag == f"{AMF}acesMetadataFile" and root.get("version") == "2.0"
        assert faults(root) == []
        uuids += [e.text for e in root.iter(f"{AMF}uuid")]
        for one in root.iter():
            path = one.find(f"{AMF}file")
            if path is None:
                continue
            pointed = (file.parent / path.text).resolve()
            assert pointed.is_file() and pointed.is_relative_to(package)
            digest = one.find(f"{AMF}hash")
            if digest is not None:
                assert base64.b64decode(digest.text) == hashlib.sha256(pointed.read_bytes()).digest()
            ref = one.find(f"{CDL}ColorCorrectionRef")
            if ref is not None:
                assert f'id="{ref.get("ref")}"' in pointed.read_text()
    assert len(set(uuids)) == len(uuids)


def test_the_rules_find_what_breaks_them(package: Path) -> None:
    text = (package / "aces/slack.cdl.amf").read_text()
    for old, new in (
        ('applied="false"', ""),
        ("T00:00:00Z", ""),
        ("<aces:file>../cdl", "<aces:uri>../cdl"),
        ("fromCdlWorkingSpace", "intoCdlWorkingSpace"),
        ("urn:ASC:CDL:v1.01", "urn:ASC:CDL:v1.2"),
        ("majorVersion", "mainVersion"),
        ("CSC.Academy", "XYZ.Academy"),
    ):
        broken = text.replace(old, new)
        if "uri>" in new:
            broken = broken.replace("slack.ccc</aces:file>", "slack.ccc</aces:uri>")
        assert broken != text and faults(ElementTree.fromstring(broken)), old


def test_same_input_same_bytes_and_no_date_no_file(package: Path, tmp_path: Path) -> None:
    for name, date in (("a", "2031-03-04"), ("b", None), ("c", "4 March")):
        (tmp_path / name).mkdir()
        lines = made(tmp_path / name, date)
        assert any("must bear a date" in line for line in lines) == (name != "a")
    files = [p for folder in (".", "aces") for p in (package / folder).iterdir() if p.is_file()]
    for file in files:
        assert file.read_bytes() == (tmp_path / "a" / file.relative_to(package)).read_bytes()
    assert not list((tmp_path / "b").glob("aces/*.amf")) and not list((tmp_path / "c").glob("aces/*.amf"))
