"""How exact the survey is, as facts for the stages that ask what its error could change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Survey
from brimline.drainage.certainty import SURVEY_CLASSES
from brimline.engine.stage import Stage

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001
    params = given.params("survey", Survey)
    usual = SURVEY_CLASSES[params.accuracy_class].rmse_m
    return {
        "survey_error": {
            "accuracy_class": params.accuracy_class,
            "rmse_m": usual if params.rmse_m is None else params.rmse_m,
            "correlation_m": params.correlation_m,
        }
    }


STAGE = Stage(
    name="survey_error",
    version=1,
    title="how exact the survey is",
    needs=(),
    makes=("survey_error",),
    run=_run,
    tables=("survey",),
)
