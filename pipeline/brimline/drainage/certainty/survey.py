"""Accuracy classes of airborne laser surveys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class SurveyClass:
    """What a survey of a class must reach.

    Parameters
    ----------
    rmse_m : root mean square error of heights on open, hard ground [m]; under grass and brush it
        is larger.
    pulses_per_m2 : least density of pulses [1/m²].
    """

    rmse_m: float
    pulses_per_m2: float


# U.S. Geological Survey, Lidar Base Specification (Techniques and Methods 11-B4, version 1.3,
# 2018, and the later web editions), tables of pulse density and of absolute vertical accuracy,
# non-vegetated RMSEz. Values from memory; the tables could not be reached.
SURVEY_CLASSES: Final[dict[str, SurveyClass]] = {
    "QL0": SurveyClass(rmse_m=0.05, pulses_per_m2=8.0),
    "QL1": SurveyClass(rmse_m=0.10, pulses_per_m2=8.0),
    "QL2": SurveyClass(rmse_m=0.10, pulses_per_m2=2.0),
    "QL3": SurveyClass(rmse_m=0.20, pulses_per_m2=0.5),
}


def survey_rmse_m(accuracy_class: str, stated_m: float | None) -> float:
    """Return the vertical error of a survey: as stated, else that of its class [m]."""
    return SURVEY_CLASSES[accuracy_class].rmse_m if stated_m is None else stated_m
