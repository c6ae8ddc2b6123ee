"""What is done to many chains in one go, against the same done to each in turn."""

import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.grid import Grid
from brimline.lines.relief.chains import Chains
from brimline.lines.relief.courses import smoothed_along
from brimline.lines.relief.extent import _bridged
from brimline.lines.relief.ground import ReliefGround
from brimline.lines.relief.network import find_network

SIZES = np.array([2, 1, 7, 40, 3, 90])


@pytest.fixture(scope="module")
def made():
    chains = Chains.of_sizes(SIZES)
    steps = np.random.default_rng(4).normal([1.0, 0.2], 1.0, (int(SIZES.sum()), 2))
    return chains, np.cumsum(steps, axis=0)


def each(chains, values):
    return [values[a:b] for a, b in zip(chains.start[:-1], chains.start[1:], strict=True)]


def test_places_count_from_the_first_point_of_each_chain(made):
    chains, _ = made
    assert chains.place.tolist() == [k for size in SIZES for k in range(size)]
    assert chains.last.tolist() == [size - 1 for size in SIZES for _ in range(size)]
    back = chains.shifted(np.full(len(chains.chain), -3))
    assert (back == np.arange(len(back)) - np.minimum(chains.place, 3)).all()


@pytest.mark.interpreted
def test_chainage_is_the_length_of_the_line_so_far(made):
    chains, xy = made
    along = chains.chainage(xy)
    for points, got in zip(each(chains, xy), each(chains, along), strict=True):
        if len(points) > 1:
            assert got[-1] == pytest.approx(shapely.LineString(points).length)
            assert got[1] == pytest.approx(np.hypot(*(points[1] - points[0])))
        assert got[0] == 0.0


@pytest.mark.parametrize("sigma", [1.0, 3.0])
def test_chains_are_smoothed_as_each_alone_and_long_ones_keep_their_ends(made, sigma):
    chains, xy = made
    smooth = chains.smoothed(xy, sigma)
    for points, got in zip(each(chains, xy), each(chains, smooth), strict=True):
        np.testing.assert_allclose(got, smoothed_along(points, sigma), atol=1e-12)
        if len(points) > 4 * sigma:
            np.testing.assert_allclose(got[[0, -1]], points[[0, -1]], atol=1e-12)


def test_change_is_numpys_gradient(made):
    chains, xy = made
    changes = chains.change(xy[:, 0])
    for points, got in zip(each(chains, xy), each(chains, changes), strict=True):
        expected = np.gradient(points[:, 0]) if len(points) > 1 else [0.0]
        np.testing.assert_allclose(got, expected, atol=1e-12)


@pytest.mark.interpreted
def test_a_running_mean_leaves_out_what_is_not_known(made):
    chains, xy = made
    values = xy[:, 1].copy()
    values[::5] = np.nan
    reach = np.arange(len(SIZES)) + 1
    means = chains.running_mean(values, reach)
    for points, got, far in zip(each(chains, values), each(chains, means), reach, strict=True):
        for place, value in enumerate(points):
            around = points[max(place - far, 0) : place + far + 1]
            expected = np.nan if np.isnan(value) else np.nanmean(around)
            assert got[place] == pytest.approx(expected, nan_ok=True)


def test_values_between_points_are_numpys_interpolation(made):
    chains, xy = made
    along = chains.chainage(xy)
    wanting = Chains.of_sizes(np.full(len(SIZES), 9))
    wanted = np.linspace(0, 1, 9)[wanting.place] * chains.at_last(along)[wanting.chain]
    got = chains.at(along, xy, wanting, wanted)
    for one, points, s, where in zip(
        each(wanting, got),
        each(chains, xy),
        each(chains, along),
        each(wanting, wanted),
        strict=True,
    ):
        expected = np.column_stack([np.interp(where, s, points[:, k]) for k in (0, 1)])
        np.testing.assert_allclose(one, expected, atol=1e-9)


def test_even_steps_run_from_end_to_end_and_are_no_longer_than_asked(made):
    chains, xy = made
    long = np.flatnonzero(SIZES > 1)
    xy = np.concatenate([each(chains, xy)[k] for k in long])
    chains = Chains.of_sizes(SIZES[long])
    even, found = chains.evenly(xy, 0.7)
    length = chains.at_last(chains.chainage(xy))
    assert (even.size == np.ceil(length / 0.7) + 1).all()
    np.testing.assert_allclose(found[even.start[:-1]], xy[chains.start[:-1]])
    np.testing.assert_allclose(found[even.start[1:] - 1], xy[chains.start[1:] - 1])
    assert (np.diff(even.chainage(found)) <= 0.7 + 1e-9).all()


@pytest.mark.parametrize("seed", range(5))
def test_gaps_are_closed_as_by_a_closing_of_each_course(seed):
    chains = Chains.of_sizes(SIZES)
    good = np.random.default_rng(seed).random(int(SIZES.sum())) < 0.3
    longest = np.array([2.0, 3.5, 4.0, 6.9, 1.0, 11.0])
    closed = _bridged(good, chains, longest)
    for one, got, length in zip(each(chains, good), each(chains, closed), longest, strict=True):
        reach = max(int(length / 2), 1)
        expected = ndimage.binary_closing(np.pad(one, reach), np.ones(2 * reach + 1))
        np.testing.assert_array_equal(got, expected[reach:-reach] | one)


@pytest.mark.interpreted
@pytest.mark.parametrize("edge_m", [0.0, 3.0, 4.5])
def test_clear_of_the_edge_is_where_no_level_is_missing_around(edge_m):
    levels = np.zeros((21, 17), dtype=np.float32)
    levels[4, 11] = np.nan
    grid = Grid(21, 17, 2.0, 100.0, 300.0)
    inner = ndimage.minimum_filter(
        np.isfinite(levels), 2 * int(np.ceil(edge_m / 2.0)) + 1, mode="constant", cval=False
    )
    row, col = np.indices(grid.shape)
    xy = np.column_stack([one.ravel() for one in grid.xy(row, col)])
    clear = ReliefGround(levels, grid).clear_of_edge(xy, edge_m)
    np.testing.assert_array_equal(clear.reshape(grid.shape), inner)
    outside = np.array([[99.0, 290.0], [110.0, 301.0], [134.5, 290.0]])
    assert not ReliefGround(levels, grid).clear_of_edge(outside, edge_m).any()


def test_the_network_upside_down_is_that_of_the_surface_turned_over():
    z = ndimage.gaussian_filter(np.random.default_rng(8).normal(size=(120, 130)), 9)
    z = (300 * z).astype(np.float32)
    grid = Grid(120, 130, 1.0)
    one = find_network(z, grid, flank_m=9.0, min_area_m2=300.0, upside_down=True)
    other = find_network(-z, grid, flank_m=9.0, min_area_m2=300.0)
    assert len(one.cells) == len(other.cells) > 3
    for a, b in zip(one.cells, other.cells, strict=True):
        np.testing.assert_array_equal(a, b)
    np.testing.assert_array_equal(one.trend, other.trend)
