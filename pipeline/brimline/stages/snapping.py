"""Moving intakes onto the flow paths that they stand for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from brimline.config import Drainage
from brimline.drainage.catchments import snap
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined
from brimline.stages._filled import FILLED, filled_ground
from brimline.stages._frames import frame
from brimline.terrain.filled import ON_FILLED

if TYPE_CHECKING:
    from brimline.drainage.catchments import Snapped
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("drainage", Drainage)
    grid, drawn = given.grid, given.frame("intakes_drawn")
    positions = grid.position(drawn.geometry.x.to_numpy(), drawn.geometry.y.to_numpy())
    found = snap(
        np.column_stack(positions),
        given.raster("contributing_area_m2"),
        given.raster("flow_direction"),
        cell_m=grid.cell_m,
        radius_m=params.snap_radius_m,
        min_area_m2=params.snap_area_m2,
        movable=drawn["snap"].to_numpy(dtype=np.bool_),
    )
    _tell_ambiguous(found, drawn, report)
    filled = filled_ground(given)
    under_m = filled.depth_m[found.row, found.col]
    rows = gpd.GeoDataFrame(
        {
            "intake_id": drawn["intake_id"],
            "name": drawn["name"],
            "row": found.row,
            "col": found.col,
            "snap_m": found.moved_m,
            "flag": [
                joined([*flags, *([ON_FILLED] if under > filled.tell_m else [])])
                for flags, under in zip(found.flags, under_m.tolist(), strict=True)
            ],
        },
        geometry=shapely.points(*grid.xy(found.row, found.col)),
    )
    return {
        "intakes_snapped": frame(rows, "intakes_snapped", grid),
        "snapping": {"radius_m": params.snap_radius_m},
    }


def _tell_ambiguous(found: Snapped, drawn: gpd.GeoDataFrame, report: Reporter) -> None:
    """Say which other path each ambiguous point could have meant."""
    for place in np.flatnonzero(np.isfinite(found.other_area_m2)).tolist():
        name = drawn["name"].iloc[place] or f"number {place + 1}"
        report.problem(
            Problem(
                Severity.WARNING,
                f"intake {name} stands on a path that gathers {found.area_m2[place]:.0f} m², and"
                f" another that gathers {found.other_area_m2[place]:.0f} m² passes"
                f" {found.other_distance_m[place]:.1f} m away",
                "move the point onto the path that is meant, or set its snap column to false",
                "intakes",
            )
        )


STAGE = Stage(
    name="snapping",
    version=2,
    title="moving intakes onto their flow paths",
    needs=("grid", "intakes_drawn", "contributing_area_m2", "flow_direction", *FILLED),
    makes=("intakes_snapped", "snapping"),
    run=_run,
    tables=("drainage",),
)
