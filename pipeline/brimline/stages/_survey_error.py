"""How far the elevation may be off: as stated, else as its levels tell, else that of its class."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.config import Survey
from brimline.drainage.certainty import survey_rmse_m

if TYPE_CHECKING:
    from brimline.engine.stage import Given

LEVEL_SURVEY: Final = "level_survey"  # optional need of every stage that asks


def survey_error_m(given: Given) -> float:
    """Return the standard error of the elevation [m]; the stage has the table ``survey``."""
    survey = given.params("survey", Survey)
    if survey.rmse_m is None and given.has(LEVEL_SURVEY):
        told = given.facts(LEVEL_SURVEY)["rmse_m"]
        if told is not None:
            return float(told)
    return survey_rmse_m(survey.accuracy_class, survey.rmse_m)
