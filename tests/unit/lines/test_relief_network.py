"""Stems, ways through hollows and orders on grids small enough to follow by hand."""

import heapq

import numpy as np
import pytest

from brimline.drainage.flow import accumulate, upstream_order
from brimline.errors import GridError
from brimline.grid import OUTLET, Grid
from brimline.grid.neighbours import D_COL, D_ROW
from brimline.lines.relief import _kernels, ridge_lines, valley_lines
from brimline.lines.relief.network import (
    coarser,
    find_network,
    strahler_orders,
    through_directions,
)

NEIGHBOURS = list(zip(D_ROW.tolist(), D_COL.tolist(), strict=True))


def followed(directions, row, col):
    cells = [(row, col)]
    while directions[row, col] != OUTLET:
        code = directions[row, col]
        row, col = row + D_ROW[code], col + D_COL[code]
        cells.append((int(row), int(col)))
    return np.array(cells)


@pytest.mark.interpreted
@pytest.mark.parametrize("bearing_deg", [5.0, 20.0, 33.0])
def test_a_path_on_a_plane_keeps_to_the_true_descent(bearing_deg):
    # D8 alone runs straight south or south-west here and is cells away after 20 rows.
    row, col = np.indices((24, 24)).astype(float)
    east, south = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    directions = through_directions((100 - 0.1 * (south * row + east * col)).astype(np.float32))
    path = followed(directions, 0, 2)
    path = path[(path < 23).all(axis=1)]  # up to the rim, where water runs out
    aside = (path[:, 1] - 2) * south - path[:, 0] * east
    assert len(path) > 15
    assert np.abs(aside).max() <= 1.0


@pytest.mark.interpreted
def test_water_leaves_a_hollow_over_its_lowest_saddle_and_along_its_trough():
    # A pit at the west end of a trough that rises eastwards to a saddle of 6 in a rim of 9.
    dem = np.full((5, 8), 9.0, dtype=np.float32)
    dem[2, 1:8] = [1.0, 2.0, 3.0, 4.0, 6.0, 0.9, 0.5]
    path = followed(through_directions(dem), 2, 1)
    assert path.tolist() == [[2, c] for c in range(1, 8)]


@pytest.mark.interpreted
def test_enclosed_nodata_and_level_ground_do_not_stop_the_water():
    dem = np.full((7, 9), 5.0, dtype=np.float32)
    dem[3, 4] = np.nan
    directions = through_directions(dem)
    assert (directions == 255).sum() == 1
    assert np.nansum(accumulate(directions)[directions == OUTLET]) == 7 * 9 - 1


@pytest.mark.parametrize("seed", range(12))
def test_ways_through_hollows_never_run_in_a_circle(seed):
    rng = np.random.default_rng(seed)
    dem = rng.integers(0, 6, (23, 31)).astype(np.float32)  # many pits and many flats
    dem[rng.random(dem.shape) < 0.06] = np.nan
    directions = through_directions(dem)
    order = upstream_order(directions)  # raises on a circle
    assert order.size == np.isfinite(dem).sum()


@pytest.mark.interpreted
@pytest.mark.parametrize("seed", range(4))
def test_a_flood_rises_by_level_and_equal_levels_by_their_index(seed):
    # The priority flood of Barnes, Lehman & Mulla (2014), with Python's own queue.
    rng = np.random.default_rng(seed)
    dem = rng.integers(0, 5, (9, 11)).astype(np.float32)
    dem[rng.random(dem.shape) < 0.08] = np.nan
    known = np.isfinite(dem)
    padded = np.pad(known, 1)
    inner = np.all([padded[1 + r : 10 + r, 1 + c : 12 + c] for r, c in NEIGHBOURS], axis=0)
    expected = np.where(known & ~inner, OUTLET, 255)
    rim = np.flatnonzero(known & ~inner)
    queue = [(dem.flat[cell], cell) for cell in rim]
    heapq.heapify(queue)
    while queue:
        row, col = divmod(heapq.heappop(queue)[1], 11)
        for code, (down, along) in enumerate(NEIGHBOURS):
            r, c = row + down, col + along
            if padded[r + 1, c + 1] and expected[r, c] == 255:
                expected[r, c] = code ^ 4
                heapq.heappush(queue, (dem[r, c], r * 11 + c))
    cells = np.flatnonzero(known)
    downwards = cells[np.argsort(-dem.ravel()[cells], kind="stable")]
    np.testing.assert_array_equal(_kernels.flooded(dem, downwards, rim), expected)


def test_orders_follow_strahler():
    # Strahler's rule (1957): two firsts make a second, two seconds a third, a lower order changes
    # nothing. Line 0 takes in line 1 at 10 m, then 2, a second by line 3, at 30 m, then 4 and 5.
    joins = [(-1, 0.0), (0, 10.0), (0, 30.0), (2, 5.0), (0, 50.0), (0, 60.0)]
    ranks = strahler_orders(joins, up_to=2)
    assert [order for order, _ in ranks] == [3, 1, 2, 1, 1, 1]
    assert [upper for _, upper in ranks] == [30.0, *[np.inf] * 5]
    # the same lines, but the second-order one joins before anything else: 2, then 2 again
    ranks = strahler_orders([(-1, 0.0), (0, 30.0), (0, 10.0), (2, 5.0)])
    assert [order for order, _ in ranks] == [2, 1, 2, 1]


def test_wide_cells_hold_the_mean_of_what_is_known_if_that_is_half():
    dem = np.array([[1, 3, 5, np.nan], [1, 3, np.nan, np.nan], [2, 2, 2, 2]], dtype=np.float32)
    wide, grid = coarser(dem, Grid(3, 4, 2.0, 10.0, 50.0), 2)
    assert (grid.rows, grid.cols, grid.cell_m, grid.west_m, grid.north_m) == (2, 2, 4.0, 10.0, 50.0)
    np.testing.assert_array_equal(wide, [[2.0, np.nan], [2.0, 2.0]])


def test_a_stem_goes_up_to_the_divide_and_says_where_it_gathers_enough():
    row, col = np.indices((40, 21))
    dem = (100 - 0.1 * row + 0.2 * np.abs(col - 10)).astype(np.float32)
    network = find_network(dem, Grid(40, 21, 10.0), flank_m=20.0, min_area_m2=20_000.0)
    longest = max(range(len(network.cells)), key=lambda stem: len(network.cells[stem]))
    cells = network.cells[longest]
    area = network.area_m2.ravel()[cells]
    assert (np.diff(area) > 0).all()
    assert network.joins[longest] == -1
    assert (area[network.head[longest] :] >= 20_000).all()
    assert (area[: network.head[longest]] < 20_000).all()
    assert set(cells[network.head[longest] :] % 21) == {10}


def test_bad_input_is_refused():
    grid = Grid(4, 4, 1.0)
    with pytest.raises(GridError, match="surface"):
        find_network(np.zeros(4, np.float32), grid, flank_m=10.0, min_area_m2=1.0)
    with pytest.raises(ValueError, match="min_area_m2"):
        find_network(np.zeros((4, 4), np.float32), grid, flank_m=10.0, min_area_m2=0.0)


@pytest.mark.parametrize("cell_m", [1.0, 10.0])
@pytest.mark.parametrize(
    "dem",
    [
        np.zeros((50, 60), np.float32),
        np.arange(9, dtype=np.float32).reshape(3, 3),
        np.ones((1, 1), np.float32),
        np.arange(40, dtype=np.float32)[None],
        np.where(np.indices((80, 80))[0] % 40 < 20, np.nan, 1.0).astype(np.float32),
    ],
    ids=["level", "three by three", "one cell", "one row", "strips"],
)
def test_ground_too_small_or_level_for_valleys_has_none(dem, cell_m):
    grid = Grid(*dem.shape, cell_m)
    assert valley_lines(dem, grid, min_area_m2=100.0) == ()
    assert ridge_lines(dem, grid, min_area_m2=100.0) == ()
