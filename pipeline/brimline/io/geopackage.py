"""The GeoPackage that people open: every layer and table with its schema said inside the file."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError
from pyproj import CRS

from brimline.errors import InternalError, StoreError
from brimline.io import _gpkg_tables
from brimline.io.about import About
from brimline.io.atomic import written_whole
from brimline.io.crs import same
from brimline.io.frames import conformed
from brimline.layers import Geometry, Layer, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import geopandas as gpd
    import pandas as pd

VERSION: Final = "1.3"  # read by every GDAL since 2.0; 1.4 is not
_OGR_TYPE: Final = {Geometry.ANY: "Unknown"}  # what OGR calls the type that holds any other
_FAULTS: Final = (DataSourceError, DataLayerError, FeatureError, GeometryError, sqlite3.Error)
_GDAL: Final = threading.Lock()  # GDAL's options belong to the whole process


def write_geopackage(
    path: Path,
    items: Sequence[tuple[Layer | Table, gpd.GeoDataFrame | pd.DataFrame]],
    *,
    crs: str,
    about: About | None = None,
) -> None:
    """Write layers and tables in the order given, as a whole or not at all.

    Every layer has a title, a description and a spatial index; every declared column its title,
    meaning and range or allowed values (schema extension). Layers without rows are written too.

    Parameters
    ----------
    crs : of every layer, as an authority code or WKT.

    Raises
    ------
    InternalError
        If rows lack a declared column or cannot take its type, or there is nothing to write.
    StoreError
        If the file cannot be written.
    """
    if not items:
        raise InternalError(f"{path.name} would hold no layer")
    told = about or About()
    moment = (told.written_at or datetime.now(UTC)).astimezone(UTC)
    stamp = moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    with written_whole(path) as part:
        try:
            with _at_moment(stamp):
                for declaration, frame in items:
                    _write_rows(part, declaration, conformed(frame, declaration, crs), crs)
            declarations = [declaration for declaration, _ in items]
            _gpkg_tables.describe(part, declarations, told, stamp)
            # GDAL does not say when a disk is full at the moment that it closes a file
            _gpkg_tables.verify(part, {item.name: len(frame) for item, frame in items})
        except _FAULTS as fault:
            raise StoreError(
                f"{path} could not be written: {fault}. Is the disk full? What was there before is"
                " untouched."
            ) from fault


def _write_rows(path: Path, declaration: Layer | Table, frame: Any, crs: str) -> None:  # noqa: ANN401
    options: dict[str, Any] = {
        "IDENTIFIER": declaration.title,
        "DESCRIPTION": declaration.meaning,
        "FID": "fid",
    }
    if isinstance(declaration, Layer):
        geometry = declaration.geometry
        options |= {"GEOMETRY_NAME": "geom", "SPATIAL_INDEX": "YES"}
        shape: dict[str, Any] = {
            "geometry_type": _OGR_TYPE.get(geometry, str(geometry)),
            "promote_to_multi": False,
        }
        if not same(frame.crs, CRS.from_user_input(crs)):
            raise InternalError(f"{declaration.name} is not in the run's CRS but in {frame.crs}")
    else:
        shape = {}
    pyogrio.write_dataframe(
        frame,
        path,
        layer=declaration.name,
        driver="GPKG",
        append=path.exists(),
        dataset_options={"VERSION": VERSION, "ADD_GPKG_OGR_CONTENTS": "YES"},
        layer_options=options,
        **shape,
    )


@contextmanager
def _at_moment(stamp: str) -> Iterator[None]:
    """Make GDAL write one moment wherever it would write the clock's."""
    with _GDAL:
        before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": stamp})
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
