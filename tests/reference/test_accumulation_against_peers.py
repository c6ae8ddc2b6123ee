"""Accumulation against independent libraries, on the same directions or the same surface."""

import os
from pathlib import Path

import numpy as np
import pyflwdir
import pytest
import rasterio
import richdem
from matplotlib import cbook

from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
)
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.terrain.conditioning import fill

MISSING = -9999.0
# our codes 0 to 8 as pyflwdir's powers of two clockwise from east, 0 where water leaves
TO_D8 = np.array([1, 128, 64, 32, 16, 8, 4, 2, 0], dtype=np.uint8)
# our codes 0 to 7 as richdem's neighbours, 1 to 8 clockwise from west
TO_RICHDEM = np.array([5, 4, 3, 2, 1, 8, 7, 6])


def jacksboro():
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return sample["elevation"].astype(np.float32)


def moraine():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        return source.read(1).astype(np.float32)


def random_ground():
    """A tilted rough plane with an irregular outline and holes."""
    random = np.random.default_rng(11)
    row, col = np.indices((173, 131))
    dem = 0.05 * row + random.normal(0, 0.4, row.shape).cumsum(axis=1) * 0.1
    dem[np.hypot(row - 86, col - 65) > 80 + 6 * np.sin(row / 5)] = np.nan
    dem[random.random(dem.shape) < 0.01] = np.nan
    return dem.astype(np.float32)


GROUNDS = [
    pytest.param(jacksboro, id="sample elevation"),
    pytest.param(random_ground, id="random, irregular"),
    pytest.param(moraine, id="survey", marks=pytest.mark.realdata),
]


def as_richdem(dem):
    plain = np.where(np.isnan(dem), np.float32(MISSING), dem)
    return richdem.rdarray(plain, no_data=MISSING, geotransform=(0, 1, 0, 0, 0, -1))


@pytest.mark.parametrize("ground", GROUNDS)
def test_cells_counted_equal_pyflwdir_on_the_same_directions(ground):
    directions = flow_directions(fill(ground()))
    valid = directions != NO_DATA
    d8 = np.where(valid, TO_D8[np.where(valid, directions, OUTLET)], 247).astype(np.uint8)
    peer = pyflwdir.from_array(d8, ftype="d8", latlon=False).upstream_area(unit="cell")
    np.testing.assert_array_equal(accumulate(directions)[valid], peer[valid])


@pytest.mark.parametrize("ground", GROUNDS)
def test_weights_summed_equal_richdem_on_the_same_directions(ground):
    # ringed by nodata, since richdem does not count donors on the raster's edge
    directions = np.pad(flow_directions(fill(ground())), 1, constant_values=NO_DATA)
    shares = np.full((*directions.shape, 9), -1.0, dtype=np.float32)
    shares[directions == NO_DATA, 0] = -2.0
    row, col = np.nonzero(directions < OUTLET)
    shares[row, col, 0] = 0.0
    shares[row, col, TO_RICHDEM[directions[row, col]]] = 1.0
    rain = np.random.default_rng(5).random(directions.shape)
    peer = richdem.FlowAccumFromProps(
        richdem.rd3array(shares, no_data=-2, geotransform=(0, 1, 0, 0, 0, -1)),
        weights=richdem.rdarray(rain.copy(), no_data=-1, geotransform=(0, 1, 0, 0, 0, -1)),
    )
    valid = directions != NO_DATA
    np.testing.assert_allclose(
        accumulate(directions, rain)[valid], np.asarray(peer)[valid], rtol=1e-12
    )


def drained(dem):
    """A surface without pits or flats, ringed by nodata since richdem's edge cells never give."""
    surface = np.array(richdem.FillDepressions(as_richdem(dem), epsilon=True))
    surface[np.isnan(dem)] = np.nan
    return np.pad(surface, 1, constant_values=np.nan)


def richdem_dinf_shares(surface):
    """richdem's shares over facets, given to the right neighbours.

    Where water is shared, richdem 2.4.3 gives the nearer neighbour the share of the farther one
    (see the plane below); its facets and angles are sound. Tarboton (1997, p. 313): the share is
    inversely related to the angle between the steepest descent and the neighbour.
    """
    shares = richdem.FlowProportions(as_richdem(surface), method="Dinf")
    values = np.asarray(shares)
    plain = values[..., 1:].copy()
    row, col = np.nonzero((plain > 0).sum(axis=2) == 2)
    pairs = np.argsort(plain[row, col] <= 0, axis=1, kind="stable")[:, :2]
    for one, other in ((0, 1), (1, 0)):
        values[row, col, 1 + pairs[:, one]] = plain[row, col, pairs[:, other]]
    return shares


@pytest.mark.parametrize("ground", GROUNDS[::2])
def test_dinf_equals_richdem_within_its_single_precision(ground):
    surface = drained(ground())
    valid = ~np.isnan(surface)
    peer = richdem.FlowAccumFromProps(richdem_dinf_shares(surface))
    ours = dinf_accumulation(surface)
    assert_close_in_single_precision(ours[valid], np.asarray(peer)[valid])


def assert_close_in_single_precision(ours, theirs):
    """Shares are rounded to 1e-7, and a rounded share of a large flow may reach a small one."""
    np.testing.assert_allclose(ours, theirs, rtol=2e-5, atol=1e-7 * theirs.max())


def plane(fall_deg):
    """A plane that falls towards an angle counter-clockwise from east."""
    row, col = np.indices((9, 9))
    fall = np.radians(fall_deg)
    return (50 - 3 * (np.cos(fall) * col - np.sin(fall) * row)).astype(np.float32)


@pytest.mark.parametrize("turn", range(8))
def test_dinf_on_a_plane_shares_by_angle_as_in_the_paper(turn):
    # Tarboton (1997): 10 degrees off a neighbour of a 45 degree facet, it gets 35/45
    spot = np.zeros((9, 9))
    spot[4, 4] = 1.0
    caught = dinf_accumulation(plane(45.0 * turn + 10.0), spot)
    one = 4 + D_ROW[turn], 4 + D_COL[turn]
    other = 4 + D_ROW[(turn + 1) % 8], 4 + D_COL[(turn + 1) % 8]
    np.testing.assert_allclose([caught[one], caught[other]], [35 / 45, 10 / 45], atol=1e-5)


def test_richdem_still_gives_the_farther_neighbour_the_larger_share():
    # when this fails, richdem has mended it, and the swap above must go
    shares = np.asarray(richdem.FlowProportions(as_richdem(plane(10.0)), method="Dinf"))[4, 4]
    east, north_east = shares[TO_RICHDEM[0]], shares[TO_RICHDEM[1]]
    np.testing.assert_allclose([east, north_east], [10 / 45, 35 / 45], atol=1e-5)


@pytest.mark.parametrize("exponent", [1.1, 4.0])
@pytest.mark.parametrize("ground", GROUNDS[::2])
def test_mfd_equals_richdem_within_its_single_precision(ground, exponent):
    surface = drained(ground())
    peer = richdem.FlowAccumulation(as_richdem(surface), method="Freeman", exponent=exponent)
    ours = mfd_accumulation(surface, exponent=exponent)
    valid = ~np.isnan(surface)
    assert_close_in_single_precision(ours[valid], np.asarray(peer)[valid])
