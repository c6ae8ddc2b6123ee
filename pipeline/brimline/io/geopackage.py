"""The GeoPackage that people open: every layer and table with its schema said inside the file."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError
from pyproj import CRS

from brimline.errors import InternalError, StoreError
from brimline.io import _gpkg_tables
from brimline.io._gpkg_join import join
from brimline.io.about import About
from brimline.io.atomic import told, written_whole
from brimline.io.crs import same
from brimline.io.frames import conformed
from brimline.layers import Geometry, Layer, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import geopandas as gpd
    import pandas as pd

VERSION: Final = "1.3"  # read by every GDAL since 2.0; 1.4 is not
_OGR_TYPE: Final = {Geometry.ANY: "Unknown"}  # what OGR calls the type that holds any other
_FAULTS: Final = (DataSourceError, DataLayerError, FeatureError, GeometryError, sqlite3.Error)
_NO_MOMENT: Final = "1970-01-01T00:00:00.000Z"  # of a part; the whole file says its own
_UNSAFE: Final = {
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "OFF",
}  # parts are no one's
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
    with _part_folder(path) as folder:
        parts = []
        for number, (declaration, frame) in enumerate(items):
            parts.append((declaration, folder / f"{number}.gpkg"))
            write_part(parts[-1][1], declaration, frame, crs=crs)
        join_parts(path, parts, about=about)


def write_part(
    path: Path, declaration: Layer | Table, frame: gpd.GeoDataFrame | pd.DataFrame, *, crs: str
) -> None:
    """Write one layer or table for `join_parts`: the same rows become the same bytes.

    Raises
    ------
    InternalError
        If rows lack a declared column or cannot take its type.
    StoreError
        If the file cannot be written.
    """
    rows = conformed(frame, declaration, crs)
    with _explained(path), _with_options({"OGR_CURRENT_DATE": _NO_MOMENT} | _UNSAFE):
        _write_rows(path, declaration, rows, crs)
        # GDAL does not say when a disk is full at the moment that it closes a file
        _gpkg_tables.verify(path, {declaration.name: len(frame)})


def join_parts(
    path: Path, parts: Sequence[tuple[Layer | Table, Path]], *, about: About | None = None
) -> None:
    """Put parts together as `write_geopackage` does, which says what is raised."""
    if not parts:
        raise InternalError(f"{path.name} would hold no layer")
    whole = about or About()
    moment = (whole.written_at or datetime.now(UTC)).astimezone(UTC)
    stamp = moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    with written_whole(path) as part, _explained(path):
        join(part, {declaration.name: file for declaration, file in parts}, stamp)
        _gpkg_tables.describe(part, [declaration for declaration, _ in parts], whole, stamp)
        counts = {one.name: _gpkg_tables.row_count(file, one.name) for one, file in parts}
        _gpkg_tables.verify(part, counts)


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
        dataset_options={"VERSION": VERSION, "ADD_GPKG_OGR_CONTENTS": "YES"},
        layer_options=options,
        **shape,
    )


@contextmanager
def _part_folder(path: Path) -> Iterator[Path]:
    """Return a folder for parts on the disk that the file goes to."""
    try:
        with TemporaryDirectory(dir=path.parent, prefix=f".{path.stem}-") as folder:
            yield Path(folder)
    except OSError as fault:
        raise told(fault, path) from fault


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    try:
        yield
    except _FAULTS as fault:
        raise StoreError(
            f"{path} could not be written: {fault}. Is the disk full? What was there before is"
            " untouched."
        ) from fault


@contextmanager
def _with_options(options: dict[str, str]) -> Iterator[None]:
    with _GDAL:
        before = {name: pyogrio.get_gdal_config_option(name) for name in options}
        pyogrio.set_gdal_config_options(options)
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options(before)
