"""Fill, breach and burn on small grids that can be followed by hand."""

import numpy as np
import pytest

from brimline.drainage.flow import accumulate, flow_directions
from brimline.errors import GridError
from brimline.grid import OUTLET
from brimline.terrain.conditioning import breach, burn, condition, fill

NAN = np.nan
pytestmark = pytest.mark.interpreted


def grid(rows):
    return np.array(rows, dtype=np.float32)


# A pond of 3 m behind a wall of 5 m; left of the wall the ground falls to the west edge.
DAMMED = grid(
    [
        [9, 9, 9, 9, 9, 9, 9],
        [1, 2, 5, 4, 3, 4, 9],
        [1, 2, 5, 4, 4, 4, 9],
        [9, 9, 9, 9, 9, 9, 9],
    ]
)


def test_fill_raises_the_pond_to_the_wall_and_nothing_else():
    expected = DAMMED.copy()
    expected[1:3, 3:6] = 5
    np.testing.assert_array_equal(fill(DAMMED), expected)


def test_breach_cuts_the_wall_level_with_the_pit():
    opened = breach(DAMMED, cell_m=1.0, max_depth_m=2.0, max_length_m=10.0)
    expected = DAMMED.copy()
    expected[1, 2:4] = 3  # 2 m through the wall and 1 m before it, straight west
    np.testing.assert_array_equal(opened, expected)
    np.testing.assert_array_equal(fill(opened), expected)


@pytest.mark.parametrize(
    ("depth_m", "length_m"), [(1.99, 10.0), (2.0, 2.99)], ids=["too deep", "too long"]
)
def test_breach_beyond_a_limit_leaves_the_pond_to_the_fill(depth_m, length_m):
    opened = breach(DAMMED, cell_m=1.0, max_depth_m=depth_m, max_length_m=length_m)
    np.testing.assert_array_equal(opened, DAMMED)


def test_breach_limits_hold_in_metres_whatever_the_cell():
    long_enough = breach(DAMMED, cell_m=4.0, max_depth_m=2.0, max_length_m=12.0)
    too_long = breach(DAMMED, cell_m=4.0, max_depth_m=2.0, max_length_m=11.9)
    assert long_enough[1, 2] == 3
    np.testing.assert_array_equal(too_long, DAMMED)


def test_breach_takes_the_cheaper_of_two_ways():
    # east: one cell of 2 m; west: two cells of 0.75 m each, which is less to dig
    dem = grid([[9, 9, 9, 9, 9, 9], [0, 1.75, 1.75, 1, 3, 0], [9, 9, 9, 9, 9, 9]])
    opened = breach(dem, cell_m=1.0, max_depth_m=9.0, max_length_m=9.0)
    np.testing.assert_array_equal(opened[1], grid([0, 1, 1, 1, 3, 0]))


def test_breach_cuts_the_rim_itself_where_the_data_end_above_the_pit():
    dem = grid([[9, 9, 9, 9], [NAN, 4, 1, 9], [9, 9, 9, 9]])
    opened = breach(dem, cell_m=1.0, max_depth_m=9.0, max_length_m=9.0)
    assert opened[1, 1] == 1
    assert flow_directions(opened)[1, 1] == OUTLET


def test_kept_sinks_are_neither_filled_nor_breached_and_take_in_water():
    sinks = np.zeros(DAMMED.shape, dtype=bool)
    sinks[1, 4] = True
    done = condition(DAMMED, cell_m=1.0, max_depth_m=9.0, max_length_m=9.0, sinks=sinks)
    np.testing.assert_array_equal(done.surface, DAMMED)
    directions = flow_directions(done.surface, sinks=sinks)
    assert directions[1, 4] == OUTLET
    assert accumulate(directions)[1, 4] >= 6  # the pond's cells at least


def test_no_way_is_cut_through_a_kept_sink():
    # the only dam between pit and outlet is itself a kept sink
    dem = grid([[9, 9, 9, 9, 9], [0, 3, 1, 9, 9], [9, 9, 9, 9, 9]])
    sinks = np.zeros(dem.shape, dtype=bool)
    sinks[1, 1] = True
    opened = breach(dem, cell_m=1.0, max_depth_m=5.0, max_length_m=9.0, sinks=sinks)
    np.testing.assert_array_equal(opened, dem)


def test_enclosed_nodata_is_no_outlet_for_fill_but_joins_what_lies_around_it():
    dem = grid(
        [
            [9, 9, 9, 9, 9],
            [9, 2, 3, 8, 9],
            [9, 4, NAN, 5, 7],
            [9, 9, 9, 9, 9],
        ]
    )
    filled = fill(dem)
    # the hollow and the unknown ground spill together over the 7 at the east edge
    np.testing.assert_array_equal(filled[1:3, 1:4], grid([[7, 7, 8], [7, NAN, 7]]))


def test_pipe_is_opened_to_an_even_grade_between_the_lowest_ground_at_its_ends():
    dem = grid(
        [
            [9, 9, 9, 9, 9, 9, 9],
            [9, 4, 8, 8, 8, 0, 0],
            [9, 5, 8, 8, 8, 1, 0],
            [9, 9, 9, 9, 9, 9, 9],
        ]
    )
    # drawn from the low end, and one cell beside the lowest ground of the high end
    burned = burn(dem, [[(1, 5), (2, 1)]], cell_m=1.0, reach_m=1.0)
    assert burned.left_out == ()
    changed = burned.surface < dem
    assert (burned.surface <= dem).all()
    assert not changed[1, 1]  # the inlet keeps its level
    assert not changed[1, 5]
    directions = flow_directions(burned.surface)
    caught = accumulate(directions)
    assert caught[1, 5] >= changed.sum() + 2  # the pond drains through the pipe
    np.testing.assert_array_equal(fill(burned.surface), burned.surface)


def test_straight_pipe_falls_by_equal_steps():
    dem = grid([[9] * 7, [6, 4, 9, 9, 9, 2, 0], [9] * 7])
    burned = burn(dem, [[(1, 1), (1, 5)]], cell_m=2.0, reach_m=0.0)
    np.testing.assert_array_equal(burned.surface[1], grid([6, 4, 3.5, 3, 2.5, 2, 0]))


def test_pipe_never_raises_ground_that_lies_below_its_grade():
    dem = grid([[9] * 7, [6, 4, 1, 9, 9, 2, 0], [9] * 7])
    burned = burn(dem, [[(1, 1), (1, 5)]], cell_m=2.0, reach_m=0.0)
    np.testing.assert_array_equal(burned.surface[1], grid([6, 4, 1, 3, 2.5, 2, 0]))


def test_pipe_through_nodata_or_off_the_raster_opens_what_is_there():
    dem = grid([[9, 4, NAN, 8, 2, 1]])
    burned = burn(dem, [[(0, 1), (0, 5)], [(0, 5), (0, 90)]], cell_m=1.0, reach_m=0.0)
    np.testing.assert_array_equal(burned.surface, grid([[9, 4, NAN, 2.5, 1.75, 1]]))
    assert burned.left_out == (1,)


def test_condition_reports_what_it_did():
    done = condition(DAMMED, cell_m=2.0, mode="fill")
    assert (done.filled.raised_cells, done.filled.deepest_fill_m) == (6, 2.0)
    assert done.filled.fill_m3 == 7 * 4.0  # depths 1, 2, 1, 1, 1, 1 m on cells of 4 m²
    assert done.opened.lowered_cells == 0
    done = condition(DAMMED, cell_m=2.0, max_depth_m=2.0)
    assert (done.opened.lowered_cells, done.opened.deepest_cut_m) == (2, 2.0)
    assert done.opened.cut_m3 == 3 * 4.0
    done = condition(DAMMED, cell_m=2.0, mode="none")
    np.testing.assert_array_equal(done.surface, DAMMED)


@pytest.mark.parametrize(
    "call",
    [
        lambda: fill(np.zeros(3, dtype=np.float32)),
        lambda: fill(np.full((2, 2), np.nan)),
        lambda: fill(DAMMED, sinks=np.zeros((2, 2), dtype=bool)),
        lambda: breach(DAMMED, cell_m=0.0, max_depth_m=1.0, max_length_m=1.0),
        lambda: breach(DAMMED, cell_m=1.0, max_depth_m=-1.0, max_length_m=1.0),
        lambda: breach(DAMMED, cell_m=1.0, max_depth_m=1.0, max_length_m=NAN),
        lambda: burn(DAMMED, [[(0, 0)]], cell_m=1.0),
        lambda: burn(DAMMED, [[(0, 0), (NAN, 1)]], cell_m=1.0),
        lambda: burn(DAMMED, [], cell_m=-1.0),
        lambda: condition(DAMMED, cell_m=1.0, mode="dig"),
    ],
)
def test_broken_contracts_are_refused(call):
    with pytest.raises(GridError):
        call()
