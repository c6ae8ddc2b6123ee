"""Subcatchments, stream orders and heights on real elevation, against independent libraries."""

import numpy as np
import pyflwdir
import pytest
from matplotlib import cbook
from pysheds.grid import Grid as PeerGrid
from pysheds.view import Raster, ViewFinder
from scipy.sparse import csgraph, csr_array

from brimline.drainage.catchments import (
    distance_to_intake,
    height_above_drainage,
    longest_paths,
    subcatchments,
)
from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.paths import flow_paths
from brimline.grid import D_COL, D_ROW, OUTLET, Grid
from brimline.terrain.conditioning import fill

# our codes 0 to 8, counter-clockwise from east, as powers of two clockwise from east
POWERS = np.array([1, 128, 64, 32, 16, 8, 4, 2, 0], dtype=np.uint8)
NODATA_POWER = 247


class Ground:
    """A surface, its directions and areas, and the same directions in the peers' words."""

    def __init__(self, dem):
        self.surface = fill(dem)
        self.directions = flow_directions(self.surface)
        self.area = accumulate(self.directions)
        valid = ~np.isnan(dem)
        self.powers = np.where(valid, POWERS[np.minimum(self.directions, 8)], NODATA_POWER).astype(
            np.uint8
        )
        self.peer = pyflwdir.from_array(self.powers, ftype="d8", latlon=False)
        streams = np.flatnonzero(self.area.ravel() >= 300)
        chosen = np.random.default_rng(5).choice(streams, 25, replace=False)
        self.intakes = np.column_stack(np.divmod(chosen, dem.shape[1]))


def sample(with_outline):
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        dem = data["elevation"].astype(np.float32)
    if with_outline:
        row, col = np.indices(dem.shape)
        dem[np.hypot(row - 170, (col - 200) / 1.2) > 160 + 12 * np.sin(row / 9.0)] = np.nan
    return dem


@pytest.fixture(scope="module", params=[False, True], ids=["whole", "outline"])
def ground(request):
    return Ground(sample(request.param))


def test_subcatchments_equal_basins_of_pyflwdir(ground):
    found = subcatchments(ground.directions, ground.intakes)
    ids = np.arange(1, 26, dtype=np.uint32)
    cells = ground.intakes[:, 0] * ground.area.shape[1] + ground.intakes[:, 1]
    np.testing.assert_array_equal(found.labels, ground.peer.basins(idxs=cells, ids=ids))


def test_total_areas_equal_catchments_of_pysheds(ground):
    found = subcatchments(ground.directions, ground.intakes)
    # ringed by nodata, since pysheds does not count what drains from the raster's edge
    powers = np.pad(ground.powers, 1, constant_values=NODATA_POWER).astype(np.int64)
    finder = ViewFinder(shape=powers.shape)
    grid = PeerGrid(viewfinder=finder)
    for number, (row, col) in enumerate(ground.intakes[:8].tolist()):
        inside = grid.catchment(
            col + 1,
            row + 1,
            Raster(powers, viewfinder=finder),
            xytype="index",
            nodata_out=np.bool_(False),
            recursive=False,
        )
        assert found.cells[number] == np.asarray(inside).sum()


def test_distances_and_longest_paths_equal_shortest_ways_of_scipy(ground):
    """Going up from an intake there is one way to each cell, so the shortest is the longest."""
    cols = ground.area.shape[1]
    row, col = np.nonzero(ground.directions < OUTLET)
    code = ground.directions[row, col]
    below = (row + D_ROW[code]) * cols + col + D_COL[code]
    upward = csr_array(
        (np.hypot(D_ROW[code], D_COL[code]), (below, row * cols + col)),
        shape=(ground.area.size, ground.area.size),
    )
    cells = ground.intakes[:, 0] * cols + ground.intakes[:, 1]
    ways = csgraph.dijkstra(upward, indices=cells)

    found = subcatchments(ground.directions, ground.intakes)
    longest = longest_paths(ground.directions, found, cell_m=1.0)
    reached = np.where(np.isfinite(ways), ways, -1.0)
    np.testing.assert_allclose(longest.length_m, reached.max(axis=1))
    distance = distance_to_intake(ground.directions, found, cell_m=1.0).ravel()
    inside = np.flatnonzero(found.labels.ravel())
    to_first = ways[found.labels.ravel()[inside] - 1, inside]
    np.testing.assert_allclose(distance[inside], to_first)


def test_order_of_every_flow_path_cell_equals_strahler_order_of_pyflwdir(ground):
    grid = Grid(*ground.area.shape, cell_m=1.0)
    paths = flow_paths(ground.directions, ground.area, ground.surface, grid, min_area_m2=100.0)
    ours = np.zeros(ground.area.size, dtype=np.int32)
    for number in range(1, paths.order.size + 1):
        ours[paths.cells_of(number)[:-1]] = paths.order[number - 1]
    peer = ground.peer.stream_order(type="strahler", mask=ground.area >= 100).ravel()
    drawn = ours > 0
    np.testing.assert_array_equal(ours[drawn], peer[drawn])
    # all that is not drawn are outlets, where no step begins
    assert (ground.directions.ravel()[(peer > 0) & ~drawn] == OUTLET).all()
    assert paths.order.max() >= 4


def test_height_above_drainage_equals_hand_of_pyflwdir(ground):
    drains = ground.area >= 300
    ours = height_above_drainage(ground.surface, ground.directions, drains)
    peer = ground.peer.hand(drain=drains, elevtn=ground.surface)
    reached = ~np.isnan(ours)
    np.testing.assert_array_equal(ours[reached], peer[reached])
    assert reached.sum() > 0.8 * (~np.isnan(ground.surface)).sum()
