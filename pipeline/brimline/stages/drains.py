"""Graded lines from drawn starts, and between the ends of drawn drains."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.config import DrainLines
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rows import number_of, text_of
from brimline.layers.flags import joined
from brimline.lines.graded import GradedLine, NoLine, graded_between, graded_line
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for, smooth_surface

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.level_lines import Drawing


def _run(given: Given, report: Reporter) -> Made:
    surface = smooth_surface(given)
    ground = (
        given.raster("elevation"),
        surface,
        given.grid,
        limits_for(given, surface, cross_paths=True),
    )
    drawing = drawing_of(given, given.params("drains", DrainLines).fall_tolerance_m)
    found = [
        *_from_starts(given, ground, drawing, report),
        *_between_ends(given, ground, drawing, report),
    ]
    filled = filled_ground(given)
    records = [
        {
            "drain_id": number,
            "name": name or None,
            "from_level_m": line.from_level_m,
            "to_level_m": line.to_level_m,
            "length_m": line.length_m,
            "fall_pct": line.fall_pct,
            "fall_error_m": line.fall_error_m,
            "flag": joined([*line.flags, *filled.flags(line.line)]),
        }
        for number, (name, line) in enumerate(found, start=1)
    ]
    layer = frame_of(records, [line.line for _, line in found], "drain_lines", given.grid)
    return {"drain_lines": layer}


def _from_starts(
    given: Given,
    ground: tuple[Any, ...],
    drawing: Drawing,
    report: Reporter,
) -> list[tuple[str, GradedLine]]:
    params = given.params("drains", DrainLines)
    found = []
    for number, row in enumerate(given.frame("drain_starts").itertuples(index=False), start=1):
        name = text_of(row, "name") or f"start {number}"
        line = graded_line(
            (row.geometry.x, row.geometry.y),
            number_of(row, "run_per_fall", params.run_per_fall),
            text_of(row, "side") or "right",  # type: ignore[arg-type] # the plan's own check
            *ground,
            max_length_m=number_of(row, "max_length_m", params.max_length_m),
            drawing=drawing,
        )
        if line is None:
            _none(report, name, "it cannot set out from here", "drain_starts")
        else:
            found.append((name, line))
    return found


def _between_ends(
    given: Given,
    ground: tuple[Any, ...],
    drawing: Drawing,
    report: Reporter,
) -> list[tuple[str, GradedLine]]:
    params = given.params("drains", DrainLines)
    found = []
    for number, row in enumerate(given.frame("drawn_drains").itertuples(index=False), start=1):
        name = text_of(row, "name") or f"drain {number}"
        ends = row.geometry.coords[0][:2], row.geometry.coords[-1][:2]
        line = graded_between(
            *ends,
            *ground,
            least_fall_pct=params.least_fall_pct,
            most_fall_pct=params.most_fall_pct,
            drawing=drawing,
        )
        if isinstance(line, NoLine):
            _none(report, name, line.why, "drawn_drains")
        else:
            found.append((name, line))
    return found


def _none(report: Reporter, name: str, why: str, layer: str) -> None:
    report.problem(
        Problem(
            Severity.WARNING,
            f"no graded line for {name}: {why}",
            "move an end, or change the falls in [drains]",
            f"plan, {layer}",
        )
    )


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
