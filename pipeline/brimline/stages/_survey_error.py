"""How far the elevation may be off, as the stage `support` found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from brimline.engine.stage import Given

LEVEL_SURVEY: Final = "level_survey"  # made where the elevation is single levels
SUPPORT: Final = "support"  # need of every stage that asks


def survey_error_m(given: Given) -> float:
    """Return the standard error of the elevation [m]; needs `SUPPORT`."""
    return float(given.facts(SUPPORT)["error_m"])


def survey_lacks(given: Given) -> str:
    """Say why the survey cannot carry works, in words; empty where it can; needs `SUPPORT`."""
    return str(given.facts(SUPPORT)["lacks"])
