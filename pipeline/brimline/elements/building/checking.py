"""Built levels against the levels that were asked for: what passes, and what is cut or filled."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Verdict = Literal["pass", "fail", "not surveyed"]

_SLACK_M: Final = 0.0005  # half a millimetre: rasters hold levels as 32-bit numbers
_SURE: Final = 1.96  # standard errors that 95 % of a normal error lie within


@dataclass(frozen=True, slots=True)
class Tolerances:
    """How far a built level may be off, by what is built [m].

    Parameters
    ----------
    survey_error_m : standard error of the as-built levels [m].
    """

    sill_m: float = 0.02
    floor_m: float = 0.03
    crest_m: float = 0.05
    edge_m: float = 0.10
    survey_error_m: float = 0.01

    def of(self, role: str) -> float:
        """Return the tolerance of a stake's role: sill, sill2, floor, crest, edge [m]."""
        known = {"floor": self.floor_m, "crest": self.crest_m, "edge": self.edge_m}
        return self.sill_m if role.startswith("sill") else known.get(role, self.floor_m)


@dataclass(frozen=True, slots=True)
class Asked:
    """One place whose level is checked.

    Parameters
    ----------
    level_m : that it should have [m].
    bears_m : error at which the element still works; infinite where any does [m].
    because : what fails beyond it.
    reach_m : how far off a surveyed point may speak for it; 0 takes what is usual [m].
    """

    element_id: str
    stake_id: str
    role: str
    chainage_m: float
    x: float
    y: float
    level_m: float
    bears_m: float = math.inf
    because: str = ""
    reach_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found there.

    Parameters
    ----------
    difference_m : built less asked; NaN where nothing was surveyed [m].
    told : what to do, in words; empty where it is built right.
    beyond : what no longer works at this level; empty where it still does.
    unsure : whether the survey's error is too large to judge by the tolerance.
    """

    asked: Asked
    difference_m: float
    tolerance_m: float
    verdict: Verdict
    told: str
    beyond: str
    unsure: bool


def checked(asked: Asked, difference_m: float, tolerances: Tolerances) -> Checked:
    """Judge one place.

    A crest that stands too high does no harm and passes; it is told how far.
    """
    tolerance = tolerances.of(asked.role)
    unsure = _SURE * tolerances.survey_error_m > tolerance + _SLACK_M
    if math.isnan(difference_m):
        return Checked(asked, difference_m, tolerance, "not surveyed", "survey it", "", unsure)
    size = abs(difference_m)
    high = difference_m > 0
    if size <= tolerance + _SLACK_M:
        return Checked(asked, difference_m, tolerance, "pass", "", "", unsure)
    if asked.role == "crest" and high:
        told = f"{size:.2f} m higher than asked; leave it"
        return Checked(asked, difference_m, tolerance, "pass", told, "", unsure)
    told = f"{'cut' if high else 'fill'} {size:.2f} m"
    beyond = asked.because if size > asked.bears_m + _SLACK_M else ""
    return Checked(asked, difference_m, tolerance, "fail", told, beyond, unsure)


@dataclass(frozen=True, slots=True)
class SillLine:
    """A sill from side to side as built.

    Parameters
    ----------
    along_m : float64 (n,), distance from its first end, rising from 0 to its width [m].
    level_m : float64 (n,), built level [m].
    points : how many of them were surveyed rather than read off a surface; 0 for a surface.
    """

    along_m: NDArray[np.float64]
    level_m: NDArray[np.float64]
    points: int = 0

    @property
    def lowest_m(self) -> float:
        """Where it begins to spill [m]."""
        return float(self.level_m.min())

    @property
    def highest_m(self) -> float:
        """Its highest level [m]."""
        return float(self.level_m.max())

    @property
    def mean_m(self) -> float:
        """Its mean level over its width [m]."""
        width = float(self.along_m[-1] - self.along_m[0])
        if width == 0:
            return float(self.level_m.mean())
        return float(np.trapezoid(self.level_m, self.along_m)) / width

    @property
    def uneven_m(self) -> float:
        """Highest less lowest level [m]."""
        return self.highest_m - self.lowest_m

    @property
    def lowest_at_m(self) -> float:
        """Distance of its lowest place from its first end; the middle of several [m]."""
        low = np.flatnonzero(self.level_m <= self.lowest_m + _SLACK_M)
        return float(self.along_m[low].mean())


def sill_verdict(line: SillLine, asked_m: float, tolerances: Tolerances) -> tuple[Verdict, str]:
    """Judge a sill over its whole width, and say what is to be done.

    It must be level from side to side, for it spills where it is lowest.
    """
    low, high = line.lowest_m - asked_m, line.highest_m - asked_m
    tolerance = tolerances.sill_m + _SLACK_M
    told = []
    if low < -tolerance:
        told.append(f"fill {-low:.2f} m where it is lowest, {line.lowest_at_m:.1f} m along")
    if high > tolerance:
        told.append(f"cut {high:.2f} m where it is highest")
    if not told and line.uneven_m > tolerance:
        told.append(f"level it: {line.uneven_m:.2f} m from lowest to highest")
    return ("fail" if told else "pass"), "; ".join(told)
