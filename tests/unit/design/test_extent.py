"""How far elements reach over the ground, and what follows: setbacks, steep ground, bank heights.

The ground is a plane that falls south, so every toe and edge is known in closed form.
"""

from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from brimline.design import KeptClear, extents_of, misplaced, standing_ground, too_steep
from brimline.design.elements import placed_elements
from brimline.design.plan import DrawnBasin, DrawnPond
from brimline.elements import Swale
from brimline.elements.building import Building
from brimline.grid import Grid
from brimline.layers import layer
from brimline.layers.drawn import usual_of

GRID = Grid(200, 200, 1.0, 0.0, 200.0, "EPSG:32633")
FALL = 0.10
HOW = Building(top_m=1.0, outer=2.0)
SITE = shapely.box(0, 0, 200, 200)


def plane(fall=FALL, step=None):
    """Ground of 120 m at the northern edge that falls south; `step` steepens it below a line."""
    _, y = GRID.xy(*np.indices(GRID.shape))
    level = 120 - fall * (200 - y)
    if step:
        below_y, steeper = step
        level -= np.where(y < below_y, (steeper - fall) * (below_y - y), 0.0)
    dem = level.astype(np.float32)
    return standing_ground(dem, np.full(GRID.shape, 100 * fall, dtype=np.float32), GRID, ())


def swale(y=100.0, *, northwards=False):
    line = shapely.LineString([(60, y), (140, y)])
    level = 120 - FALL * (200 - y)
    made = Swale("s", level, line.length, 100 * FALL).element()
    return SimpleNamespace(
        name="s", element=made, shape=line.reverse() if northwards else line, swale=made.shape
    )


@pytest.mark.parametrize("turned", [False, True])
def test_a_swale_reaches_uphill_with_its_cut_and_downhill_to_its_toe(turned):
    one = swale(northwards=turned)
    reach = extents_of([one], plane(), HOW)["s"]
    west, south, east, north = reach.earth.bounds
    assert (west, east) == pytest.approx((60, 140))
    assert north == pytest.approx(100 + one.swale.cut_width_m)
    assert south == pytest.approx(100 - one.swale.mound_width_m)
    assert reach.water.bounds[1] == pytest.approx(100)


def test_setbacks_run_from_the_waters_edge_and_the_toe_not_from_the_drawn_line():
    one = swale()
    extents = extents_of([one], plane(), HOW)
    toe_y, edge_y = 100 - one.swale.mound_width_m, 100 + one.swale.cut_width_m
    for y, clear_m, flagged in ((toe_y - 3, 2.9, False), (toe_y - 3, 3.1, True)):
        drawn = shapely.LineString([(0, y), (200, y)])
        septic = [KeptClear(drawn, drawn.buffer(clear_m), "septic", clear_m)]
        found = misplaced([one], septic, SITE, 6.0, extents)
        assert [one.flag for one in found] == (["in-setback"] if flagged else [])
        assert not flagged or "toe of its bank" in found[0].text
        assert not misplaced([one], septic, SITE, 6.0)  # by the line alone it would be clear
    for gap_m, flagged in ((5.9, True), (6.1, False)):
        house = shapely.box(80, edge_y + gap_m, 90, edge_y + gap_m + 9)
        kept = [KeptClear(house, house, "building", 0.0)]
        found = misplaced([one], kept, SITE, 6.0, extents)
        assert ([one.flag for one in found] == ["near-building"]) == flagged


def test_a_toe_beyond_the_boundary_is_told():
    one = swale()
    site = shapely.box(0, 99.0, 200, 200)  # the line lies inside, the toe does not
    assert not misplaced([one], [], site, 6.0)
    found = misplaced([one], [], site, 6.0, extents_of([one], plane(), HOW))
    assert [one.flag for one in found] == ["outside-boundary"]


def test_the_steepest_ground_below_counts_not_the_mean_along_the_line():
    one = swale()
    gentle = extents_of([one], plane(), HOW)
    assert gentle["s"].steepest_pct == pytest.approx(10, abs=0.2)
    near = extents_of([one], plane(step=(92.0, 0.30)), HOW)  # a bank below it, of 30 %
    assert near["s"].steepest_pct == pytest.approx(30, abs=1)
    far = extents_of([one], plane(step=(70.0, 0.30)), HOW)
    assert far["s"].steepest_pct == pytest.approx(10, abs=0.2)
    assert [found.element_id for found in too_steep(near, 20.0)] == ["s"]
    assert "as steep as 29 %, where 20 %" in next(too_steep(near, 20.0)).text
    assert not list(too_steep(far, 20.0))


def drawn(kind, **columns):
    """A square pond or basin of 20 m, its usual values filled in."""
    shape = shapely.box(90, 90, 110, 110)
    names = [field.name for field in fields(kind)]
    values = dict.fromkeys(names, float("nan")) | {"fill" if "fill" in names else "lining": ""}
    values |= usual_of(layer(kind.LAYER)) | {"name": "p", "shape": shape, "empty": ()}
    values |= {"spills_to": "", "edge": "bank", "form": "infiltration basin"} | columns
    return kind(**{name: values[name] for name in names})


def toe_m(crest_m, flat_m):
    """Lowest ground under a bank on the plane: its outer side meets the ground at its toe."""
    edge_y = 90 - flat_m
    edge_m = 120 - FALL * (200 - edge_y)
    out_m = (crest_m - edge_m) / (1 / HOW.outer - FALL)
    return edge_m - FALL * out_m


@pytest.mark.parametrize("kind", [DrawnPond, DrawnBasin])
def test_a_bank_is_as_high_as_its_crest_stands_over_its_toe(kind):
    row = drawn(kind, spill_level_m=110.0)
    water = SimpleNamespace(infiltration="constant", soak_mm_per_h=6.0, soak_safety_factor=2.0)
    placed, problems = placed_elements([row], plane(), water, HOW)
    assert not problems
    element = placed[0].element
    flat_m = row.side * (element.crest_level_m - 110.0) + HOW.top_m
    lowest_m = toe_m(element.crest_level_m, flat_m)
    # ground is asked once a metre, so the toe is found within the fall of a metre
    assert element.embankment_height_m == pytest.approx(
        element.crest_level_m - lowest_m, abs=1.5 * FALL
    )
    along_the_waterline = element.crest_level_m - (120 - FALL * 110)
    assert element.embankment_height_m > along_the_waterline + 0.2
    assert element.held_above_ground_m3 > 0
    reach = extents_of(placed, plane(), HOW)["p"]
    assert reach.earth.bounds[1] == pytest.approx(
        90 - flat_m - HOW.outer * (element.crest_level_m - lowest_m), abs=1.5
    )
    assert reach.earth.bounds[3] < 110 + flat_m  # no bank where the ground is higher


def test_a_sunken_basin_has_no_bank():
    water = SimpleNamespace(infiltration="constant", soak_mm_per_h=6.0, soak_safety_factor=2.0)
    placed, _ = placed_elements([drawn(DrawnBasin, edge="sunken")], plane(), water, HOW)
    assert placed[0].element.embankment_height_m == 0
    assert placed[0].element.held_above_ground_m3 == 0
