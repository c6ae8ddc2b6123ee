"""Rasters written and read back, with an independent checker of cloud-optimised GeoTIFFs."""

import math

import numpy as np
import pytest
import rasterio
from rio_cogeo.cogeo import cog_validate

from brimline.errors import GridError, StoreError
from brimline.grid import Grid
from brimline.io.rasters import plain_bytes, read_raster, stepped, write_raster
from brimline.layers import CATALOGUE, Raster, raster

CUSTOM = (  # a projection of one site, as surveyors make them
    "+proj=tmerc +lat_0=47.1 +lon_0=15.3 +k=1.0001 +x_0=10000 +y_0=20000 +datum=WGS84 +units=m"
)
RASTERS = [item for item in CATALOGUE.values() if isinstance(item, Raster)]
GRID = Grid(430, 390, 1.5, 500_000.25, 5_200_000.75, "EPSG:32633")


def filled(declaration, shape=GRID.shape, seed=7):
    rng = np.random.default_rng(seed)
    values = (rng.random(shape) * 90 + 1).astype(declaration.dtype)
    if declaration.nodata is not None:
        values[..., :40, :50] = declaration.nodata
    return values


@pytest.mark.parametrize("declaration", RASTERS, ids=lambda item: item.name)
def test_every_declared_raster_is_a_valid_cloud_optimised_geotiff(tmp_path, declaration):
    values = filled(declaration, declaration.shape(GRID.shape))
    if declaration.step:
        values = stepped(values, declaration.step)
    path = tmp_path / f"{declaration.name}.tif"
    write_raster(path, values, GRID, declaration)
    valid, errors, warnings = cog_validate(path, strict=True)
    assert valid, (errors, warnings)
    with rasterio.open(path) as file:
        assert file.overviews(1)
        assert file.crs.to_epsg() == 32633
        assert file.descriptions == (declaration.bands or (declaration.title,))
        assert (file.units[0] or "") == declaration.unit
        assert file.tags()["TITLE"] == declaration.title
        assert file.tags()["DESCRIPTION"] == declaration.meaning
        found = read_raster(path).array if declaration.step else file.read().reshape(values.shape)
        np.testing.assert_array_equal(found, values)
        told = float(file.tags(1)["STATISTICS_MEAN"])
        assert told == pytest.approx(file.read(1, masked=True).astype(np.float64).mean(), rel=1e-6)
        if declaration.step:
            assert (file.dtypes[0], file.nodata) == ("int16", -32768)
        elif declaration.nodata is None or math.isnan(declaration.nodata):
            assert file.nodata is None or math.isnan(file.nodata)
        else:
            assert file.nodata == declaration.nodata
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]  # nothing beside it


def test_statistics_of_a_raster_of_many_blocks_are_those_of_all_its_cells(tmp_path):
    grid = Grid(900, 40, 1.0, 500_000.0, 5_300_000.0, "EPSG:32633")
    levels = np.random.default_rng(3).normal(2500, 0.02, grid.shape).astype(np.float32)
    levels[:300] = np.nan  # the first block has nothing at all
    levels[400:, 7] += 30
    write_raster(tmp_path / "levels.tif", levels, grid, raster("elevation"))
    with rasterio.open(tmp_path / "levels.tif") as file:
        told = {name: float(text) for name, text in file.tags(1).items()}
    held = levels[300:].astype(np.float64)
    assert told["STATISTICS_MINIMUM"] == held.min()
    assert told["STATISTICS_MAXIMUM"] == held.max()
    assert told["STATISTICS_MEAN"] == pytest.approx(held.mean(), rel=1e-12)
    assert told["STATISTICS_STDDEV"] == pytest.approx(held.std(), rel=1e-9)
    assert told["STATISTICS_VALID_PERCENT"] == pytest.approx(66.67)


def test_overviews_average_quantities_but_never_codes(tmp_path):
    codes = np.zeros(GRID.shape, dtype=np.uint8)
    codes[:, ::2] = 7  # an average would be 3 or 4, which is another direction
    write_raster(tmp_path / "codes.tif", codes, GRID, raster("flow_direction"))
    levels = np.zeros(GRID.shape, dtype=np.float32)
    levels[:, ::2] = 7
    write_raster(tmp_path / "levels.tif", levels, GRID, raster("elevation"))
    with rasterio.open(tmp_path / "codes.tif", overview_level=0) as file:
        assert set(np.unique(file.read(1))) <= {0, 7}
    with rasterio.open(tmp_path / "levels.tif", overview_level=0) as file:
        assert np.median(file.read(1)) == pytest.approx(3.5)


def test_same_array_gives_the_same_bytes(tmp_path):
    declaration = raster("elevation")
    for name in ("a.tif", "b.tif"):
        write_raster(tmp_path / name, filled(declaration), GRID, declaration)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
    plain = [plain_bytes(filled(declaration), GRID, nodata=math.nan) for _ in range(2)]
    assert plain[0] == plain[1]


@pytest.mark.parametrize("writer", ["plain", "published"])
def test_values_and_grid_come_back_exactly(tmp_path, writer):
    declaration = raster("contributing_area_m2")
    values = filled(declaration)
    path = tmp_path / "area.tif"
    if writer == "plain":
        path.write_bytes(plain_bytes(values, GRID, nodata=declaration.nodata))
    else:
        write_raster(path, values, GRID, declaration)
    back = read_raster(path)
    np.testing.assert_array_equal(back.array, values)
    assert back.array.dtype == values.dtype
    assert back.grid == GRID


def test_a_grid_without_crs_or_with_a_custom_one_comes_back(tmp_path):
    from brimline.io.crs import canonical, parsed

    custom = canonical(parsed(CUSTOM))
    for crs in ("", custom):
        grid = Grid(3, 4, 0.3048006096, 1.0, 2.0, crs)
        path = tmp_path / "a.tif"
        path.write_bytes(plain_bytes(np.zeros((3, 4), dtype=np.int32), grid, nodata=0))
        assert read_raster(path).grid == grid


@pytest.mark.parametrize("writer", ["plain", "published"])
def test_values_in_steps_are_held_as_scaled_whole_numbers(tmp_path, writer):
    declaration, path = raster("sky_share"), tmp_path / "a.tif"
    values = stepped(np.linspace(0, 1, GRID.rows * GRID.cols).reshape(GRID.shape), 0.01)
    values[2, 3] = np.nan
    if writer == "plain":
        path.write_bytes(plain_bytes(values, GRID, nodata=math.nan, step=declaration.step))
    else:
        write_raster(path, values, GRID, declaration)
    with rasterio.open(path) as file:
        assert (file.dtypes, file.scales, file.offsets) == (("int16",), (0.01,), (0.0,))
        assert file.nodata == -32768
        real = file.read(1, masked=True) * file.scales[0]  # as any reader of the standard takes it
    np.testing.assert_allclose(real.filled(np.nan), values, atol=1e-6)
    back = read_raster(path).array
    np.testing.assert_array_equal(back, values)
    assert back.dtype == np.float32
    with pytest.raises(GridError, match="steps of"):
        plain_bytes(np.full(GRID.shape, 1e6, np.float32), GRID, nodata=None, step=0.01)


def test_wrong_shape_or_dtype_is_refused(tmp_path):
    with pytest.raises(GridError, match="does not fit its grid"):
        write_raster(tmp_path / "a.tif", np.zeros((2, 2), np.float32), GRID, raster("elevation"))
    with pytest.raises(GridError, match="must be float32, got float64"):
        write_raster(tmp_path / "a.tif", np.zeros(GRID.shape), GRID, raster("elevation"))
    assert not list(tmp_path.iterdir())


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(StoreError, match="could not be written"):
        write_raster(
            tmp_path / "none" / "a.tif",
            filled(raster("elevation")),
            GRID,
            raster("elevation"),
        )
