"""Rows of a stage brought to their declaration."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.io.frames import conformed, empty
from brimline.io.rasters import stepped
from brimline.layers import layer, raster, table
from brimline.layers.flags import joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.layers import Layer, Table


def frame(rows: gpd.GeoDataFrame, name: str, grid: Grid) -> gpd.GeoDataFrame:
    """Return rows with the declared columns, in the run's CRS."""
    return gpd.GeoDataFrame(conformed(rows, layer(name), grid.crs))


def values_of(one: object, declared: Layer | Table, *parts: object) -> dict[str, Any]:
    """Return what a value of the domain says of the declared columns, by the names of these.

    What a column is named after is looked for in the value, then in its `parts`.

    A column `flag` is made of the codes in `flags`, and other codes become a text likewise; a
    number that is not known or has no end, or no text, becomes an empty value.
    """
    row = {
        column.name: _cell(getattr(holder, column.name))
        for column in declared.columns
        if (holder := next((o for o in (one, *parts) if hasattr(o, column.name)), None)) is not None
    }
    codes = getattr(one, "flags", None)
    return row if codes is None else row | {"flag": joined(codes)}


def _cell(value: object) -> object:
    if isinstance(value, tuple):
        value = joined(value)
    unknown = isinstance(value, float) and not math.isfinite(value)
    return None if unknown or value == "" else value


def _rows(records: Sequence[object], declared: Layer | Table) -> list[Mapping[str, Any]]:
    return [
        {name: joined(cell) if isinstance(cell, tuple) else cell for name, cell in one.items()}
        if isinstance(one, Mapping)
        else values_of(one, declared)
        for one in records
    ]


def frame_of(
    records: Sequence[object], shapes: Sequence[Any], name: str, grid: Grid
) -> gpd.GeoDataFrame:
    """Return a layer from one mapping, or value of the domain, and one shape a row."""
    if not records:
        return gpd.GeoDataFrame(empty(layer(name), grid.crs))
    rows = _rows(records, layer(name))
    return frame(gpd.GeoDataFrame(rows, geometry=list(shapes)), name, grid)


def table_of(records: Sequence[object], name: str) -> pd.DataFrame:
    """Return a table from one mapping, or value of the domain, a row."""
    declared = table(name)
    if not records:
        return pd.DataFrame(empty(declared))
    return pd.DataFrame(conformed(pd.DataFrame(_rows(records, declared)), declared))


def table_of_columns(parts: Sequence[Mapping[str, Any]], name: str) -> pd.DataFrame:
    """Return a table from columns, part after part; columns that it does not declare are left out.

    Parameters
    ----------
    parts : arrays or lists by column, or one value for all rows of the part.
    """
    declared = table(name)
    known = [column.name for column in declared.columns if parts and column.name in parts[0]]
    columns = {one: _joined_column([_sized(part, one) for part in parts]) for one in known}
    if not any(len(values) for values in columns.values()):
        return pd.DataFrame(empty(declared))
    return pd.DataFrame(conformed(pd.DataFrame(columns), declared))


def _sized(part: Mapping[str, Any], name: str) -> Sequence[Any] | NDArray[Any]:
    """Return a column of a part, one value for all its rows repeated."""
    sized: dict[str, Sequence[Any] | NDArray[Any]] = {
        key: values for key, values in part.items() if isinstance(values, list | tuple | np.ndarray)
    }
    once: Sequence[Any] = [part[name]] * max((len(one) for one in sized.values()), default=0)
    return sized.get(name, once)


def _joined_column(parts: Sequence[Sequence[Any] | NDArray[Any]]) -> Sequence[Any] | NDArray[Any]:
    if all(isinstance(part, np.ndarray) for part in parts):
        joint: NDArray[Any] = np.concatenate(parts)
        return joint
    return [value for part in parts for value in part]


def held(name: str, values: NDArray[np.floating]) -> NDArray[np.float32]:
    """Return values of a raster rounded to the step in which its files hold them."""
    return stepped(values, raster(name).step or 1.0)


def positions(line: shapely.LineString, grid: Grid) -> NDArray[np.float64]:
    """Fractional row and column of a line's points, float64 (points, 2)."""
    x, y = shapely.get_coordinates(line).T
    return np.column_stack(grid.position(x, y))
