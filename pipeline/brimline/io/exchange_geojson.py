"""A layer as GeoJSON (RFC 7946): WGS 84, longitude first, seven digits, right-hand rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyogrio
from pyogrio.errors import DataSourceError

from brimline.errors import StoreError
from brimline.io.atomic import written_whole
from brimline.io.frames import conformed
from brimline.io.geographic import on_wgs84

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

    from brimline.layers import Layer


def write_geojson(path: Path, frame: gpd.GeoDataFrame, declaration: Layer) -> None:
    """Write a layer's rows as a FeatureCollection with a bounding box.

    Heights are left out of the coordinates (`on_wgs84` says why); levels are properties.

    Raises
    ------
    InternalError
        If a declared column is missing or holds another type, or the rows have no CRS.
    StoreError
        If the file cannot be written.
    """
    rows = on_wgs84(conformed(frame, declaration))
    with written_whole(path) as part:
        try:
            pyogrio.write_dataframe(
                rows,
                part,
                layer=declaration.name,
                driver="GeoJSON",
                layer_options={
                    "RFC7946": "YES",
                    "WRITE_BBOX": "YES",
                    "WRITE_NAME": "YES",
                    "DESCRIPTION": declaration.meaning,
                },
            )
        except DataSourceError as fault:
            raise StoreError(f"{path} could not be written: {fault}") from fault
