"""Sections of a swale and a pond on a plane, against levels by hand."""

import numpy as np
import pytest
import shapely

from brimline.elements.building import profiles
from brimline.grid import Grid
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, design, notch

GRID = Grid(60, 80, 1.0, 0.0, 60.0)
LINE = shapely.LineString([(20, 30), (60, 30)])


def ground(_x, y):
    return 100 + 0.1 * (np.asarray(y) - 30)


def cut(*shapes):
    x, y = GRID.xy(*np.indices(GRID.shape))
    ready = design(ground(x, y).astype(np.float32), GRID, shapes)
    return {one.name: one for one in profiles(ready, 1, ground)}


def swale():
    return (
        Channel("s", LINE, LevelAlong.flat(99.5), offset_m=1.3, bottom_m=0.6),
        Bank("s", LINE, LevelAlong.flat(100.4), offset_m=-1.0, top_m=0.4, settlement=0.1),
        notch("s", LINE, 30.0, 100.0, 2.0, left_m=1.0, right_m=4.0),
    )


def test_a_swale_is_cut_along_floor_and_crest_across_and_over_its_sill():
    found = cut(*swale())
    assert list(found) == [
        "floor", "crest", "across at 4.0 m", "across at 20.0 m", "across at 36.0 m",
        "over the sill",
    ]  # fmt: skip
    floor = found["floor"]
    np.testing.assert_allclose(floor.design_m, 99.5)
    np.testing.assert_allclose(floor.ground_m, 100.13)
    assert floor.at_m[0] == 0
    assert floor.at_m[-1] == 40
    crest = found["crest"]
    beside = np.abs(crest.at_m - 30) > 3
    np.testing.assert_allclose(crest.design_m[beside], 100.4)
    # 0.5 m over the ground there, built a tenth higher
    np.testing.assert_allclose(crest.build_m[beside], 100.45)
    assert crest.design_m[crest.at_m == 30] == pytest.approx(100.0)


def test_a_dip_is_cut_along_its_path_and_is_no_sill():
    way = shapely.LineString([(50, 27), (50, 23)])
    dip = Channel("s", way, LevelAlong.flat(99.2), bottom_m=2.0, left=8.0, right=8.0,
                  through=True, in_path=True)  # fmt: skip
    found = cut(*swale(), dip)
    assert "over the sill" in found
    one = found["dip in a path"]
    assert one.kind == "dip"
    np.testing.assert_allclose(one.y, 25)  # square to the water's way, through its middle
    floor = one.x[np.abs(one.design_m - 99.2) < 1e-9]
    assert (floor.min(), floor.max()) == pytest.approx((49, 51), abs=0.11)
    assert one.design_m[0] == pytest.approx(one.ground_m[0])


def test_across_a_line_runs_from_left_to_right_with_0_on_it():
    one = cut(*swale())["across at 20.0 m"]
    deepest = one.at_m[np.abs(one.design_m - 99.5) < 1e-9]
    assert deepest.min() == pytest.approx(-1.6, abs=0.11)
    assert deepest.max() == pytest.approx(-1.0, abs=0.11)
    assert one.at_m[np.argmax(one.build_m - one.ground_m)] == pytest.approx(1.0, abs=0.25)
    # uphill is left; untouched ground at both ends
    assert one.ground_m[0] > one.ground_m[-1]
    np.testing.assert_allclose(one.design_m[[0, -1]], one.ground_m[[0, -1]])


def test_over_the_sill_water_meets_nothing_higher_than_the_sill():
    one = cut(*swale())["over the sill"]
    past = one.at_m > one.at_m[int(np.argmin(one.design_m[:40]))]
    assert one.design_m[past].max() == pytest.approx(100.0, abs=1e-6)


def test_a_pond_is_cut_along_its_long_axis_and_across():
    outline = shapely.box(25, 22, 55, 38)
    found = cut(Bowl("p", outline, 100.0, 1.5, 2.0, crest_m=100.5, top_m=1.0))
    assert list(found) == ["long axis", "across"]
    along, across = found["long axis"], found["across"]
    assert along.at_m[-1] > 30 > across.at_m[-1] - 20
    assert along.design_m.min() == pytest.approx(98.5)
    # floor: 16 m less two batters of 3 m
    flat = across.at_m[np.abs(across.design_m - 98.5) < 1e-9]
    assert flat.max() - flat.min() == pytest.approx(10, abs=0.25)


def test_an_unknown_element_is_refused():
    x, y = GRID.xy(*np.indices(GRID.shape))
    ready = design(ground(x, y).astype(np.float32), GRID, swale())
    with pytest.raises(ValueError, match="no element number 2"):
        profiles(ready, 2, ground)
