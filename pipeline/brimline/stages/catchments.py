"""The ground that drains to each intake."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from brimline.drainage.catchments import longest_paths, subcatchments
from brimline.drainage.catchments.edges import edge_sides, open_edge, tiles_beyond
from brimline.engine.stage import Stage
from brimline.grid import NO_DATA
from brimline.grid.nodata import outside
from brimline.grid.shapes import cells_inside, outlines
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

    Ends = tuple[list[str | None], list[str | None]]  # sides, tiles beyond


def _run(given: Given, report: Reporter) -> Made:
    grid, snapped = given.grid, given.frame("intakes_snapped")
    directions = given.raster("flow_direction")
    found = subcatchments(directions, snapped[["row", "col"]].to_numpy(dtype=np.int64))
    ends = _ends(given, directions, found)
    report.advanced(0.4, "longest paths")
    longest = longest_paths(directions, found, cell_m=grid.cell_m)
    report.advanced(0.7, "outlines")
    certain = given.table("intake_certainty") if given.has("intake_certainty") else None
    levels = given.raster("elevation").ravel()
    return {
        "intakes": _intakes(snapped, found, certain, levels, grid, ends),
        "subcatchments": _subcatchments(given, found, longest.length_m),
        "longest_paths": _longest(longest.cells, longest.length_m, levels, grid),
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
    ends: Ends,
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


def _subcatchments(
    given: Given, found: Subcatchments, longest_m: NDArray[np.float64]
) -> GeoDataFrame:
    """One row for each intake with ground of its own; figures as the columns say."""
    grid, labels = given.grid, found.labels
    elevation, slope = given.raster("elevation"), given.raster("slope_pct")
    inside = cells_inside(given.frame("boundary").geometry, grid)
    count = found.cells.size
    own = labels > 0
    place = labels[own] - 1
    steep = np.bincount(place, weights=slope[own], minlength=count)
    held = np.bincount(place, weights=inside[own], minlength=count)
    high, low = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(high, place, elevation[own])
    np.minimum.at(low, place, elevation[own])
    relief = found.gathered(high, np.maximum) - found.gathered(low, np.minimum)
    shapes = outlines(labels, grid)
    records = [
        {
            "intake_id": label,
            "area_m2": found.cells[label - 1] * grid.cell_area_m2,
            "own_area_m2": found.own_cells[label - 1] * grid.cell_area_m2,
            "mean_slope_pct": steep[label - 1] / found.own_cells[label - 1],
            "relief_m": relief[label - 1],
            "longest_path_m": longest_m[label - 1],
            "inside_pct": 100 * found.gathered(held)[label - 1] / found.cells[label - 1],
            "edge_limited": bool(found.edge_limited[label - 1]),
        }
        for label in shapes
    ]
    return frame_of(records, list(shapes.values()), "subcatchments", grid)


def _longest(
    cells: tuple[NDArray[np.int64], ...],
    length_m: NDArray[np.float64],
    levels: NDArray[np.float32],
    grid: Grid,
) -> GeoDataFrame:
    records, shapes = [], []
    for number, way in enumerate(cells, start=1):
        if way.size < 2:
            continue
        row, col = np.divmod(way, grid.cols)
        fall_m = max(float(levels[way[0]]) - float(levels[way[-1]]), 0.0)
        length = float(length_m[number - 1])
        records.append(
            {
                "intake_id": number,
                "length_m": length,
                "fall_m": fall_m,
                "fall_pct": 100 * fall_m / length,
            }
        )
        shapes.append(shapely.LineString(np.column_stack(grid.xy(row, col))))
    return frame_of(records, shapes, "longest_paths", grid)


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
