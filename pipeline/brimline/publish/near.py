"""The ground that people get lines and outlines of; what lies beyond they get as rasters only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from scipy import ndimage

from brimline.drainage.receiving import received
from brimline.grid.shapes import cells_inside
from brimline.io.intermediates import FileCodec
from brimline.io.rasters import plain_bytes, read_raster
from brimline.layers import layer
from brimline.lines.nearby import parts_on, touches

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid
    from brimline.publish.sight import Sight

REGION: Final = "parts/near/region"
_MARGIN_M: Final = 100.0
_MARGIN_CELLS: Final = 10


def write_region(sight: Sight, path: Path) -> None:
    """Write the cells of the boundary and of all that drains to it or its intakes, and a margin.

    Nothing where that is the whole grid.
    """
    grid, directions = sight.world.grid, sight.value("flow_direction")
    shapes = list(sight.value("boundary").geometry)
    intakes = sight.rows("intakes")
    if intakes is not None:
        shapes += list(intakes.geometry)
    site = cells_inside(shapes, grid, all_touched=True)
    if not site.any():
        return
    ground = received(directions, site.astype(np.int32), cell_m=grid.cell_m)
    near = site | (ground.labels > 0)
    margin = max(_MARGIN_CELLS, round(_MARGIN_M / grid.cell_m))
    near = ndimage.maximum_filter(near, size=2 * margin + 1, mode="constant", cval=0)
    if not near.all():
        path.write_bytes(plain_bytes(near.astype(np.uint8), grid, nodata=None))


def write_near(sight: Sight, path: Path, name: str) -> None:
    """Write the rows of a layer that lie near, contours cut; nothing where all of them do."""
    region = sight.piece_file(REGION)
    rows = sight.rows(name)
    if region is None or rows is None:
        return
    cells = read_raster(region).array > 0
    found = _cut(rows, cells, sight) if name == "contours" else _met(rows, cells, sight)
    if found is not rows:
        FileCodec().write(path, layer(name), found, None)


def _met(rows: gpd.GeoDataFrame, cells: BoolGrid, sight: Sight) -> gpd.GeoDataFrame:
    shapes: NDArray[Any] = rows.geometry.to_numpy()
    near = touches(shapes, cells, sight.world.grid)
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
    parts, line = parts_on(lines, cells, sight.world.grid)
    if len(parts) == len(lines) and all(parts[i] is lines[i] for i in range(len(lines))):
        return rows
    place, number = np.unique(owner[line], return_inverse=True)
    kept = rows.iloc[place].copy()
    return kept.set_geometry(shapely.multilinestrings(parts, indices=number), crs=rows.crs)
