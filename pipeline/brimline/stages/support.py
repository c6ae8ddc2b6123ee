"""What the survey can carry: its error, the distance of its levels, and what is withheld."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from brimline.config import Contours, Survey, SwaleRows, Works
from brimline.drainage.certainty import survey_rmse_m
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._survey_error import LEVEL_SURVEY
from brimline.terrain.support import CONTOURS_PER_ERROR, survey_power, wanted_survey

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.terrain.support import SurveyPower


def _run(given: Given, report: Reporter) -> Made:
    power = _power(given)
    depth_m = given.params("works", Works).swale_depth_m
    apart_m = given.params("swales", SwaleRows).min_spacing_m
    lacks = power.lacks(depth_m, apart_m)
    survey = given.params("survey", Survey)
    if not lacks and survey.rmse_m is None and power.error_m > _said(survey):
        report.problem(
            Problem(
                Severity.NOTICE,
                f"levels are taken to err by {power.error_m:.2f} m, more than survey.accuracy_class"
                f" {survey.accuracy_class} says: {power.because}",
                "state survey.rmse_m where you know better",
                "elevation",
            )
        )
    if lacks:
        report.problem(
            Problem(
                Severity.WARNING,
                f"the survey cannot carry works: {lacks}; swale rows, keylines and cultivation"
                " lines are not proposed, and stakes, sections and machine surfaces are withheld",
                f"get {wanted_survey(depth_m, apart_m)}",
                "elevation",
            )
        )
    interval_m = given.params("contours", Contours).interval_m
    if interval_m < CONTOURS_PER_ERROR * power.error_m:
        report.problem(
            Problem(
                Severity.NOTICE,
                f"contours every {interval_m:g} m say more than levels that err by"
                f" {power.error_m:.2f} m can tell",
                f"read only every {CONTOURS_PER_ERROR * power.error_m:.1f} m of them, or raise"
                " contours.interval_m",
                "contours",
            )
        )
    return {"support": asdict(power) | {"lacks": lacks}}


def _said(survey: Survey) -> float:
    return survey_rmse_m(survey.accuracy_class, survey.rmse_m)


def _power(given: Given) -> SurveyPower:
    survey, told = given.params("survey", Survey), None
    if survey.rmse_m is None and given.has(LEVEL_SURVEY):
        told = given.facts(LEVEL_SURVEY)["rmse_m"]
    by_class = survey.rmse_m is None and told is None
    named = f"class {survey.accuracy_class}" if by_class else "survey.rmse_m"
    return survey_power(
        given.raster("elevation"),
        cell_m=given.grid.cell_m,
        known_share=given.facts("survey")["known_share"],
        class_error_m=float(_said(survey) if told is None else told),
        named="what its levels tell of each other" if told is not None else named,
        stated=not by_class,
    )


STAGE = Stage(
    name="support",
    version=1,
    title="what the survey can carry",
    needs=("grid", "elevation", "survey"),
    makes=("support",),
    run=_run,
    tables=("survey", "works", "swales", "contours"),
    optional_needs=(LEVEL_SURVEY,),
)
