"""Makers of small input files."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine


@pytest.fixture
def tif(tmp_path):
    """Write a GeoTIFF and return its path."""

    def make(
        values,
        *,
        name="dem.tif",
        crs="EPSG:32633",
        transform=None,
        cell=2.0,
        west=500_000.0,
        north=5_200_000.0,
        nodata=None,
        unit=None,
        scale=None,
        offset=None,
    ):
        bands = values if values.ndim == 3 else values[np.newaxis]
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            count=bands.shape[0],
            height=bands.shape[1],
            width=bands.shape[2],
            dtype=bands.dtype,
            crs=crs,
            transform=transform or Affine(cell, 0, west, 0, -cell, north),
            nodata=nodata,
        ) as file:
            file.write(bands)
            if unit is not None:
                file.set_band_unit(1, unit)
            if scale is not None:
                file.scales = (scale,)
            if offset is not None:
                file.offsets = (offset,)
        return path

    return make


@pytest.fixture
def drawn(tmp_path):
    """Write shapes to a vector file and return its path."""

    def make(shapes, *, name="site.gpkg", layer=None, crs="EPSG:32633", **columns):
        path = Path(tmp_path / name)
        frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
        options = {} if layer is None else {"layer": layer}
        frame.to_file(path, append=path.exists(), **options)
        return path

    return make
