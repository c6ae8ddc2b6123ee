"""Ground lifted by 4000 m gives the same water, whatever float32 makes of its levels."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from scipy.ndimage import gaussian_filter

from brimline.drainage.certainty import catchment_ranges
from brimline.drainage.flow import accumulate, flow_directions
from brimline.io.elevation import read_elevation
from brimline.terrain.conditioning import condition, fill

LIFT_M = 4000.0


def read(path, levels):
    with rasterio.open(
        path, "w", driver="GTiff", height=levels.shape[0], width=levels.shape[1], count=1,
        dtype=levels.dtype, crs="EPSG:32633", transform=Affine(1, 0, 5e5, 0, -1, 52e5),
    ) as file:  # fmt: skip
        file.write(levels, 1)
    return read_elevation(path).dem


@pytest.fixture(scope="module", params=["full", "centimetres", "centimetres in float32"])
def grounds(request, tmp_path_factory):
    """A valley with hollows, low and lifted, as read from files: exact, or in whole centimetres."""
    y, x = np.mgrid[:90, :90]
    rough = gaussian_filter(np.random.default_rng(5).normal(size=(90, 90)), 4)
    z = 100 + 0.06 * y + 0.0008 * (x - 45) ** 2 + 2 * rough
    if request.param != "full":
        z = np.round(z, 2)
    kind = np.float32 if "float32" in request.param else np.float64
    assert np.any((z + LIFT_M).astype(np.float32) - LIFT_M != z.astype(np.float32))
    folder = tmp_path_factory.mktemp("levels")
    low, high = (
        read(folder / f"{lift_m}.tif", (z + lift_m).astype(kind)) for lift_m in (0.0, LIFT_M)
    )
    assert np.abs(low - z).max() <= 1 / 4096 + 1e-5
    np.testing.assert_array_equal(high.astype(np.float64) - LIFT_M, low.astype(np.float64))
    return low, high


@pytest.mark.parametrize("mode", ["breach", "fill"])
def test_conditioned_ground_and_directions_are_the_same(grounds, mode):
    low, high = (condition(one, cell_m=1.0, mode=mode).surface for one in grounds)
    np.testing.assert_array_equal(high.astype(np.float64) - LIFT_M, low.astype(np.float64))
    np.testing.assert_array_equal(flow_directions(high), flow_directions(low))


def test_the_range_of_a_catchment_is_the_same(grounds):
    told = []
    for dem in grounds:
        surface = fill(dem)
        directions = flow_directions(surface)
        area = accumulate(directions)
        lowest = np.array([np.unravel_index(np.argmax(area), area.shape)])
        found = catchment_ranges(
            surface, directions, lowest, cell_m=1.0, rmse_m=0.1, correlations_m=(5.0,),
            realisations=10, seed=1, snap_radius_m=5.0, movable=np.array([True]),
            conditioning=lambda _patch, _sinks: fill,
        )  # fmt: skip
        told.append((float(found.area_low_m2[0]), float(found.area_high_m2[0]), found.chance))
    assert told[0][:2] == told[1][:2]
    assert told[0][0] > 0
    np.testing.assert_array_equal(told[0][2], told[1][2])
