"""Hollows against closed forms, and against an independent hierarchy of depressions."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
import richdem
from matplotlib import cbook
from scipy import ndimage

from brimline.drainage.hollows import find_hollows
from brimline.terrain.conditioning import fill


def pit(shape_of, cell_m=0.25, radius_m=20.0, depth_m=3.0, level_m=100.0):
    """A pit in level ground, and the same closed form over its cells."""
    half = round(1.3 * radius_m / cell_m)
    offset = cell_m * np.arange(-half, half + 1)
    distance = np.hypot(*np.meshgrid(offset, offset)) / radius_m
    ground = level_m - depth_m * np.clip(shape_of(distance), 0, None)
    return ground.astype(np.float32), find_hollows(
        ground.astype(np.float32), cell_m=cell_m, min_depth_m=0.01
    )


def test_a_cone_holds_a_third_of_its_base_times_its_depth():
    _, found = pit(lambda r: 1 - r)
    assert found.depth_m == pytest.approx([3.0])
    assert found.area_m2 == pytest.approx([np.pi * 20.0**2], rel=2e-3)
    assert found.volume_m3 == pytest.approx([np.pi * 20.0**2 * 3.0 / 3], rel=1e-3)
    np.testing.assert_array_equal(found.spill_level_m, [100.0])


def test_a_paraboloid_holds_half_of_its_base_times_its_depth():
    _, found = pit(lambda r: 1 - r**2)
    assert found.volume_m3 == pytest.approx([np.pi * 20.0**2 * 3.0 / 2], rel=1e-3)


def test_a_cone_frustum_holds_what_the_closed_form_says():
    """Pi h (R² + R r + r²) / 3, with the floor at half the radius."""
    _, found = pit(lambda r: np.minimum(2 * (1 - r), 1))
    expected = np.pi * 3.0 * (20**2 + 20 * 10 + 10**2) / 3
    assert found.volume_m3 == pytest.approx([expected], rel=1e-3)


def hierarchy(dem):
    """Spill level, volume and number of cells of each depression that richdem finds, sorted."""
    ground = richdem.rdarray(
        dem.astype(np.float64), no_data=-9999.0, geotransform=(0, 1, 0, 0, 0, -1)
    )
    labels = richdem.get_new_depression_hierarchy_labels(dem.shape)
    depressions, _ = richdem.get_depression_hierarchy(ground, labels)
    parent = {d.dep_label: d.parent for d in depressions}
    linked = {d.dep_label: d.ocean_parent for d in depressions}
    rows = []
    for depression in depressions[1:]:
        up, nesting = depression.dep_label, 0
        while not linked[up] and parent[up] != 0:
            up, nesting = parent[up], nesting + 1
        rows.append((depression.out_elev, depression.dep_vol, nesting))
    return np.array(sorted(rows))


@pytest.mark.parametrize("seed", range(6))
def test_the_full_tree_equals_the_hierarchy_of_richdem(seed):
    """Barnes, Callaghan & Wickert (2020), as its authors implement it, where levels never tie."""
    noise = np.random.default_rng(seed).normal(size=(70, 90))
    dem = (10 * ndimage.gaussian_filter(noise, 1.5)).astype(np.float32)
    found = find_hollows(dem, cell_m=1.0)
    ours = np.array(sorted(zip(found.spill_level_m, found.volume_m3, found.nesting, strict=True)))
    theirs = hierarchy(dem)
    assert len(ours) > 100
    np.testing.assert_array_equal(ours[:, 0], theirs[:, 0])
    np.testing.assert_allclose(ours[:, 1], theirs[:, 1], rtol=1e-9, atol=1e-9)
    np.testing.assert_array_equal(ours[:, 2], theirs[:, 2])


def jacksboro():
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return sample["elevation"].astype(np.float32)


def moraine():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1, masked=True)
    return dem.filled(np.nan).astype(np.float32)


@pytest.mark.parametrize("ground", [jacksboro, pytest.param(moraine, marks=pytest.mark.realdata)])
def test_hollows_of_real_elevation_hold_what_filling_adds(ground):
    dem = ground()
    found = find_hollows(dem, cell_m=1.0)
    added = fill(dem).astype(np.float64) - dem
    added = np.where(np.isnan(added), 0.0, added)
    outermost = found.parent_ids == 0
    assert found.volume_m3[outermost].sum() == pytest.approx(added.sum(), rel=1e-12)
    assert found.area_m2[outermost].sum() == (added > 0).sum()
    _, pieces = ndimage.label(added > 0, structure=np.ones((3, 3)))
    assert outermost.sum() == pieces > 20


@pytest.mark.realdata
def test_glacial_ground_has_the_hollows_that_richdem_finds():
    """Where levels tie the two may nest differently; depth and volume stay the same."""
    dem = moraine()
    found = find_hollows(dem, cell_m=1.0)
    theirs = hierarchy(dem)
    theirs = theirs[theirs[:, 2] == 0]
    outermost = found.parent_ids == 0
    ours = np.array(
        sorted(zip(found.spill_level_m[outermost], found.volume_m3[outermost], strict=True))
    )
    kept = theirs[:, 1] > 0
    np.testing.assert_allclose(ours, theirs[kept, :2], rtol=1e-9)
