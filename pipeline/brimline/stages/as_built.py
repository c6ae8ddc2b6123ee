"""What was built against what was designed: levels, storage, and the cascade with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
import shapely

from brimline import as_built
from brimline.config import AsBuilt, Earthworks, Survey
from brimline.design import ROUTING_STEP_S, Design
from brimline.elements.building import filling_m
from brimline.engine.stage import Stage
from brimline.errors import InternalError, Problem, Severity
from brimline.io.built import is_surface, read_built_points, read_built_surface
from brimline.io.vectors import VectorSource
from brimline.layers import FLAGS, layer
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of, table_of, values_of
from brimline.stages._plan import BUILT, ground_of_design, storms_of
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from brimline.as_built import (
        Asked,
        BuiltFinding,
        DesignedWorks,
        FromPoints,
        FromSurface,
        Judgement,
        SillBuilt,
        SurveyShift,
    )
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.io.surveyed_place import Box

_TABLES: Final = ("as_built_findings", "as_built_sills")
_LAYERS: Final = ("as_built_elements", "as_built_stakes")
_AROUND_M: Final = 100.0  # of the works, that a survey may lie in


def _run(given: Given, report: Reporter) -> Made:
    params, refine = (
        given.params("as_built", AsBuilt),
        given.params("earthworks", Earthworks).refine,
    )
    site, design = ground_of_design(given), given.value("design", Design)
    if not design.placed or not site.ready.elements:
        _warn(report, "nothing that was drawn can be held against it", "draw the elements")
        return _nothing(given)
    filled = {one.name for one in design.placed if filling_m(one.element) > 0}
    works = as_built.DesignedWorks(
        site.ready, site.ground, design.network, frozenset(filled), refine
    )
    rmse_m = _rmse_m(given, params)
    differences, shift = _read(given, works, params, rmse_m, report)
    if shift.told and params.take_off_shift:
        differences = as_built.without(differences, shift.shift_m)
    report.advanced(0.3, "judging levels and routing the cascade as built")
    inflows = tuple(design.arrivals.of(storm, ROUTING_STEP_S) for storm in storms_of(given))
    trial = as_built.Trial(inflows, design.limits, design.pace, design.on_ground)
    tolerances = as_built.Tolerances(
        params.sill_m, params.floor_m, params.crest_m, params.edge_m, params.storage_pct, rmse_m
    )
    found = as_built.judge_works(
        works, _asked(given.frame("stakes"), settled=params.settled), differences, tolerances,
        trial, shift=shift, shift_taken_off=params.take_off_shift,
    )  # fmt: skip
    _tell(found.findings, report)
    return _frames(found, given) | {
        "as_built": {
            "headline": found.headline,
            "shift_m": shift.mean_m,
            "shift": shift.told,
            "shift_taken_off": bool(shift.told and params.take_off_shift),
            "rmse_m": rmse_m,
            "settled": params.settled,
        }
    }


def _rmse_m(given: Given, params: AsBuilt) -> float:
    usual = "air" if is_surface(_survey_of(given).path) else "points"
    stated = as_built.SURVEY_ERROR_M[params.surveyed_by or usual]
    return stated if params.rmse_m is None else params.rmse_m


def _survey_of(given: Given) -> VectorSource:
    source = given.source("as_built", VectorSource)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.as_built names a survey")
    return source


def _read(
    given: Given, works: DesignedWorks, params: AsBuilt, rmse_m: float, report: Reporter
) -> tuple[FromSurface | FromPoints, SurveyShift]:
    """Read the survey as differences from the design, and look for a shift of all of it."""
    source, older = _survey_of(given), given.params("survey", Survey)
    where = (source, given.raster("elevation"), given.grid, _around(given.frame("elements")))
    sigma_m, correlation_m = (
        math.hypot(survey_error_m(given), rmse_m),
        older.correlation_m,
    )
    crs, unit = params.crs, params.vertical_unit
    if is_surface(source.path):
        read = read_built_surface(*where, crs=crs, vertical_unit=unit)
        _pass_on(read.notices, report)
        surface, untouched = as_built.surface_change(
            works.ready, read.dem, read.grid, refine=works.refine, settled=params.settled
        )
        return surface, as_built.shift_of_surface(
            surface, untouched, sigma_m=sigma_m, correlation_m=correlation_m
        )
    points = read_built_points(*where, crs=crs, vertical_unit=unit)
    _pass_on(points.problems, report)
    elements = given.frame("elements")
    floors = dict(zip(elements["element_id"], elements["floor_level_m"].astype(float), strict=True))
    found, free = as_built.points_change(
        works.ready, works.ground, points,
        floors_m=floors, reach_m=params.reach_m, settled=params.settled,
    )  # fmt: skip
    level = given.facts("setting_out")["instrument"]
    return found, as_built.shift_of_points(
        found, free, points, (level["benchmark"], level["benchmark_m"]) if level else None,
        sigma_m=sigma_m, rmse_m=rmse_m, correlation_m=correlation_m,
    )  # fmt: skip


def _around(elements: GeoDataFrame) -> Box:
    west, south, east, north = (float(part) for part in elements.total_bounds)
    return west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M


def _asked(stakes: GeoDataFrame, *, settled: bool) -> list[Asked]:
    """Levels that the stakes ask for; offset stakes stand on ground that nobody touches.

    Bottoms of trenches, pits and beds are covered before anyone can survey them.
    """
    level = "design_m" if settled else "build_m"
    buried = (
        stakes["role"].str.startswith(("trench", "pit", "base")).fillna(value=False).astype(bool)
    )
    return [
        as_built.Asked(
            row.element_id, row.stake_id, row.role, float(row.chainage_m), float(row.geometry.x),
            float(row.geometry.y), float(getattr(row, level)),
            math.inf if pd.isna(row.bears_m) else float(row.bears_m),
            row.because if isinstance(row.because, str) else "",
        )
        for row in stakes[(stakes["offset_m"] == 0) & ~buried].itertuples(index=False)
    ]  # fmt: skip


def _frames(found: Judgement, given: Given) -> dict[str, Any]:
    stakes, places = _stake_rows(found)
    shapes = given.frame("elements").set_index("element_id").geometry
    elements = [
        values_of(one, layer("as_built_elements")) | {"flag": joined(one.flag)}
        for one in found.elements
    ]
    findings = [
        _blank(
            {
                "rank": rank, "element_id": one.element_id, "storm": one.storm, "code": one.code,
                "text": one.text, "mend": one.mend or FLAGS[one.code].mend.rstrip("."),
            }
        )
        for rank, one in enumerate(found.findings, start=1)
    ]  # fmt: skip
    return {
        "as_built_findings": table_of(findings, "as_built_findings"),
        "as_built_sills": table_of([_sill_row(one) for one in found.sills], "as_built_sills"),
        "as_built_elements": frame_of(
            elements, [shapes[one.element_id] for one in found.elements], "as_built_elements",
            given.grid,
        ),
        "as_built_stakes": frame_of(stakes, places, "as_built_stakes", given.grid),
    }  # fmt: skip


def _blank(row: dict[str, Any]) -> dict[str, Any]:
    return {name: None if value == "" else value for name, value in row.items()}


def _stake_rows(found: Judgement) -> tuple[list[dict[str, Any]], list[shapely.Point]]:
    order = ("fail", "not decided", "not surveyed", "pass")
    pairs = zip(found.checks, found.found, strict=True)
    told = sorted(pairs, key=lambda pair: order.index(pair[0].verdict))
    codes = {"fail": "built-off", "not surveyed": "not-surveyed"}
    rows = [
        _blank(
            {
                "stake_id": one.asked.stake_id,
                "element_id": one.asked.element_id,
                "role": one.asked.role,
                "verdict": one.verdict,
                "chainage_m": one.asked.chainage_m,
                "design_m": one.asked.level_m,
                "built_m": one.asked.level_m + one.difference_m,
                "difference_m": one.difference_m,
                "tolerance_m": one.tolerance_m,
                "cut_m": one.difference_m if one.verdict == "fail" else math.nan,
                "mend": one.told,
                "because": one.beyond,
                "distance_m": here.distance_m,
                "point": here.point,
            }
        )
        | {"flag": codes.get(one.verdict, "")}
        for one, here in told
    ]
    return rows, [shapely.Point(one.asked.x, one.asked.y) for one, _ in told]


def _sill_row(sill: SillBuilt) -> dict[str, Any]:
    line, verdict = sill.line, sill.verdict
    flags = {"not surveyed": "not-surveyed", "not decided": "not-decided"}
    codes = [flags[verdict.both]] if verdict.both in flags else []
    codes += ["built-off"] if verdict.level == "fail" else []
    codes += ["uneven-sill"] if verdict.even == "fail" else []
    names = ("lowest_m", "highest_m", "mean_m", "uneven_m", "lowest_at_m")
    return {
        "element_id": sill.element_id,
        "sill": sill.number,
        "verdict": verdict.both,
        "level_verdict": verdict.level,
        "even_verdict": verdict.even,
        "width_m": sill.width_m,
        "design_m": sill.level_m,
        **{name: None if line is None else getattr(line, name) for name in names},
        "points": 0 if line is None else line.points,
        "mend": verdict.told or None,
        "flag": joined(codes),
    }


def _pass_on(problems: Sequence[Problem], report: Reporter) -> None:
    for problem in problems:
        report.problem(problem)


def _tell(findings: Sequence[BuiltFinding], report: Reporter) -> None:
    for one in findings:
        if not one.element_id:
            _warn(report, one.text, one.mend)
    told = [one for one in findings if one.element_id]
    open_ = ("not-surveyed", "not-decided")
    failing = dict.fromkeys(one.element_id for one in told if one.code not in open_)
    if failing:
        many = counted(len(failing), "element is", "elements are")
        first = f"first: {told[0].element_id}: {told[0].text}"
        _warn(report, f"{many} not built as designed: {', '.join(failing)}; {first}", told[0].mend)


def _warn(report: Reporter, text: str, mend: str) -> None:
    report.problem(Problem(Severity.WARNING, text, mend, "as_built"))


def _nothing(given: Given) -> dict[str, Any]:
    return {
        **{name: table_of([], name) for name in _TABLES},
        **{name: frame_of([], [], name, given.grid) for name in _LAYERS},
        "as_built": {},
    }


STAGE = Stage(
    name="as_built",
    version=2,
    title="what was built against the design",
    needs=(*BUILT, "elements", "storms", "stakes", "setting_out", SUPPORT),
    makes=(*_TABLES, *_LAYERS, "as_built"),
    run=_run,
    sources=("as_built",),
    tables=("as_built", "earthworks", "survey"),
)
