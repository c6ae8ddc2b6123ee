"""Values of the catalogue as bytes and back, and their check."""

from __future__ import annotations

import io
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pyproj
import shapely

from brimline.errors import InternalError
from brimline.io.frames import check_frame, conformed, layer_of
from brimline.io.rasters import plain_bytes
from brimline.layers import Layer, Raster, Table

if TYPE_CHECKING:
    import geopandas as gpd
    import pyarrow as pa

    from brimline.grid import Grid
    from brimline.layers import Item

_PARQUET: Final[dict[str, Any]] = {"compression": "zstd", "compression_level": 1, "index": False}


def bytes_of(item: Item, value: Any, grid: Grid | None) -> bytes:  # noqa: ANN401 - as declared
    """Return the bytes of a file; `grid` says where a raster's cells are.

    Raises
    ------
    InternalError
        If the value is not what `item` declares.
    """
    if isinstance(item, Raster):
        if grid is None:
            raise InternalError(f"raster {item.name} is written without its grid")
        return plain_bytes(value, grid, nodata=item.nodata, step=item.step)
    frame = conformed(value, item)
    buffer = io.BytesIO()
    if isinstance(item, Layer):
        frame.to_parquet(buffer, schema_version="1.1.0", geometry_encoding="WKB", **_PARQUET)
    else:
        frame.to_parquet(buffer, engine="pyarrow", **_PARQUET)
    return buffer.getvalue()


def frame_of(content: bytes, item: Layer | Table) -> pd.DataFrame:
    """Return the layer or table that a file holds."""
    buffer = io.BytesIO(content)
    if isinstance(item, Layer):
        rows: pd.DataFrame = _layer(pq.read_table(buffer), item)
        return rows
    frame: pd.DataFrame = conformed(pd.read_parquet(buffer), item)
    return frame


def check(item: Item, value: Any) -> None:  # noqa: ANN401 - it is what is checked
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
