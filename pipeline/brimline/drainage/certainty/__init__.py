"""How sure catchments are, given the error of the survey."""

from brimline.drainage.certainty.chance import CatchmentChance, catchment_chance
from brimline.drainage.certainty.error_field import error_field
from brimline.drainage.certainty.given_survey import GivenSurvey
from brimline.drainage.certainty.survey import SURVEY_CLASSES, SurveyClass, survey_rmse_m

__all__ = [
    "SURVEY_CLASSES",
    "CatchmentChance",
    "GivenSurvey",
    "SurveyClass",
    "catchment_chance",
    "error_field",
    "survey_rmse_m",
]
