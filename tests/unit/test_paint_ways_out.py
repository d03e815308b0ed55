"""A wall that cannot be painted: what saves it."""

import numpy as np

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.meter.lamps import Kit, Lamp
from lookdev.paint.chip import paintable_set
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.predict import Site, Viewing
from lookdev.paint.ways_out import ways_out


def test_a_blue_wall_under_sodium_is_saved_by_another_lamp_and_the_number_is_the_screens():
    camera = tuple(float(v) for v in balance_white_xy(4300))
    plain = Look(title="plain")

    def view(name):
        light = light_from_illuminant(name)
        return Viewing(Site("Dock", light, camera, "test", Cast(light.xy, camera)), plain)

    chips = paintable_set()
    row = [c.name for c in chips.chips].index("5PB 4/10")
    target = view("D55").screen(chips.reflectances[row])[1][0]
    ways = ways_out(target, view("HP1"), [], chips)
    first = ways[0]
    assert "daylight lamp" in first.change and first.chip == "5PB 4/10" and first.ciede2000 < 1e-6
    now = ciede2000(view("HP1").screen(chips.reflectances)[1], target).min()
    assert all(w.ciede2000 < now for w in ways)
    assert [w.ciede2000 for w in ways] == sorted(w.ciede2000 for w in ways)
    assert np.isfinite(now)


def test_where_all_is_well_no_way_out_is_offered():
    light = light_from_illuminant("D55")
    view = Viewing(Site("Dock", light, light.xy, "test", Cast(light.xy, light.xy)), Look(title="plain"))
    chips = paintable_set()
    assert ways_out(view.screen(chips.reflectances[5])[1][0], view, [], chips) == []


def test_our_own_lamps_and_filters_are_those_that_are_tried():
    camera = tuple(float(v) for v in balance_white_xy(4300))

    def view(name):
        light = light_from_illuminant(name)
        return Viewing(Site("Dock", light, camera, "test", Cast(light.xy, camera)), Look(title="plain"))

    chips = paintable_set()
    row = [c.name for c in chips.chips].index("5PB 4/10")
    target = view("D55").screen(chips.reflectances[row])[1][0]
    day = tuple(float(v) for v in balance_white_xy(5600))
    kit = Kit((Lamp("our panel", day), Lamp("mixer", emitters=((0.69, 0.31), (0.17, 0.7), (0.14, 0.05)))), ())
    ways = ways_out(target, view("HP1"), [], chips, kit=kit)
    assert [w.change for w in ways] == ["our panel on the wall"]
    assert ways[0].ciede2000 < 1.5
