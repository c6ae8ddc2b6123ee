"""How exact the survey is, as facts for the stages that ask what its error could change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.drainage.certainty import SURVEY_CLASSES
from brimline.engine.stage import Stage

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine.stage import Given, Reporter


def _run(given: Given, report: Reporter) -> Mapping[str, Any]:  # noqa: ARG001
    params = given.params
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
    table="survey",
)
