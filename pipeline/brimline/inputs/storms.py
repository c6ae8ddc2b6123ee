"""The storms of a run, from the rainfall table or as stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.errors import InputError, Problem, Severity
from brimline.io.rainfall import depth_doubts
from brimline.rainfall import RunStorms, Storm, StormRequest, design_storms, uniform

if TYPE_CHECKING:
    from brimline.config import DesignStorm
    from brimline.rainfall import DepthTable


def storms_asked(
    params: DesignStorm, table: DepthTable | None, source: str
) -> tuple[RunStorms, list[Problem]]:
    """Return every storm of a run, and what is doubtful about their source.

    Parameters
    ----------
    table : None is rain that falls evenly, as stated.
    source : the table's file, for messages.

    Raises
    ------
    InputError
        With every problem, if the table lacks a storm that is asked for or cannot be right.
    """
    rain_2y_mm: float | None = None
    problems = [_no_table(params)] if table is None else _doubts(table, source)
    try:
        if table is None:
            storms = [_even(params)]
            beyond = [_heavier(storms[0], factor) for factor in params.beyond_steps]
        else:
            storms = _from_table(table, params)
            beyond = _beyond(table, params, {storm.name for storm in storms})
            rain_2y_mm = _two_year_rain_mm(table, params)
    except ValueError as error:
        mend = "change [storm]" if table is None else "change [storm], or extend the table"
        where = "configuration" if table is None else source
        raise InputError([*problems, Problem(Severity.ERROR, str(error), mend, where)]) from error
    if any(problem.severity is Severity.ERROR for problem in problems):
        raise InputError(problems)
    return RunStorms(storms[0], tuple(storms[1:]), tuple(beyond), rain_2y_mm), problems


def _doubts(table: DepthTable, source: str) -> list[Problem]:
    try:
        return list(depth_doubts(table, source))
    except InputError as error:
        return list(error.problems)


def _no_table(params: DesignStorm) -> Problem:
    return Problem(
        Severity.WARNING,
        f"no rainfall table was given: {params.depth_mm:g} mm falls evenly over"
        f" {params.duration_h:g} h",
        "give inputs.rainfall, a table of depths by duration and return period",
        "rainfall",
    )


def _two_year_rain_mm(table: DepthTable, params: DesignStorm) -> float | None:
    """Two-year rain of 24 h for sheet flow [mm]; None where the table does not reach that far."""
    try:
        return float(table.depth_mm(24.0, 2.0)) * (1 + params.climate_uplift_pct / 100)
    except ValueError:
        return None


def _from_table(table: DepthTable, params: DesignStorm) -> list[Storm]:
    """Return the design storm, then the others of the run."""
    uplift = 1 + params.climate_uplift_pct / 100
    periods = dict.fromkeys((params.return_period_y, *params.check_periods_y))
    hours = dict.fromkeys((params.duration_h, *params.check_durations_h))
    requests = [
        StormRequest(period, hour, params.shape, uplift, name=_name(period, hour, params))
        for hour in hours
        for period in periods
    ]
    return list(design_storms(table, requests, step_s=60 * params.step_min))


def _beyond(table: DepthTable, params: DesignStorm, known: set[str]) -> list[Storm]:
    """Return longer design storms, then the check storms; those that are run anyway left out."""
    uplift = 1 + params.climate_uplift_pct / 100
    least_y, most_y = (float(years) for years in table.return_periods_y[[0, -1]])
    rarest = min(max(params.beyond_period_y, least_y), most_y)
    longest_h = float(table.durations_h[-1])
    longer = [h for h in params.beyond_durations_h if params.duration_h < h <= longest_h]
    if params.shape.startswith("type"):
        longer = []  # those are of 24 h and no other
    periods = dict.fromkeys((params.return_period_y, rarest))
    requests = [
        StormRequest(period, hour, params.shape, uplift, name=_name(period, hour, params))
        for period in periods
        for hour in sorted({params.duration_h, *longer})
    ]
    wanted = [one for one in requests if one.name not in known]
    return list(design_storms(table, wanted, step_s=60 * params.step_min)) if wanted else []


def _heavier(storm: Storm, factor: float) -> Storm:
    return Storm(f"{factor:g} times the stated rain", storm.step_s, factor * storm.depth_mm)


def _name(period_y: float, duration_h: float, params: DesignStorm) -> str:
    """Name a storm by its return period, and its duration where that is not the usual one."""
    other = "" if duration_h == params.duration_h else f" {duration_h:g} h"
    return f"{period_y:g}-year{other}"


def _even(params: DesignStorm) -> Storm:
    step_s = 60 * params.step_min
    uplift = 1 + params.climate_uplift_pct / 100
    depths = uniform(params.depth_mm * uplift, params.duration_h, step_s=step_s)
    return Storm("stated rain", step_s, depths)
