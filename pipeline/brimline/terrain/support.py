"""What a survey can carry: how far its levels err, how far apart they lie, and what that allows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.terrain.noise import shown_noise

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.grid import Elevation

_ERROR_SHARE: Final = 2 / 3  # of a swale's depth, from which its line means nothing
_STEP_SHARE: Final = 0.5  # of it, for levels rounded to steps
# both common practice, no source
CONTOURS_PER_ERROR: Final = 3.29  # US National Map Accuracy Standards (1947): nine in ten levels
# within half an interval, so 2 x 1.645 standard errors
SURE: Final = 1.96  # standard errors either side that hold 95 of 100
_MOST_CELLS: Final = 4_000_000  # that noise is looked for in
_BANDS: Final = 8


@dataclass(frozen=True, slots=True)
class SurveyPower:
    """How far levels may be off, and how far apart they are known.

    Parameters
    ----------
    error_m : standard error of a level [m].
    spacing_m : side of a cell; of a sparse point cloud, the mean distance of its points [m].
    step_m : that all levels are multiples of [m]; 0 where there is none.
    because : where `error_m` comes from, in words.
    """

    error_m: float
    spacing_m: float
    step_m: float
    because: str

    @classmethod
    def of_facts(cls, facts: Mapping[str, Any]) -> SurveyPower:
        """Return it from what a run notes of it, which may be more."""
        return cls(**{name: facts[name] for name in cls.__slots__})

    @property
    def sure_difference_m(self) -> float:
        """From which two levels, whose errors are apart, differ surely (95 of 100) [m]."""
        return SURE * math.sqrt(2) * self.error_m

    def lacks(self, depth_m: float, apart_m: float) -> str:
        """Say why works of a depth, and of rows so far apart, cannot be told; empty where they can.

        Parameters
        ----------
        depth_m : of a swale [m].
        apart_m : least distance of two rows [m].
        """
        least_error_m, least_step_m = _ERROR_SHARE * depth_m, _STEP_SHARE * depth_m
        found = []
        if self.error_m > least_error_m + 1e-9:
            found.append(f"levels err by {self.error_m:.2f} m ({self.because})")
        if self.step_m > least_step_m + 1e-9:
            found.append(f"levels are whole multiples of {self.step_m:g} m")
        if self.spacing_m > apart_m + 1e-9:
            found.append(f"levels lie {self.spacing_m:.3g} m apart")
        return " and ".join(found)


def wanted_survey(depth_m: float, apart_m: float) -> str:
    """Say in words which survey would carry works of a depth, in rows so far apart."""
    return (
        f"a survey with a level at least every {apart_m:g} m that errs by no more than"
        f" {_ERROR_SHARE * depth_m:.2f} m, such as airborne laser, a drone, or a level on site"
    )


def survey_power(
    dem: Elevation,
    *,
    cell_m: float,
    known_share: float = 1.0,
    class_error_m: float,
    named: str,
    stated: bool,
) -> SurveyPower:
    """Weigh what a survey is said to err by against what it shows of itself.

    A class of accuracy says nothing of ground that lies between coarse cells, or of levels that
    were rounded: the larger of what is said and what is shown counts. An error that was stated
    counts as it is.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    known_share : of the cells that hold a measured level.
    class_error_m : standard error as stated, or of the class of the survey [m].
    named : what says so.
    stated : whether a person stated it, or a study of its levels did.
    """
    spacing_m = cell_m / math.sqrt(max(known_share, 1e-6))
    shown = shown_noise(_sample(dem))
    if stated:
        return SurveyPower(class_error_m, spacing_m, shown.step_m, named)
    told = [(class_error_m, named)]
    if math.isfinite(shown.noise_m) and known_share > 0.5:  # else what was spanned looks smooth
        told.append((shown.noise_m, "what differs from cell to cell"))
    if shown.step_m > 0:
        told.append((shown.step_m / math.sqrt(12), f"rounded to {shown.step_m:g} m"))
    error_m, because = max(told, key=lambda one: one[0])
    return SurveyPower(error_m, spacing_m, shown.step_m, because)


def _sample(dem: Elevation) -> Elevation:
    """Return bands of rows of a large grid, one upon the other, and the whole of a small one."""
    rows, cols = dem.shape
    if dem.size <= _MOST_CELLS:
        return dem
    deep = max(_MOST_CELLS // (_BANDS * cols), 26)
    starts = np.linspace(0, max(rows - deep, 0), _BANDS).astype(int)
    return np.vstack([dem[start : start + deep] for start in starts])
