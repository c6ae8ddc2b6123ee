"""The design storms, from the rainfall table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from brimline.config import DesignStorm
from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity
from brimline.io.rainfall import depth_doubts, read_depth_table
from brimline.rainfall import Storm, StormRequest, design_storms, uniform

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("storm", DesignStorm)
    path = given.source("rainfall", Path)
    if path is None:
        report.problem(
            Problem(
                Severity.WARNING,
                f"no rainfall table was given: {params.depth_mm:g} mm falls evenly over"
                f" {params.duration_h:g} h",
                "give inputs.rainfall, a table of depths by duration and return period",
                "rainfall",
            )
        )
        storms = [_even(params)]
    else:
        storms = _from_table(path, params, report)
    return {"storms": {"design": _plain(storms[0]), "checks": [_plain(s) for s in storms[1:]]}}


def _from_table(path: Path, params: DesignStorm, report: Reporter) -> list[Storm]:
    table = read_depth_table(path)
    for problem in depth_doubts(table, str(path)):
        report.problem(problem)
    uplift = 1 + params.climate_uplift_pct / 100
    periods = dict.fromkeys((params.return_period_y, *params.check_periods_y))
    hours = dict.fromkeys((params.duration_h, *params.check_durations_h))
    requests = [
        StormRequest(period, hour, params.shape, uplift, name=_name(period, hour, params))
        for hour in hours
        for period in periods
    ]
    try:
        return list(design_storms(table, requests, step_s=60 * params.step_min))
    except ValueError as error:
        raise InputError.of(
            str(error), mend="change [storm], or extend the table", source=str(path)
        ) from error


def _name(period_y: float, duration_h: float, params: DesignStorm) -> str:
    """Name a storm by its return period, and its duration where that is not the usual one."""
    other = "" if duration_h == params.duration_h else f" {duration_h:g} h"
    return f"{period_y:g}-year{other}"


def _even(params: DesignStorm) -> Storm:
    step_s = 60 * params.step_min
    uplift = 1 + params.climate_uplift_pct / 100
    depths = uniform(params.depth_mm * uplift, params.duration_h, step_s=step_s)
    return Storm("stated rain", step_s, depths)


def _plain(storm: Storm) -> dict[str, Any]:
    return {
        "name": storm.name,
        "return_period_y": storm.return_period_y,
        "duration_h": storm.duration_h,
        "total_mm": storm.total_mm,
        "step_s": storm.step_s,
        "depth_mm": [float(depth) for depth in storm.depth_mm],
    }


STAGE = Stage(
    name="storm",
    version=1,
    title="design storms",
    needs=(),
    makes=("storms",),
    run=_run,
    sources=("rainfall",),
    tables=("storm",),
)
