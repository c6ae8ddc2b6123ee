"""Closed depressions of the survey, and which of them are kept as sinks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.config import Conditioning, Works
from brimline.drainage.hollows import find_hollows
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rules import usual_water
from brimline.rainfall import runoff_depth_mm
from brimline.stages._frames import positions, table_of
from brimline.stages._plan import storms_of
from brimline.stages.conditioning import rule_of
from brimline.terrain.conditioning import opened_surface
from brimline.units import counted

if TYPE_CHECKING:
    from brimline.drainage.hollows import Hollows
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("conditioning", Conditioning), given.grid
    points = given.frame("kept_hollows").geometry
    row, col = grid.cell(points.x.to_numpy(), points.y.to_numpy())
    storm = storms_of(given).heaviest
    number = usual_water(given.params("works", Works)).ground.curve_number
    runoff_mm = float(runoff_depth_mm(storm.total_mm, number))
    burns = [positions(line, grid) for line in given.frame("culverts").geometry]
    opened = (
        opened_surface(
            given.raster("elevation"), cell_m=grid.cell_m, burns=burns, **rule_of(params)
        )
        if burns or params.mode == "breach"
        else None
    )
    report.advanced(0.2, "hollows")
    found = find_hollows(
        given.raster("elevation"),
        cell_m=grid.cell_m,
        min_depth_m=params.hollow_depth_m,
        min_area_m2=params.hollow_area_m2,
        keep_depth_m=params.keep_depth_m,
        keep_area_m2=params.keep_area_m2,
        keep_points=np.column_stack([row, col]),
        runoff_mm=runoff_mm,
        keep_unfilled=params.keep == "auto",
        opened=opened,
    )
    water = found.water
    assert water is not None
    for place in found.missed_points.tolist():
        name = given.frame("kept_hollows")["name"].iloc[place] or f"number {place + 1}"
        report.problem(
            Problem(
                Severity.WARNING,
                f"the point {name} lies in no hollow, so it keeps none",
                "move it into a hollow of the layer hollows",
                "plan, kept_hollows",
            )
        )
    records = [
        {
            "hollow_id": number,
            "area_m2": found.area_m2[number - 1],
            "depth_m": found.depth_m[number - 1],
            "volume_m3": found.volume_m3[number - 1],
            "spill_level_m": found.spill_level_m[number - 1],
            "catchment_m2": found.catchment_m2[number - 1],
            "parent_id": int(found.parent_ids[number - 1]),
            "kept": bool(found.kept[number - 1]),
            "capacity_m3": water.capacity_m3[number - 1],
            "arrives_m3": water.arrives_m3[number - 1],
            "fills": bool(water.fills[number - 1]),
            "filled_pct": water.filled_pct[number - 1],
            "spills_m3": water.spills_m3[number - 1],
            "edge_limited": bool(found.edge_limited[number - 1]),
        }
        for number in range(1, found.kept.size + 1)
    ]
    holding = np.isin(np.arange(1, found.kept.size + 1), found.parent_ids[found.kept])
    told = {
        "storm": storm.name,
        "rain_mm": storm.total_mm,
        "curve_number": number,
        "runoff_mm": runoff_mm,
        "kept": int((found.kept & ~holding).sum()),
    }
    if params.keep == "auto" and told["kept"]:
        _tell_kept(found, told, report)
    return {
        "hollow_list": table_of(records, "hollow_list"),
        "hollow_label": found.labels,
        "kept_sink": found.sinks.astype(np.uint8),
        "other_sink": found.other_sinks.astype(np.uint8),
        "hollow_storm": told,
    }


def _tell_kept(found: Hollows, told: dict[str, Any], report: Reporter) -> None:
    """Say how many hollows stay sinks, and how the largest stands to its water."""
    water = found.water
    if water is None or not (found.kept & ~water.fills).any():
        return
    capacity = np.where(found.kept & ~water.fills, water.capacity_m3, -1.0)
    most = int(np.argmax(capacity))
    report.problem(
        Problem(
            Severity.NOTICE,
            f"{counted(told['kept'], 'hollow')} cannot be filled by the check storm"
            f" ({told['storm']}: {told['rain_mm']:.0f} mm of rain, {told['runoff_mm']:.0f} mm of"
            f" runoff) and stay sinks: their water does not run on. The largest, hollow {most + 1},"
            f" holds {capacity[most]:.0f} m³, and {water.arrives_m3[most]:.0f} m³ reach it",
            "draw the pipe that drains one in culverts, if there is one; conditioning.keep ="
            ' "none" fills them all',
            "hollows",
        )
    )


STAGE = Stage(
    name="sinks",
    version=2,
    title="hollows of the survey, and which of them are kept as sinks",
    needs=("grid", "elevation", "kept_hollows", "culverts", "storms"),
    makes=("hollow_list", "hollow_label", "kept_sink", "other_sink", "hollow_storm"),
    run=_run,
    tables=("conditioning", "works"),
)
