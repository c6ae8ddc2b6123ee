"""The ground that people get lines and outlines of; what lies beyond they get as rasters only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.io.intermediates import FileCodec
from brimline.layers import layer
from brimline.lines.nearby import parts_on, touches

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid
    from brimline.publish.sight import Sight


def write_near(sight: Sight, path: Path, name: str) -> None:
    """Write the rows of a layer that lie near, contours cut; nothing where all of them do."""
    rows = sight.rows(name)
    if rows is None:
        return
    cells = sight.value("near_ground") > 0
    found = _cut(rows, cells, sight) if name == "contours" else _met(rows, cells, sight)
    if found is not rows:
        FileCodec().write(path, layer(name), found, None)


def _met(rows: gpd.GeoDataFrame, cells: BoolGrid, sight: Sight) -> gpd.GeoDataFrame:
    shapes: NDArray[Any] = rows.geometry.to_numpy()
    near = touches(shapes, cells, sight.near_grid)
    around = rows.sindex.query(sight.value("boundary").union_all(), predicate="intersects")
    near[around] = True  # a hollow may lie all around the site
    if near.all():
        return rows
    kept = rows[near].copy()
    if "downstream_id" in kept.columns:
        number = kept.columns[0]
        kept.loc[~kept["downstream_id"].isin(kept[number]), "downstream_id"] = 0
    return kept


def _cut(rows: gpd.GeoDataFrame, cells: BoolGrid, sight: Sight) -> gpd.GeoDataFrame:
    lines, owner = shapely.get_parts(rows.geometry.to_numpy(), return_index=True)
    parts, line = parts_on(lines, cells, sight.near_grid)
    if len(parts) == len(lines) and all(parts[i] is lines[i] for i in range(len(lines))):
        return rows
    place, number = np.unique(owner[line], return_inverse=True)
    kept = rows.iloc[place].copy()
    return kept.set_geometry(shapely.multilinestrings(parts, indices=number), crs=rows.crs)
