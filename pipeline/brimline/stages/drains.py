"""Graded lines from drawn starts, and between the ends of drawn drains."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import DrainLines
from brimline.engine.stage import Stage
from brimline.errors import Problem
from brimline.inputs.rows import asked_drains
from brimline.layers import layer
from brimline.lines.graded import GradingGround
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of, values_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for, smooth_surface

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params, surface = given.params("drains", DrainLines), smooth_surface(given)
    ground = GradingGround(
        given.raster("elevation"),
        surface,
        given.grid,
        limits_for(given, surface, cross_paths=True),
        drawing_of(given, params.fall_tolerance_m),
    )
    lines, names = [], []
    for one in asked_drains(given.frame("drain_starts"), given.frame("drawn_drains"), params):
        found = one.on(ground)
        if isinstance(found, Problem):
            report.problem(found)
        else:
            lines.append(found)
            names.append(one.name)
    lines = filled_ground(given).flagged(lines)
    rows = [
        values_of(line, layer("drain_lines")) | {"drain_id": number, "name": name}
        for number, (line, name) in enumerate(zip(lines, names, strict=True), start=1)
    ]
    drawn = frame_of(rows, [line.line for line in lines], "drain_lines", given.grid)
    return {"drain_lines": drawn}


STAGE = Stage(
    name="drains",
    version=2,
    title="graded lines",
    needs=(*NEEDS, "drain_starts", "drawn_drains"),
    makes=("drain_lines",),
    run=_run,
    tables=("drains", "lines"),
    near=True,
)
