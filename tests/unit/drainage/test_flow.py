"""Directions, accumulation and wetness on small grids that can be followed by hand."""

import numpy as np
import pytest

from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
    upstream_order,
    wetness_index,
    within,
)
from brimline.errors import GridError
from brimline.grid import NO_DATA, OUTLET
from brimline.grid.tiles import Window

NAN = np.nan
pytestmark = pytest.mark.interpreted
E, NE, N, NW, W, SW, S, SE = range(8)
OUT, X = OUTLET, NO_DATA


def grid(rows):
    return np.array(rows, dtype=np.float32)


def codes(rows):
    return np.array(rows, dtype=np.uint8)


def test_steepest_counts_the_longer_step_to_a_corner():
    # corner falls 1.4 over 1.414, south 1.0 over 1: south is steeper; with 1.5 the corner is
    dem = grid([[9, 9, 9], [9, 5, 9], [9, 4, 3.6]])
    assert flow_directions(dem)[1, 1] == S
    dem[2, 2] = 3.5
    assert flow_directions(dem)[1, 1] == SE


def test_equally_steep_neighbours_go_by_the_ground_around():
    # west and east are as steep; the plane through the nine cells falls to the west
    dem = grid([[8, 9, 9], [4, 5, 4], [8, 9, 9]])
    assert flow_directions(dem)[1, 1] == W
    assert flow_directions(dem[:, ::-1].copy())[1, 1] == E


def test_a_wider_window_decides_where_the_nearest_cells_are_symmetric():
    dem = np.pad(grid([[9, 9, 9], [4, 5, 4], [9, 9, 9]]), 1, constant_values=9)
    dem[2, 0], dem[2, 4] = 3, 2
    assert flow_directions(dem)[2, 2] == E


def test_of_a_symmetric_choice_the_lowest_code_is_taken():
    dem = grid([[9, 4, 9], [4, 5, 4], [9, 4, 9]])
    assert flow_directions(dem)[1, 1] == E


def test_rim_cells_drain_inwards_where_they_can_and_are_outlets_elsewhere():
    dem = grid([[5, 4, 5], [4, 3, 4], [5, 2, 5]])
    np.testing.assert_array_equal(
        flow_directions(dem), codes([[SE, S, SW], [SE, S, SW], [E, OUT, W]])
    )


def test_beside_outside_nodata_a_pit_is_an_outlet_and_beside_enclosed_nodata_it_is_not():
    dem = grid([[9, 9, 9, 9, NAN], [9, 2, 5, 3, 9], [9, 9, 9, 9, 9]])
    directions = flow_directions(dem)
    assert directions[1, 3] == OUTLET
    assert directions[0, 4] == NO_DATA
    dem = grid([[9] * 5, [9, 4, 4, NAN, 9], [9, 2, 9, 9, 9], [8] * 5])
    assert flow_directions(dem)[1, 2] == SW  # over the flat to the lower cell, not to the hole


def test_closed_flat_ends_beside_its_hole_or_else_at_its_first_cell():
    dem = grid([[9] * 6, [9, 4, 4, 4, NAN, 9], [9] * 6])
    np.testing.assert_array_equal(flow_directions(dem)[1, 1:4], codes([[E, E, OUT]])[0])
    dem[1, 4] = 4
    np.testing.assert_array_equal(flow_directions(dem)[1, 1:5], codes([[OUT, W, W, W]])[0])


def test_flat_drains_away_from_higher_and_towards_lower_ground():
    # Barnes et al. (2014b): water gathers in the middle of the flat on its way to the exit,
    # instead of hugging the walls
    dem = np.full((7, 9), 6, dtype=np.float32)
    dem[1:6, 1:8] = 5
    dem[3, 8] = 4
    directions = flow_directions(dem)
    caught = accumulate(directions)
    assert directions[3, 7] == E
    np.testing.assert_array_equal(directions[3, 1:8], codes([[E] * 7])[0])
    assert caught[3, 7] > 35 - 7
    assert caught[2, 4] <= 3  # what falls on the column from the wall down to it
    assert (directions[1, 2:7] >= SW).all()  # the wall's cells turn towards the middle
    assert (directions[5, 2:7] <= NW).all()


def test_flat_next_to_two_exits_goes_to_the_nearer():
    dem = np.full((3, 9), 9, dtype=np.float32)
    dem[1] = [3, 5, 5, 5, 5, 5, 5, 5, 1]
    # the middle cell is as far from both; the ground beyond falls more to the east
    np.testing.assert_array_equal(
        flow_directions(dem)[1], codes([[OUT, W, W, W, E, E, E, E, OUT]])[0]
    )


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1), (2, 2), (6, 4)])
def test_level_ground_up_to_the_edge(shape):
    directions = flow_directions(np.zeros(shape, dtype=np.float32))
    caught = accumulate(directions)
    assert caught[directions == OUTLET].sum() == shape[0] * shape[1]
    assert (directions[0] == OUTLET).all()
    assert (directions[:, -1] == OUTLET).all()


def test_accumulation_counts_cells_or_adds_weights():
    directions = codes([[E, S, X], [E, E, OUT], [NE, OUT, W]])
    np.testing.assert_array_equal(accumulate(directions), [[1, 2, NAN], [1, 5, 6], [1, 2, 1]])
    rain = grid([[1, 10, 7], [100, 1000, 0.5], [0.25, 2, 4]])
    np.testing.assert_array_equal(
        accumulate(directions, rain),
        [[1, 11, NAN], [100, 1111.25, 1111.75], [0.25, 6, 4]],
    )


def test_order_puts_donors_first():
    order = upstream_order(codes([[S, W, W], [OUT, X, N]]))
    np.testing.assert_array_equal(order, [5, 2, 1, 0, 3])


def test_spreading_methods_keep_to_one_receiver_on_flats_and_in_gullies():
    dem = grid([[9, 9, 9, 9], [8, 5, 5, 4], [9, 9, 9, 9]])
    for method in (dinf_accumulation, mfd_accumulation):
        caught = method(dem)
        assert caught[1, 3] == pytest.approx(12)
        assert caught[1, 1] < caught[1, 2] < caught[1, 3]


def test_mfd_shares_by_slope_to_the_power():
    dem = grid([[9, 9, 9], [9, 5, 4], [9, 3, 9]])
    spot = np.zeros((3, 3))
    spot[1, 1] = 1.0
    caught = mfd_accumulation(dem, spot, exponent=2.0)
    assert caught[1, 2] == pytest.approx(1 / 5)  # slopes 1 and 2, squares 1 and 4
    assert caught[2, 1] == pytest.approx(1.0)  # the rest, and what the other passes on


def test_wetness_index_is_the_logarithm_of_area_per_width_over_slope():
    # 200 m² over cells of 2 m and a slope of 5 %: ln(100 / 0.05)
    wet = wetness_index(grid([[200, 200, NAN]]), grid([[5, 0, 5]]), cell_m=2.0)
    np.testing.assert_allclose(wet[0, :2], [np.log(2000), np.log(1e5)], rtol=1e-6)
    assert np.isnan(wet[0, 2])


@pytest.mark.parametrize(
    "call",
    [
        lambda: accumulate(codes([[E, OUT], [9, OUT]])),
        lambda: accumulate(codes([[W, OUT]])),
        lambda: accumulate(codes([[E, X]])),
        lambda: accumulate(codes([[OUT, N]])),
        lambda: accumulate(codes([[OUT], [S]])),
        lambda: accumulate(codes([[E, W]])),
        lambda: upstream_order(codes([[E, S], [N, W]])),
        lambda: accumulate(np.zeros((2, 2))),
        lambda: accumulate(codes([[OUT, OUT]]), np.ones((3, 3))),
        lambda: flow_directions(grid([[1, 2]]), sinks=np.zeros((3, 3), dtype=bool)),
        lambda: mfd_accumulation(grid([[1, 2]]), exponent=0.0),
        lambda: dinf_accumulation(grid([[1, 2]]), np.ones((3, 3))),
        lambda: wetness_index(np.ones((2, 2)), np.ones((2, 2)), cell_m=0.0),
        lambda: wetness_index(np.ones((2, 2)), np.ones((2, 3)), cell_m=1.0),
    ],
)
def test_broken_contracts_are_refused(call):
    with pytest.raises(GridError):
        call()


def test_water_that_leaves_a_block_leaves_the_data():
    whole = codes([[E, E, S, X], [N, SE, S, W], [NE, NW, E, SW], [OUT, W, S, OUT]])
    part = within(whole, Window(1, 1, 2, 2))
    assert part.tolist() == [[SE, S], [OUT, OUT]]
    accumulate(part)  # no code leads out
    assert (within(whole, Window(0, 0, 4, 4))[:, 1:3] == whole[:, 1:3])[1:-1].all()
    assert whole[2, 1] == NW  # the given one is left alone
