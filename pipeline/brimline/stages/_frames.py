"""Rows of a stage brought to their declaration."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.io.frames import conformed, empty
from brimline.layers import layer, table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Grid


def frame(rows: gpd.GeoDataFrame, name: str, grid: Grid) -> gpd.GeoDataFrame:
    """Return rows with the declared columns, in the run's CRS."""
    return gpd.GeoDataFrame(conformed(rows, layer(name), grid.crs))


def frame_of(
    records: Sequence[dict[str, Any]], shapes: Sequence[Any], name: str, grid: Grid
) -> gpd.GeoDataFrame:
    """Return a layer from one mapping and one shape a row; without rows an empty layer."""
    if not records:
        return gpd.GeoDataFrame(empty(layer(name), grid.crs))
    return frame(gpd.GeoDataFrame(list(records), geometry=list(shapes)), name, grid)


def table_of(records: Sequence[dict[str, Any]], name: str) -> pd.DataFrame:
    """Return a table from one mapping a row; without rows an empty one."""
    declared = table(name)
    if not records:
        return pd.DataFrame(empty(declared))
    return pd.DataFrame(conformed(pd.DataFrame(list(records)), declared))


def positions(line: shapely.LineString, grid: Grid) -> NDArray[np.float64]:
    """Fractional row and column of a line's points, float64 (points, 2)."""
    x, y = shapely.get_coordinates(line).T
    return np.column_stack(grid.position(x, y))
