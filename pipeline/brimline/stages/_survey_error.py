"""How far the elevation may be off, as the stage `support` found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.errors import Problem, Severity
from brimline.terrain.support import SurveyPower, wanted_survey

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Reporter

LEVEL_SURVEY: Final = "level_survey"  # made where the elevation is single levels
SUPPORT: Final = "support"  # need of every stage that asks


def survey_error_m(given: Given) -> float:
    """Return the standard error of the elevation [m]; needs `SUPPORT`."""
    return float(given.facts(SUPPORT)["error_m"])


def survey_lacks(given: Given) -> str:
    """Say why the survey cannot carry works, in words; empty where it can; needs `SUPPORT`."""
    return str(given.facts(SUPPORT)["lacks"])


def withheld(given: Given, what: str, depth_m: float, apart_m: float, report: Reporter) -> bool:
    """Tell whether the survey is too weak for works so deep and so far apart, and say so.

    Needs `SUPPORT`.

    Parameters
    ----------
    what : is not proposed then, in words.
    """
    if lacks := SurveyPower.of_facts(given.facts(SUPPORT)).lacks(depth_m, apart_m):
        text = f"no {what} are proposed: {lacks}"
        mend = f"get {wanted_survey(depth_m, apart_m)}"
        report.problem(Problem(Severity.WARNING, text, mend, "elevation"))
    return bool(lacks)
