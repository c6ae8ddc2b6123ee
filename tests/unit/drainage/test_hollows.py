"""Hollows by hand: depths, volumes, nesting, overflow, and which are kept."""

import numpy as np
import pytest

from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.hollows import find_hollows
from brimline.terrain.conditioning import fill

pytestmark = pytest.mark.interpreted


def trench(*levels, around=20.0, rim=None):
    """One row of levels in high ground; its last cell lies on the raster's edge."""
    dem = np.full((3, len(levels) + 1), around, dtype=np.float32)
    dem[1, 1:] = levels
    if rim is not None:
        dem[1, -1] = rim
    return dem


# two pits of 1 and 0 m that meet at 5 m and together spill at 8 m, over column 7
TWO_PITS = trench(3, 1, 3, 5, 2, 0, 8, 6)


def test_two_pits_in_one_hollow_as_worked_by_hand():
    found = find_hollows(TWO_PITS, cell_m=2.0)
    np.testing.assert_array_equal(found.labels[1], [0, 2, 2, 2, 1, 3, 3, 0, 0])
    np.testing.assert_array_equal(found.parent_ids, [0, 1, 1])
    np.testing.assert_array_equal(found.nesting, [0, 1, 1])
    np.testing.assert_array_equal(found.spill_level_m, [8, 5, 5])
    np.testing.assert_array_equal(found.depth_m, [8, 4, 5])
    np.testing.assert_array_equal(found.area_m2, [24, 12, 8])
    # by hand: 5+7+5+3+6+8 = 34; 2+4+2 = 8; 3+5 = 8 metres over cells of 4 m²
    np.testing.assert_array_equal(found.volume_m3, [136, 32, 32])
    np.testing.assert_array_equal(found.deepest_cells % 9, [6, 2, 6])
    np.testing.assert_array_equal(found.spill_cells % 9, [7, 4, 4])
    np.testing.assert_array_equal(found.spills_to_ids, [0, 1, 1])
    np.testing.assert_array_equal(found.labels_at(0)[1], [0, 1, 1, 1, 1, 1, 1, 0, 0])
    np.testing.assert_array_equal(found.labels_at(1)[1], [0, 2, 2, 2, 0, 3, 3, 0, 0])


def test_a_pit_that_meets_only_smaller_ones_is_a_stage_not_a_hollow():
    found = find_hollows(TWO_PITS, cell_m=1.0, min_depth_m=4.5)
    np.testing.assert_array_equal(found.labels[1] > 0, found.labels[1] == 1)
    np.testing.assert_array_equal(found.volume_m3, [34])


@pytest.mark.parametrize(
    ("limits", "count"),
    [
        ({"min_depth_m": 4.0}, 3),
        ({"min_area_m2": 2.0}, 3),
        ({"min_area_m2": 3.0}, 1),
        ({"min_volume_m3": 8.0}, 3),
        ({"min_volume_m3": 8.5}, 1),
        ({"min_depth_m": 8.5}, 0),
    ],
)
def test_limits_hold_at_their_value(limits, count):
    assert find_hollows(TWO_PITS, cell_m=1.0, **limits).kept.size == count


def test_three_pits_that_meet_at_one_level_have_one_parent():
    """Pits of 1, 2 and 0 m part at 4 m twice; together they spill at 9 m."""
    found = find_hollows(trench(1, 4, 2, 4, 0, 9, 7), cell_m=1.0)
    np.testing.assert_array_equal(found.parent_ids, [0, 1, 1, 1])
    np.testing.assert_array_equal(found.spill_level_m, [9, 4, 4, 4])
    np.testing.assert_array_equal(found.volume_m3, [8 + 5 + 7 + 5 + 9, 3, 2, 4])


def test_nesting_goes_as_deep_as_the_ground_does():
    """Pits of 1 and 2 m meet at 3 m; that one meets a pit of 0 m at 6 m; all spill at 9 m."""
    found = find_hollows(trench(1, 3, 2, 6, 0, 9, 7), cell_m=1.0)
    np.testing.assert_array_equal(found.nesting, [0, 1, 1, 2, 2])
    np.testing.assert_array_equal(found.spill_level_m, [9, 6, 6, 3, 3])
    np.testing.assert_array_equal(found.parent_ids, [0, 1, 1, 2, 2])
    np.testing.assert_array_equal(found.labels[1], [0, 4, 2, 5, 1, 3, 0, 0])


def test_a_flat_floor_counts_as_one_pit():
    dem = np.full((6, 7), 9.0, dtype=np.float32)
    dem[2:4, 2:5] = 4.0
    dem[2, 3] = 5.0  # a bump that reaches the edge of the floor makes its shape a U
    dem[5, 3] = 8.0
    dem[4, 3] = 8.0
    found = find_hollows(dem, cell_m=1.0)
    np.testing.assert_array_equal(found.spill_level_m, [8])
    np.testing.assert_array_equal(found.volume_m3, [5 * 4 + 3])


def test_ground_without_hollows_gives_none():
    row, _ = np.indices((5, 5))
    found = find_hollows(row.astype(np.float32), cell_m=1.0)
    assert found.kept.size == 0
    assert not found.sinks.any()
    assert found.labels.max() == 0


def slope_with_two_ponds():
    """A chute to the east, walled in, with two dammed ponds one below the other."""
    chute = [30, 24, 23, 25, 22, 21, 14, 13, 16, 12, 11]
    return trench(*chute, around=40.0), len(chute) + 1


def test_overflow_goes_to_the_next_pond_below_and_its_catchment_counts_both():
    dem, cols = slope_with_two_ponds()
    found = find_hollows(dem, cell_m=1.0)
    np.testing.assert_array_equal(found.spill_level_m, [25, 16])
    np.testing.assert_array_equal(found.spill_cells - cols, [4, 9])
    np.testing.assert_array_equal(found.spills_to_ids, [2, 0])
    filled = flow_directions(fill(dem))
    area = accumulate(filled).ravel()
    np.testing.assert_array_equal(found.catchment_m2, [area[cols + 3], area[cols + 8]])


def test_a_flat_sill_is_crossed_to_where_water_leaves():
    """The pond of 3 m spills at 5 m over a level apron of three cells, then down."""
    found = find_hollows(trench(3, 5, 5, 5, 2, 1), cell_m=1.0)
    np.testing.assert_array_equal(found.spill_level_m, [5])
    np.testing.assert_array_equal(found.spill_cells, [7 + 2])
    np.testing.assert_array_equal(found.spills_to_ids, [0])


def test_the_rule_keeps_what_is_deep_and_large_enough_with_all_that_holds_it():
    found = find_hollows(TWO_PITS, cell_m=1.0, keep_depth_m=4.0, keep_area_m2=3.0)
    np.testing.assert_array_equal(found.kept, [True, True, False])
    np.testing.assert_array_equal(np.argwhere(found.sinks), [[1, 2]])
    both = find_hollows(TWO_PITS, cell_m=1.0, keep_depth_m=4.0)
    np.testing.assert_array_equal(np.argwhere(both.sinks), [[1, 2], [1, 6]])
    outermost = find_hollows(TWO_PITS, cell_m=1.0, keep_depth_m=5.5)
    np.testing.assert_array_equal(outermost.kept, [True, False, False])
    np.testing.assert_array_equal(np.argwhere(outermost.sinks), [[1, 6]])


def test_water_of_a_kept_hollow_ends_at_its_deepest_cell():
    found = find_hollows(TWO_PITS, cell_m=1.0, keep_depth_m=8.0)
    surface = fill(TWO_PITS, sinks=found.sinks)
    directions = flow_directions(surface, sinks=found.sinks)
    gathered = accumulate(directions)[found.sinks]
    np.testing.assert_array_equal(gathered, found.catchment_m2[:1])


def test_a_point_keeps_the_innermost_hollow_that_it_lies_in():
    left = find_hollows(TWO_PITS, cell_m=1.0, keep_points=[[1, 3]])
    np.testing.assert_array_equal(left.kept, [True, True, False])
    saddle = find_hollows(TWO_PITS, cell_m=1.0, keep_points=[[1, 4]])
    np.testing.assert_array_equal(saddle.kept, [True, False, False])
    np.testing.assert_array_equal(np.argwhere(saddle.sinks), [[1, 6]])


def test_a_point_lists_a_hollow_below_the_limits_and_a_point_on_dry_ground_is_told():
    small = find_hollows(
        TWO_PITS, cell_m=1.0, min_depth_m=100.0, keep_points=[[0, 0], [1, 2], [1, 7]]
    )
    np.testing.assert_array_equal(small.kept, [True])
    np.testing.assert_array_equal(small.depth_m, [8])
    np.testing.assert_array_equal(small.missed_points, [0, 2])


def test_nodata_inside_a_hollow_makes_its_size_a_lower_bound():
    dem = np.full((7, 7), 9.0, dtype=np.float32)
    dem[2:5, 2:5] = 6.0
    dem[3, 3] = np.nan
    dem[3, 5:] = 8.0
    found = find_hollows(dem, cell_m=1.0)
    np.testing.assert_array_equal(found.holds_void, [True])
    np.testing.assert_array_equal(found.area_m2, [8])
    np.testing.assert_array_equal(found.volume_m3, [16])
    assert found.labels[3, 3] == 0
    open_to_the_edge = dem.copy()
    open_to_the_edge[3, 3:] = np.nan
    assert find_hollows(open_to_the_edge, cell_m=1.0).kept.size == 0


@pytest.mark.parametrize(
    "options",
    [{"cell_m": 0.0}, {"cell_m": 1.0, "min_depth_m": -1.0}, {"cell_m": 1.0, "keep_depth_m": 0.0}],
)
def test_sizes_out_of_range_are_refused(options):
    with pytest.raises(ValueError, match="above 0 m"):
        find_hollows(TWO_PITS, **options)


def test_a_level_floor_is_a_sink_as_a_whole_however_the_ground_is_turned():
    # a kept hollow with a floor of four cells, rounded to one level; the cell beside it stands
    # 1 m higher, another as low lies outside the hollow
    dem = np.full((8, 9), 10.0, dtype=np.float32)
    dem[2:4, 3:5] = 5.0
    dem[2, 5] = 6.0
    dem[0, 0] = 5.0
    expected = np.zeros(dem.shape, dtype=bool)
    expected[2:4, 3:5] = True
    for turned in range(4):
        for mirrored in (False, True):

            def same(array, turned=turned, mirrored=mirrored):
                whole = np.rot90(array, turned)
                return np.ascontiguousarray(whole[:, ::-1] if mirrored else whole)

            found = find_hollows(same(dem), cell_m=1.0, keep_depth_m=1.0)
            np.testing.assert_array_equal(found.sinks, same(expected))
