"""What an encoding may be called: exactly, or by whole words that one name alone has; never another's log."""

from __future__ import annotations

import pytest

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import encoding_names, get_encoding
from lookdev.colorimetry.log_encodings import pairs
from lookdev.errors import RequestError


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("LogC4", "ARRI LogC4 ARRI Wide Gamut 4"),
        ("logc3", "ARRI LogC3 ARRI Wide Gamut 3"),
        ("nlog", "N-Log N-Gamut"),  # letters that stand in "Canon Log" too
        ("S-Log", "S-Log S-Gamut"),  # exact before part: S-Log2 and S-Log3 have it too
        ("F-Log", "F-Log F-Gamut"),
        ("Apple Log", "Apple Log Profile ITU-R BT.2020"),
        ("Log3G10", "Log3G10 REDWideGamutRGB"),
        ("v-gamut", "V-Log V-Gamut"),
        ("LogC4 narrow", "ARRI LogC4 ARRI Wide Gamut 4 narrow"),
        ("pq", "BT.2100 PQ"),
    ],
)
def test_part_of_a_name(typed: str, name: str) -> None:
    assert get_encoding(typed).name == name


@pytest.mark.parametrize(
    ("typed", "both"),
    [
        ("LogC", ("ARRI LogC3", "ARRI LogC4")),
        ("Canon", ("Canon Log 2 Cinema Gamut", "Canon Log 3 Cinema Gamut")),
        ("clog3", ("Canon Log 3 Cinema Gamut", "Canon Log 3 ITU-R BT.2020")),
        ("P3", ("Display P3", "P3-D65")),
        ("log 3", ("Canon Log 3", "S-Log3")),
    ],
)
def test_two_are_asked_back(typed: str, both: tuple[str, str]) -> None:
    with pytest.raises(RequestError, match="more than one") as error:
        get_encoding(typed)
    assert all(name in str(error.value) for name in both)


@pytest.mark.parametrize("typed", ["3", "2020", "log9", "xlog3", "", "canonlo"])
def test_what_is_no_name_is_refused(typed: str) -> None:
    with pytest.raises(RequestError):
        get_encoding(typed)


def test_a_short_name_never_means_another_makers_log() -> None:
    """Every log by its own name, with and without punctuation: itself, or its own gamuts asked back."""
    for name, (log, _) in pairs().items():
        for typed in (log, log.replace("-", ""), log.lower().replace(" ", "")):
            try:
                assert get_encoding(typed).name in [n for n, pair in pairs().items() if pair[0] == log]
            except RequestError as error:
                assert name in str(error), typed


def test_the_listing(capsys: pytest.CaptureFixture[str]) -> None:
    def listed(*arguments: str) -> str:
        with pytest.raises(SystemExit) as stop:
            main(["encodings", *arguments])
        assert not stop.value.code
        return capsys.readouterr().out

    short, whole = listed(), listed("--all")
    assert "ACEScc " in short and "BT.2100 PQ" in short and "V-Log" not in short and "--all" in short
    lines = whole.splitlines()[1:]
    assert lines.index(next(x for x in lines if "V-Log" in x)) > len(short.splitlines()) - 3
    assert [line[:12].strip() for line in lines[:3]] == ["sRGB", "Display P3", "Adobe RGB"]
    assert "V-Log V-Gamut" in listed("v-log")
    for left_out in ("DaVinci", "T-Log"):
        assert not any(left_out in name for name in encoding_names())
    assert get_encoding("DaVinci Intermediate DaVinci Wide Gamut").state == "scene"
