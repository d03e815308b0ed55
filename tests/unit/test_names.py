"""Names of files: safe anywhere, and none of them twice."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import encoding_names, get_encoding
from lookdev.files import safe_name
from lookdev.lut.naming import cube_tail
from lookdev.names import Names, location_names, look_names, place_names, still_stems

AWKWARD = st.lists(
    st.one_of(
        st.text(max_size=8), st.sampled_from(["a", "A", "a_2", "a/b", "a b", "CON", "\U0001f3ac", "a."])
    ),
    max_size=12,
)


def one_file(name: str) -> str:
    """What a file system that ignores case and composition takes the name for."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", name).casefold())


def test_no_location_has_the_name_of_anothers_further_page():
    """NAME_2.png is the second page of NAME, and the overview has a name of its own."""
    places = ["Net loft", "Net loft 2", "Net/loft", "Overview", "overview 3", "Quay 1", "Quay 2", "net loft"]
    assert list(location_names(places).values()) == [
        "Net_loft", "Net_loft-2", "Net_loft-3", "Overview-2", "overview-3", "Quay_1", "Quay_2", "net_loft-4",
    ]  # fmt: skip


@given(AWKWARD)
def test_names_differ_on_every_file_system(texts):
    for paged in (False, True):
        names = Names(paged=paged)
        given_out = [one_file(names.unique(text)) for text in texts]
        assert len(set(given_out)) == len(texts)


@given(AWKWARD)
def test_stems_of_stills_differ(texts):
    stills = [f"{text}.jpg" for text in dict.fromkeys(texts)]
    stems = still_stems(stills)
    assert len({one_file(stem) for stem in stems.values()}) == len(stills)


def test_names_of_devices_and_of_pictures_alone():
    """Windows keeps CON for a device, whatever its letters; an emoji is no letter."""
    assert look_names(["con", "CON", "\U0001f3ac", "\U0001f3ac\U0001f3ac", "end."]) == [
        "con_", "con__2", "unnamed", "unnamed_2", "end",
    ]  # fmt: skip


def test_two_halls_have_two_names():
    places = [("Hall A/B", "Hall A/B"), ("Hall A B", "Hall A B"), ("Hall A B, window", "Hall A B")]
    assert len(set(place_names(places, ["Hall A/B", "Hall A B"]))) == 3


def test_a_lut_name_fits_any_file_system():
    """255 bytes is the longest name on the file systems in common use; cut names still differ."""
    encoding = get_encoding(max(encoding_names(), key=len))
    names, stem = Names(), f"{safe_name('Ω' * 400)}@{safe_name('Ł' * 400)}"
    found = {names.file(stem, cube_tail(encoding, encoding, 1024)) for _ in range(12)}
    assert len(found) == 12 and all(len(name.encode()) <= 255 for name in found)
    assert all(name.endswith(".1024.cube") for name in found)
