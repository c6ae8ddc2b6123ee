"""Rows as CSV (RFC 4180): tables, points with their places, and the plain form of data loggers."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.io.atomic import write_bytes
from brimline.io.frames import GEOMETRY, conformed
from brimline.io.geographic import lon_lat, on_earth

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import geopandas as gpd

    from brimline.layers import Layer, Table

_DIGITS: Final = {"m": 3, "%": 2, "h": 3, "m²": 2, "m³": 2, "m³/s": 4, "mm": 2, "m³/a": 2}
_OTHER_DIGITS: Final = 6
_DEGREE_DIGITS: Final = 8  # a millimetre
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def write_table_csv(path: Path, frame: pd.DataFrame, declaration: Table) -> None:
    """Write a table with the declared columns first; numbers to the digits of their unit.

    Raises
    ------
    InternalError
        If a declared column is missing or holds another type.
    StoreError
        If the file cannot be written.
    """
    rows = conformed(frame, declaration)
    digits = {column.name: _digits_of(column.unit) for column in declaration.columns}
    _write(path, list(rows.columns), _texts(rows, digits))


def write_points_csv(path: Path, frame: gpd.GeoDataFrame, declaration: Layer) -> None:
    """Write points with map coordinates and WGS 84 longitude and latitude behind their columns.

    Points in a local grid have no longitude and latitude; those columns are left out.

    Map coordinates are called easting_m and northing_m and have three digits; longitude_deg and
    latitude_deg have eight.

    Raises
    ------
    InternalError
        If a declared column is missing or holds another type.
    StoreError
        If the file cannot be written.
    """
    rows = conformed(frame, declaration)
    plain = pd.DataFrame(rows.drop(columns=GEOMETRY))
    plain["easting_m"], plain["northing_m"] = rows.geometry.x, rows.geometry.y
    degrees = ("longitude_deg", "latitude_deg")
    if on_earth(rows.geometry.crs):
        plain["longitude_deg"], plain["latitude_deg"] = lon_lat(rows.geometry)
    else:
        plain = plain.drop(columns=[name for name in degrees if name in plain])
    digits = {column.name: _digits_of(column.unit) for column in declaration.columns}
    digits |= {"easting_m": 3, "northing_m": 3}
    digits |= dict.fromkeys(degrees, _DEGREE_DIGITS)
    _write(path, list(plain.columns), _texts(plain, digits))


def write_logger_csv(
    path: Path,
    names: Sequence[str],
    northing_m: Iterable[float],
    easting_m: Iterable[float],
    level_m: Iterable[float],
    notes: Sequence[str],
) -> None:
    """Write name, northing, easting, level, note without a heading, as data loggers take points.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    rows = [
        [defused(name), f"{north:.3f}", f"{east:.3f}", f"{level:.3f}", defused(note)]
        for name, north, east, level, note in zip(
            names, northing_m, easting_m, level_m, notes, strict=True
        )
    ]
    _write(path, None, rows)


def _digits_of(unit: str) -> int:
    return _DIGITS.get(unit, _OTHER_DIGITS)


def _texts(frame: pd.DataFrame, digits: dict[str, int]) -> list[list[str]]:
    columns = [
        [_text(value, digits.get(str(name), _OTHER_DIGITS)) for value in frame[name]]
        for name in frame.columns
    ]
    return [list(row) for row in zip(*columns, strict=True)]


def _text(value: Any, digits: int) -> str:  # noqa: ANN401  (a cell of any column)
    if value is None or value is pd.NA or (isinstance(value, float) and not np.isfinite(value)):
        return ""
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, float | np.floating):
        text = f"{value:.{digits}f}"
        return text[1:] if text.startswith("-") and not text.strip("-0.") else text
    return defused(str(value))


def defused(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: one that begins like it is quoted.

    References
    ----------
    OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return.
    """
    return f"'{text}" if text.startswith(_FORMULA) else text


def _write(path: Path, heading: Sequence[str] | None, rows: Sequence[Sequence[str]]) -> None:
    content = io.StringIO(newline="")
    writer = csv.writer(content)  # comma, quotes where needed, CRLF: RFC 4180
    if heading is not None:
        writer.writerow(heading)
    writer.writerows(rows)
    write_bytes(path, content.getvalue().encode())
