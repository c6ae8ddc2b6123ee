"""The ground that drains to each intake."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from brimline.drainage.catchments import longest_paths, subcatchments
from brimline.drainage.catchments.edges import edge_sides, open_edge, tiles_beyond
from brimline.drainage.catchments.rows import longest_rows, subcatchment_rows
from brimline.engine.stage import Stage
from brimline.grid import NO_DATA
from brimline.grid.nodata import outside
from brimline.grid.shapes import cells_inside
from brimline.inputs.tile_index import read_footprints
from brimline.io.vectors import VectorSource
from brimline.layers.flags import joined
from brimline.stages._frames import frame, frame_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.drainage.catchments import Subcatchments
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Directions, Grid

    Ends = tuple[list[str | None] | None, list[str | None] | None]  # sides, tiles beyond


def _run(given: Given, report: Reporter) -> Made:
    grid, snapped, dem = given.grid, given.frame("intakes_snapped"), given.raster("elevation")
    directions = given.raster("flow_direction")
    found = subcatchments(directions, snapped[["row", "col"]].to_numpy(dtype=np.int64))
    ends = _ends(given, directions, found)
    report.advanced(0.4, "longest paths")
    longest = longest_paths(directions, found, cell_m=grid.cell_m)
    report.advanced(0.7, "outlines")
    certain = given.table("intake_certainty") if given.has("intake_certainty") else None
    inside = cells_inside(given.frame("boundary").geometry, grid)
    grounds, outlines = subcatchment_rows(
        found, dem, given.raster("slope_pct"), inside, longest.length_m, grid
    )
    ways, lines = longest_rows(longest, dem, grid)
    return {
        "intakes": _intakes(snapped, found, certain, dem.ravel(), grid, ends),
        "subcatchments": frame_of(grounds, outlines, "subcatchments", grid),
        "longest_paths": frame_of(ways, lines, "longest_paths", grid),
        "subcatchment": found.labels,
        "intakes_summary": {"headline": _headline(found, grid)} if len(snapped) else {},
    }


def _ends(given: Given, directions: Directions, found: Subcatchments) -> Ends:
    """Name the sides by which each catchment leaves the data, and the tiles beyond."""
    nothing: list[str | None] = [None] * found.cells.size
    if not found.edge_limited.any():
        return nothing, nothing
    edge = open_edge(found.labels, outside(directions == NO_DATA))
    sides = [one or None for one in edge_sides(edge, found.downstream_ids)]
    source = given.source("tile_index", VectorSource)
    if source is None:
        return sides, nothing
    shapes, names = read_footprints(source, given.grid.crs)
    beyond = tiles_beyond(edge, found.downstream_ids, given.grid, shapes, names)
    return sides, [", ".join(one) or None for one in beyond]


def _headline(found: Subcatchments, grid: Grid) -> dict[str, float | int]:
    return {
        "intakes": found.cells.size,
        "largest_catchment_m2": float(found.cells.max() * grid.cell_area_m2),
        "edge_limited_intakes": int(found.edge_limited.sum()),
    }


def _intakes(
    snapped: GeoDataFrame,
    found: Subcatchments,
    certain: DataFrame | None,
    levels: NDArray[np.float32],
    grid: Grid,
    ends: Ends = (None, None),
) -> GeoDataFrame:
    area_m2 = found.cells * grid.cell_area_m2
    outside = (
        np.zeros(area_m2.size, dtype=np.bool_)
        if certain is None
        else (area_m2 < certain["area_low_m2"].to_numpy())
        | (area_m2 > certain["area_high_m2"].to_numpy())
    )
    flags = [
        joined(
            [
                *filter(None, (flag or "").split(";")),
                *(["edge-limited"] if limited else []),
                *(["outside-range"] if out else []),
            ]
        )
        for flag, limited, out in zip(
            snapped["flag"], found.edge_limited.tolist(), outside.tolist(), strict=True
        )
    ]
    rows = gpd.GeoDataFrame(
        {
            "intake_id": snapped["intake_id"],
            "name": snapped["name"],
            "snap_m": snapped["snap_m"],
            "area_m2": area_m2,
            "own_area_m2": found.own_cells * grid.cell_area_m2,
            "downstream_id": found.downstream_ids,
            "edge_limited": found.edge_limited,
            "edge_sides": ends[0],
            "missing_tiles": ends[1],
            "area_low_m2": None if certain is None else certain["area_low_m2"],
            "area_high_m2": None if certain is None else certain["area_high_m2"],
            "level_m": levels[found.intake_cells].astype(np.float64),
            "flag": flags,
        },
        geometry=snapped.geometry.to_numpy(),
    )
    return frame(rows, "intakes", grid)


STAGE = Stage(
    name="catchments",
    version=2,
    title="subcatchments of the intakes",
    needs=(
        "grid",
        "intakes_snapped",
        "flow_direction",
        "elevation",
        "slope_pct",
        "boundary",
    ),
    makes=("intakes", "subcatchments", "longest_paths", "subcatchment", "intakes_summary"),
    run=_run,
    optional_needs=("intake_certainty",),
    sources=("tile_index",),
)
