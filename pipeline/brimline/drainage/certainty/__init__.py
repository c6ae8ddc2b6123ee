"""How sure catchments are, given the error of the survey."""

from brimline.drainage.certainty.chance import CatchmentChance, Draining, catchment_chance
from brimline.drainage.certainty.given_survey import GivenSurvey
from brimline.drainage.certainty.patches import Patch
from brimline.drainage.certainty.ranges import CatchmentRanges, catchment_ranges
from brimline.drainage.certainty.survey import SURVEY_CLASSES, SurveyClass, survey_rmse_m

__all__ = [
    "SURVEY_CLASSES",
    "CatchmentChance",
    "CatchmentRanges",
    "Draining",
    "GivenSurvey",
    "Patch",
    "SurveyClass",
    "catchment_chance",
    "catchment_ranges",
    "survey_rmse_m",
]
