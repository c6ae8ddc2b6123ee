"""What stages hand each other, as files whose bytes repeat.

Rasters are GeoTIFF, layers GeoParquet, tables Parquet, typed values as `values` tells. The
GeoPackage is for people: it carries a moment of writing and is never read by a stage.
"""

from __future__ import annotations

import importlib.metadata
import io
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pyogrio
import pyproj
import rasterio
import shapely

from brimline.errors import InternalError
from brimline.io.frames import check_frame, conformed, layer_of
from brimline.io.rasters import plain_bytes, read_raster
from brimline.io.values import value_bytes, value_of
from brimline.layers import Layer, Raster

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    import geopandas as gpd
    import pyarrow as pa
    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.layers import Item

_PARQUET: Final[dict[str, Any]] = {"compression": "zstd", "compression_level": 1, "index": False}
_LIBRARIES: Final = ("geopandas", "numba", "numpy", "pandas", "pyarrow", "scipy", "shapely")


class FileCodec:
    """Writes and reads values of the catalogue; equal values become equal bytes."""

    @property
    def version(self) -> str:
        """Text that changes when the bytes of equal values change."""
        return "1"

    def write(
        self,
        path: Path,
        item: Item,
        value: NDArray[Any] | pd.DataFrame,
        grid: Grid | None,
    ) -> None:
        """Write one file and nothing beside it.

        Parameters
        ----------
        path : may have any name; the format follows from `item`.
        value : array for a raster, GeoDataFrame for a layer, DataFrame for a table.
        grid : where a raster's cells are; None for layers and tables.

        Raises
        ------
        OSError
            If the file cannot be written.
        InternalError
            If the value is not what `item` declares.
        """
        path.write_bytes(_bytes(item, value, grid))

    def read(self, path: Path, item: Item) -> Any:  # noqa: ANN401 - one of three kinds of value
        """Read what `write` wrote: an array, a GeoDataFrame or a DataFrame."""
        if isinstance(item, Raster):
            return read_raster(path).array
        content = io.BytesIO(path.read_bytes())
        if isinstance(item, Layer):
            return _layer(pq.read_table(content), item)
        return conformed(pd.read_parquet(content), item)

    def write_value(self, path: Path, value: object) -> None:
        """Write a typed value; raises as `write` does."""
        path.write_bytes(value_bytes(value))

    def read_value(self, path: Path) -> object:
        """Read what `write_value` wrote."""
        return value_of(path.read_bytes())


def checked(item: Item, value: Any) -> None:  # noqa: ANN401 - it is what is checked
    """Check a value against its declaration.

    Raises
    ------
    InternalError
        Naming everything in which it departs.
    """
    if isinstance(item, Raster):
        if not isinstance(value, np.ndarray) or value.dtype != np.dtype(item.dtype):
            found = getattr(value, "dtype", type(value).__name__)
            raise InternalError(f"{item.name} must be a {item.dtype} array, is {found}")
        return
    if not isinstance(value, pd.DataFrame):
        raise InternalError(f"{item.name} must be a frame, is {type(value).__name__}")
    faults = check_frame(value, item)
    if faults:
        raise InternalError("\n".join(faults))


def versions() -> dict[str, str]:
    """Return the versions of the libraries that results may depend on."""
    found = versions_of(_LIBRARIES)
    found["GEOS"] = shapely.geos_version_string
    found["PROJ"] = pyproj.proj_version_str
    found["GDAL"] = str(rasterio.__gdal_version__)
    found["GDAL for vectors"] = ".".join(str(part) for part in pyogrio.__gdal_version__)
    return dict(sorted(found.items()))


def versions_of(libraries: Iterable[str]) -> dict[str, str]:
    """Return the versions of installed libraries by their names."""
    return {name: importlib.metadata.version(name) for name in libraries}


def _layer(table: pa.Table, item: Layer) -> gpd.GeoDataFrame:
    """Return a layer as geopandas reads it, but each CRS is made only once: that takes longest."""
    told = json.loads(table.schema.metadata[b"geo"])
    name = told["primary_column"]
    crs = told["columns"][name].get("crs")
    shapes = shapely.from_wkb(table.column(name).to_numpy())
    rows = table.drop_columns([name]).to_pandas()
    return layer_of(rows, shapes, item, crs and _crs(json.dumps(crs)))


@lru_cache(maxsize=64)
def _crs(text: str) -> pyproj.CRS:
    return pyproj.CRS.from_json(text)


def _bytes(item: Item, value: Any, grid: Grid | None) -> bytes:  # noqa: ANN401
    if isinstance(item, Raster):
        if grid is None:
            raise InternalError(f"raster {item.name} is written without its grid")
        return plain_bytes(value, grid, nodata=item.nodata)
    frame = conformed(value, item)
    buffer = io.BytesIO()
    if isinstance(item, Layer):
        frame.to_parquet(buffer, schema_version="1.1.0", geometry_encoding="WKB", **_PARQUET)
    else:
        frame.to_parquet(buffer, engine="pyarrow", **_PARQUET)
    return buffer.getvalue()
