"""The ground that drains to each intake."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import longest_paths, subcatchments
from brimline.drainage.catchments.edges import edge_sides, open_edge, tiles_beyond
from brimline.drainage.catchments.rows import intake_grounds, longest_rows, subcatchment_rows
from brimline.engine.stage import Stage
from brimline.grid import NO_DATA
from brimline.grid.nodata import outside
from brimline.grid.shapes import cells_inside
from brimline.inputs.tile_index import read_footprints
from brimline.io.vectors import VectorSource
from brimline.layers import layer
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of, values_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.drainage.catchments import Subcatchments
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    grid, snapped, dem = given.grid, given.frame("intakes_snapped"), given.raster("elevation")
    directions = given.raster("flow_direction")
    found = subcatchments(directions, snapped[["row", "col"]].to_numpy(dtype=np.int64))
    report.advanced(0.4, "longest paths")
    longest = longest_paths(directions, found, cell_m=grid.cell_m)
    report.advanced(0.7, "outlines")
    inside = cells_inside(given.frame("boundary").geometry, grid)
    grounds, outlines = subcatchment_rows(
        found, dem, given.raster("slope_pct"), inside, longest.length_m, grid
    )
    ways, lines = longest_rows(longest, dem, grid)
    headline = {
        "intakes": found.cells.size,
        "largest_catchment_m2": float(found.cells.max(initial=0) * grid.cell_area_m2),
        "edge_limited_intakes": int(found.edge_limited.sum()),
    }
    return {
        "intakes": _intakes(given, found, snapped),
        "subcatchments": frame_of(grounds, outlines, "subcatchments", grid),
        "longest_paths": frame_of(ways, lines, "longest_paths", grid),
        "subcatchment": found.labels,
        "intakes_summary": {"headline": headline} if len(snapped) else {},
    }


def _intakes(given: Given, found: Subcatchments, snapped: GeoDataFrame) -> GeoDataFrame:
    sides: tuple[str, ...] = ()
    tiles: tuple[tuple[str, ...], ...] = ()
    if found.edge_limited.any():
        edge = open_edge(found.labels, outside(given.raster("flow_direction") == NO_DATA))
        sides = edge_sides(edge, found.downstream_ids)
        source = given.source("tile_index", VectorSource)
        if source is not None:
            shapes, names = read_footprints(source, given.grid.crs)
            tiles = tiles_beyond(edge, found.downstream_ids, given.grid, shapes, names)
    ranges: list[tuple[float, float]] = []
    if given.has("intake_certainty"):
        certain = given.table("intake_certainty")
        ranges = list(zip(certain["area_low_m2"], certain["area_high_m2"], strict=True))
    grounds = intake_grounds(
        found, given.raster("elevation"), given.grid, sides=sides, tiles=tiles, ranges_m2=ranges
    )
    records = [
        values_of(ground, layer("intakes"))
        | {name: getattr(row, name) for name in ("intake_id", "name", "snap_m")}
        | {"flag": joined([*filter(None, (row.flag or "").split(";")), *ground.flags])}
        for ground, row in zip(grounds, snapped.itertuples(index=False), strict=True)
    ]
    return frame_of(records, list(snapped.geometry), "intakes", given.grid)


STAGE = Stage(
    name="catchments",
    version=2,
    title="subcatchments of the intakes",
    needs=("grid", "intakes_snapped", "flow_direction", "elevation", "slope_pct", "boundary"),
    makes=("intakes", "subcatchments", "longest_paths", "subcatchment", "intakes_summary"),
    run=_run,
    optional_needs=("intake_certainty",),
    sources=("tile_index",),
)
