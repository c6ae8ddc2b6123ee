"""What a storm does in hollows, by hand: trenches to the cubic metre, cones by V = pi r2 h / 3."""

import numpy as np
import pytest

from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.hollows import find_hollows
from brimline.terrain.conditioning import fill, opened_surface


def trench(*levels, around=20.0):
    """One row of levels in high ground; its last cell lies on the raster's edge."""
    dem = np.full((3, len(levels) + 1), around, dtype=np.float32)
    dem[1, 1:] = levels
    return dem


# two pits of 1 and 0 m that meet at 5 m and together spill at 8 m: 8, 8 and 34 m³ in cells of 1 m
TWO_PITS = trench(3, 1, 3, 5, 2, 0, 8, 6)


@pytest.mark.interpreted
@pytest.mark.parametrize("runoff_mm", [100.0, 400.0, 700.0, 1500.0])
def test_nested_pits_share_as_worked_by_hand(runoff_mm):
    """Each pit has its own ground; the first that is full spills into the other, then both rise."""
    found = find_hollows(TWO_PITS, cell_m=1.0, runoff_mm=runoff_mm, keep_unfilled=True)
    cells = accumulate(flow_directions(fill(TWO_PITS, sinks=_pits()), sinks=_pits())).ravel()
    left, right = cells[found.deepest_cells[1]], cells[found.deepest_cells[2]]
    assert left + right == found.catchment_m2[0]
    a, b = 1e-3 * runoff_mm * left, 1e-3 * runoff_mm * right
    over_a, over_b = max(a - 8, 0), max(b - 8, 0)
    water = found.water
    np.testing.assert_allclose(water.capacity_m3, [34, 8, 8])
    np.testing.assert_allclose(
        water.holds_m3, [min(a + b, 34), min(a + over_b, 8), min(b + over_a, 8)]
    )
    np.testing.assert_allclose(water.spills_m3[0], max(a + b - 34, 0))
    np.testing.assert_array_equal(water.fills, np.isclose(water.holds_m3, [34, 8, 8]))
    # kept where a pond stands that is not full: the innermost one whose inner ones are all full
    full = water.fills
    ponds = [found.deepest_cells[i] for i in (1, 2) if not full[i]]
    if not full[0] and full[1] and full[2]:
        ponds = [found.deepest_cells[0]]
    np.testing.assert_array_equal(np.flatnonzero(found.sinks), sorted(ponds))


def _pits():
    sinks = np.zeros(TWO_PITS.shape, dtype=np.bool_)
    sinks[1, [2, 6]] = True
    return sinks


def cones(*bowls, size=(120, 260), fall=0.02):
    """A plane falling east with round bowls: (row, col, radius, depth below its lowest rim)."""
    row, col = np.indices(size, dtype=np.float64)
    dem = 50.0 - fall * col
    for r, c, radius, depth in bowls:
        away = np.hypot(row - r, col - c)
        rim = 50.0 - fall * (c + radius)  # lowest point of the rim: the downhill one
        cone = rim - depth * (1 - away / radius)
        dem = np.where(away <= radius, np.minimum(dem, cone), dem)
    return dem.astype(np.float32)


def test_a_cone_holds_a_third_of_its_cylinder_and_fills_by_what_drains_to_it():
    radius, depth = 30.0, 6.0
    dem = cones((60, 100, radius, depth))
    whole = np.pi * radius**2 * depth / 3
    runoff_mm = 20.0
    found = find_hollows(dem, cell_m=1.0, min_depth_m=0.5, runoff_mm=runoff_mm, keep_unfilled=True)
    assert found.volume_m3 == pytest.approx([whole], rel=0.01)
    np.testing.assert_allclose(found.water.arrives_m3, found.catchment_m2 * 1e-3 * runoff_mm)
    # a plane sheds straight east: the strip as wide as the bowl, with the cells that touch it,
    # for its rim is a step, up to the west edge
    touched = radius + 1.5
    strip = 2 * touched * 100 + np.pi * touched**2 / 2
    assert found.catchment_m2 == pytest.approx([strip], rel=0.01)
    assert found.kept.all()
    assert not found.water.fills.any()
    assert found.water.spills_m3 == [0.0]
    share = 100 * found.catchment_m2 * 1e-3 * runoff_mm / whole
    assert found.water.filled_pct == pytest.approx(share, rel=0.01)


def test_a_full_cone_spills_what_it_cannot_hold_into_the_next():
    """The upper bowl is small and runs over, the lower one takes it in and stays a sink."""
    upper, lower = (60, 60, 10.0, 1.0), (60, 150, 30.0, 5.0)
    dem = cones(upper, lower)
    runoff_mm = 200.0
    found = find_hollows(dem, cell_m=1.0, min_depth_m=0.5, runoff_mm=runoff_mm, keep_unfilled=True)
    first, second = np.argsort(-found.spill_level_m)
    water = found.water
    assert found.spills_to_ids[first] == second + 1
    held = np.pi * upper[2] ** 2 * upper[3] / 3
    assert water.holds_m3[first] == pytest.approx(held, rel=0.05)
    over = found.catchment_m2[first] * 1e-3 * runoff_mm - water.holds_m3[first]
    assert water.spills_m3[first] == pytest.approx(over)
    own = (found.catchment_m2[second] - found.catchment_m2[first]) * 1e-3 * runoff_mm
    assert water.arrives_m3[second] == pytest.approx(own + over)
    np.testing.assert_array_equal(found.kept[[first, second]], [False, True])
    # no drop is lost: what ran off stands in the two or left the data
    assert water.holds_m3.sum() + water.spills_m3[second] == pytest.approx(
        found.catchment_m2[second] * 1e-3 * runoff_mm
    )


def test_a_pipe_through_the_dam_drains_the_hollow_so_it_is_not_kept():
    dem = cones((60, 100, 30.0, 2.0))
    pipe = np.array([[60.0, 100.0], [60.0, 259.0]])
    opened = opened_surface(dem, cell_m=1.0, mode="fill", burns=[pipe])
    found = find_hollows(
        dem, cell_m=1.0, min_depth_m=0.3, runoff_mm=20.0, keep_unfilled=True, opened=opened
    )
    assert found.volume_m3[0] > 1500  # the survey shows it all the same
    assert found.water.capacity_m3[0] < 1.0
    assert found.water.spills_m3 == pytest.approx(found.catchment_m2 * 0.02, abs=1.0)
    assert not found.kept.any()


def test_a_pipe_at_half_height_leaves_what_lies_below_it():
    """Below half its height a cone holds an eighth."""
    dem = cones((60, 100, 30.0, 6.0))
    opened = dem.copy()
    half = dem[60, 100] + 3.0
    opened[60, 101:] = np.minimum(opened[60, 101:], half - 0.001 * np.arange(159))
    found = find_hollows(dem, cell_m=1.0, min_depth_m=0.3, runoff_mm=5.0, opened=opened)
    assert found.water.capacity_m3 == pytest.approx(np.pi * 30**2 * 6 / 3 / 8, rel=0.05)


def test_no_flow_crosses_what_the_storm_cannot_fill():
    """All ground behind a kept bowl ends in it, and the plane below starts anew."""
    dem = cones((60, 100, 30.0, 6.0))
    found = find_hollows(dem, cell_m=1.0, min_depth_m=0.5, runoff_mm=20.0, keep_unfilled=True)
    surface = fill(dem, sinks=found.sinks)
    directions = flow_directions(surface, sinks=found.sinks)
    area_m2 = accumulate(directions)
    assert area_m2[found.sinks] == pytest.approx(found.catchment_m2)
    filled_through = accumulate(flow_directions(fill(dem)))
    assert filled_through[:, 140].max() > 0.8 * found.catchment_m2[0]
    assert area_m2[:, 140].max() < 200


def test_a_storm_is_needed_to_keep_by_it():
    with pytest.raises(ValueError, match="runoff_mm"):
        find_hollows(TWO_PITS, cell_m=1.0, keep_unfilled=True)


@pytest.mark.parametrize(
    ("share", "kept", "otherwise"),
    [(0.4, True, True), (0.6, True, False), (1.5, False, True), (2.5, False, False)],
)
def test_a_hollow_that_could_turn_is_a_sink_the_other_way(share, kept, otherwise):
    """Between half and twice what it holds, soil and storm leave open whether it fills."""
    dem = cones((60, 120, 20, 3.0))
    full = find_hollows(dem, cell_m=1.0, runoff_mm=1.0, min_depth_m=0.1)
    water = full.water
    runoff_mm = share * water.capacity_m3[0] / water.arrives_m3[0]
    found = find_hollows(dem, cell_m=1.0, runoff_mm=runoff_mm, keep_unfilled=True, min_depth_m=0.1)
    assert (found.sinks.any(), found.other_sinks.any()) == (kept, otherwise)
    decided = find_hollows(dem, cell_m=1.0, runoff_mm=runoff_mm, min_depth_m=0.1)
    assert not decided.other_sinks.any()  # where a person has all filled, no storm decides
