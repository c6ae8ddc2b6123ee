"""What was built against what was designed: levels, storage, and the cascade with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from brimline.cascade import check, judge, mends_for, route
from brimline.config import AsBuilt, Works
from brimline.elements.building import Asked, Tolerances, checked
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages import _as_built_findings as told
from brimline.stages import _as_built_shift as shifts
from brimline.stages._as_built_elements import bottom_places, elements_built, sill_rows
from brimline.stages._as_built_findings import BuiltFinding
from brimline.stages._as_built_read import read_survey
from brimline.stages._as_built_rows import (
    After,
    designed_m3_of,
    element_rows,
    finding_table,
    headline,
    sill_row,
    stake_frame,
)
from brimline.stages._earthworks import NEEDS as EARTH_NEEDS
from brimline.stages._earthworks import designed
from brimline.stages._frames import frame_of, table_of
from brimline.stages._works_cascade import NEEDS as CASCADE_NEEDS
from brimline.stages._works_cascade import LaidOut, laid_out
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.elements.building import Checked
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.stages._as_built_elements import AllBuilt
    from brimline.stages._as_built_read import BuiltSurvey

_TABLES: Final = ("as_built_findings", "as_built_sills")
_LAYERS: Final = ("as_built_elements", "as_built_stakes")


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("as_built", AsBuilt)
    rules = given.facts("building_rules")
    site = designed(given)
    laid = laid_out(given, Works(**given.facts("works_rules")))
    if not isinstance(laid, LaidOut) or not site.ready.elements:
        _warn(report, "nothing that was drawn can be held against it", "draw the elements")
        return _nothing(given)
    survey = read_survey(given, site, params, rules["refine"], report)
    report.advanced(0.3, "holding levels against the stakes")
    tolerances = Tolerances(
        params.sill_m, params.floor_m, params.crest_m, params.edge_m, survey.rmse_m
    )
    asked = _asked(given.frame("stakes"), settled=params.settled)
    asked += bottom_places(site, rules["refine"], 5.0)
    found = [survey.differences.at(one) for one in asked]
    checks = [
        checked(one, here.difference_m, tolerances) for one, here in zip(asked, found, strict=True)
    ]
    built = elements_built(site, laid.done.network, checks, survey.differences, rules["refine"])
    report.advanced(0.5, "routing the cascade as built")
    after = _rerouted(laid, built, report)
    sills = sill_rows(built.elements, tolerances)
    designed_m3 = designed_m3_of(laid)
    findings = told.ranked(
        [
            *_of_survey(survey, checks, params, report),
            *told.of_cascade(after.new, after.mends, told.back_to_design(checks, sills)),
            *told.of_levels(checks),
            *told.of_sills(sills),
            *told.of_storage(built.elements, designed_m3, checks, sills, params.storage_pct),
            *told.of_unseen(checks),
        ]
    )
    elements = element_rows(given.frame("elements"), laid, built, after, checks, findings)
    _tell(findings, report)
    return {
        "as_built_findings": finding_table(findings),
        "as_built_sills": table_of([sill_row(*row) for row in sills], "as_built_sills"),
        "as_built_elements": frame_of(
            elements, given.frame("elements").geometry.tolist(), "as_built_elements", given.grid
        ),
        "as_built_stakes": stake_frame(checks, found, given),
        "as_built": {
            "headline": headline(checks, elements),
            "shift_m": survey.shift.mean_m,
            "shift": survey.shift.told,
            "shift_taken_off": bool(survey.shift.told and params.take_off_shift),
            "rmse_m": survey.rmse_m,
            "settled": params.settled,
        },
    }


def _of_survey(
    survey: BuiltSurvey, checks: Sequence[Checked], params: AsBuilt, report: Reporter
) -> list[BuiltFinding]:
    """Say what lies on the whole survey alike."""
    found = []
    if survey.shift.told:
        what = (
            "it was taken off before levels were judged"
            if params.take_off_shift
            else "it was left in, as asked"
        )
        mend = (
            "check the survey's base and height reference against the benchmark; "
            "set take_off_shift under [as_built] to leave it in"
        )
        found.append(BuiltFinding(told.SURVEY, "", "", f"{survey.shift.told}; {what}", mend))
    alike = shifts.alike(checks)
    if alike and not survey.shift.by:
        mend = "survey the benchmark and some untouched ground before anything is cut or filled"
        found.append(BuiltFinding(told.SURVEY, "", "", alike, mend))
    for one in found:
        report.problem(Problem(Severity.WARNING, one.text, one.mend, "as_built"))
    return found


def _asked(stakes: GeoDataFrame, *, settled: bool) -> list[Asked]:
    """Levels that the stakes ask for; offset stakes stand on ground that nobody touches."""
    level = "design_m" if settled else "build_m"
    return [
        Asked(
            row.element_id, row.stake_id, row.role, float(row.chainage_m), float(row.geometry.x),
            float(row.geometry.y), float(getattr(row, level)),
            math.inf if pd.isna(row.tolerance_m) else float(row.tolerance_m),
            row.because if isinstance(row.because, str) else "",
        )
        for row in stakes[stakes["offset_m"] == 0].itertuples(index=False)
    ]  # fmt: skip


def _rerouted(laid: LaidOut, built: AllBuilt, report: Reporter) -> After:
    network = laid.done.network.rebuilt(
        {name: one.element for name, one in built.elements.items()}, built.outlets
    )
    limits, pace = laid.rules.limits, laid.rules.pace
    first, *others = laid.done.inflows
    before = [laid.done.first, *(route(laid.done.network, one, pace) for one in others)]
    routed = [route(network, one, pace) for one in (first, *others)]
    marks = {(one.element_id, one.flag) for one in check(laid.done.network, limits)}
    marks |= {(one.element_id, one.flag) for part in before for one in judge(part, limits)}
    drawn = list(check(network, limits))
    by_storm = {one.inflow.name: list(judge(one, limits)) for one in routed}
    every = [("", one) for one in drawn]
    every += [(storm, one) for storm, part in by_storm.items() for one in part]
    new = [(storm, one) for storm, one in every if (one.element_id, one.flag) not in marks]
    report.advanced(0.7, "looking for what would mend it")
    shown = [*drawn, *by_storm[first.name]]
    mended = [one for one in shown if (one.element_id, one.flag) not in marks]
    mends = mends_for(
        routed[0], mended, limits, pace, laid.ways.on_ground,
        others=[one for one in shown if one not in mended],
    )  # fmt: skip
    return After(routed, new, mends)


def _tell(findings: Sequence[BuiltFinding], report: Reporter) -> None:
    failing = dict.fromkeys(
        one.element_id for one in findings if one.element_id and one.code != "not-surveyed"
    )
    if failing:
        first = next(one for one in findings if one.element_id)
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(failing), 'element is', 'elements are')} not built as designed:"
                f" {', '.join(failing)}; first: {first.element_id}: {first.text}",
                first.mend,
                "as_built",
            )
        )


def _warn(report: Reporter, text: str, mend: str) -> None:
    report.problem(Problem(Severity.WARNING, text, mend, "as_built"))


def _nothing(given: Given) -> Mapping[str, Any]:
    return {
        **{name: table_of([], name) for name in _TABLES},
        **{name: frame_of([], [], name, given.grid) for name in _LAYERS},
        "as_built": {},
    }


STAGE = Stage(
    name="as_built",
    version=1,
    title="what was built against the design",
    needs=tuple(
        dict.fromkeys(
            (*EARTH_NEEDS, *CASCADE_NEEDS, "works_rules", "stakes", "setting_out", "survey_error")
        )
    ),
    makes=(*_TABLES, *_LAYERS, "as_built"),
    run=_run,
    sources=("as_built", "inflows"),
    tables=("as_built",),
)
