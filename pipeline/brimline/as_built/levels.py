"""Built levels against the levels that were asked for: what passes, what fails, what is open.

A level passes or fails only where the survey shows it: the limit is moved inwards to accept and
outwards to refuse by what the survey errs, and what lies between is not decided.

References
----------
JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity
assessment, section 8.3 (guarded acceptance and rejection). The factor 1.645, for a chance of 5 % to
be wrong about a level at its limit, is the normal distribution's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.special import ndtr, ndtri

from brimline.lines.staking import BuildLimits

if TYPE_CHECKING:
    from numpy.typing import NDArray

Verdict = Literal["pass", "fail", "not decided", "not surveyed"]

UNDECIDED: Final = "not decided by this survey: check it with a level"
SLACK_M: Final = 0.0005  # half a millimetre: rasters hold levels as 32-bit numbers
SURE: Final = 1.645  # standard errors that a normal error exceeds to one side in 5 % of trials
_MOST_WRONG: Final = 0.05
# standard error of one level by how it was surveyed [m]; common practice, no source
SURVEY_ERROR_M: Final = {"level": 0.003, "gnss": 0.02, "points": 0.01, "air": 0.05}


@dataclass(frozen=True, slots=True)
class Tolerances(BuildLimits):
    """How far built levels may be off, and how far the survey of them errs [m].

    Parameters
    ----------
    survey_error_m : standard error of one as-built level [m].
    """

    survey_error_m: float = 0.01


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
class CheckedLevel:
    """What was found there.

    Parameters
    ----------
    difference_m : built less asked; NaN where nothing was surveyed [m].
    told : what to do, in words; empty where it is built right.
    beyond : what no longer works at this level; empty where it still does.
    """

    asked: Asked
    difference_m: float
    tolerance_m: float
    verdict: Verdict
    told: str
    beyond: str


def decided(
    off_m: float, tolerance_m: float, error_m: float, *, among: int = 1, chance_m: float = 0.0
) -> Verdict:
    """Judge a departure by its tolerance and by what the survey errs.

    Refused is only what is beyond the tolerance for sure, and what no chance among all the levels
    judged together explains where everything is right.

    Parameters
    ----------
    off_m : how far it is off; negative is off the harmless way [m].
    error_m : standard error of `off_m` [m].
    among : how many are judged together.
    chance_m : what chance alone explains where it is known better than by `among` [m].
    """
    if math.isnan(off_m):
        return "not surveyed"
    chance_m = chance_m or error_m * chance_of_one(among)
    if off_m > max(tolerance_m + SURE * error_m, chance_m) + SLACK_M:
        return "fail"
    return "pass" if off_m + SURE * error_m <= tolerance_m + SLACK_M else "not decided"


def chance_of_one(among: int) -> float:
    """Greatest of so many normal errors, either way, that 5 % of trials exceed [std. errors]."""
    return float(ndtri((1 + (1 - _MOST_WRONG) ** (1 / among)) / 2))


@lru_cache(maxsize=64)
def range_of_chance(count: int, among: int = 1) -> float:
    """Range of so many normal errors that 5 % of trials exceed, in standard errors.

    Parameters
    ----------
    among : how many such ranges are judged together; none exceeds it in 95 % of trials.

    References
    ----------
    The upper 5 % point of the studentised range with infinite degrees of freedom: 2.77 for 2
    errors, 3.86 for 5, 4.47 for 10 (published tables of Tukey's honestly significant difference).
    """
    if count < 2:
        return 0.0
    x = np.linspace(-8.0, 8.0, 1601)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    low, high, sure = 0.0, 12.0, (1 - _MOST_WRONG) ** (1 / among)
    for _ in range(40):
        middle = (low + high) / 2
        inside = count * np.trapezoid(density * (ndtr(x + middle) - ndtr(x)) ** (count - 1), x)
        low, high = (middle, high) if inside < sure else (low, middle)
    return high


def checked(
    asked: Asked, difference_m: float, tolerances: Tolerances, *, among: int = 1
) -> CheckedLevel:
    """Judge one place.

    A crest that stands too high does no harm and passes; it is told how far.

    Parameters
    ----------
    among : how many levels of its element were surveyed.
    """
    tolerance = tolerances.of(asked.role)
    high = difference_m > 0
    off = -difference_m if asked.role == "crest" else abs(difference_m)
    verdict = decided(off, tolerance, tolerances.survey_error_m, among=among)
    size = f"{abs(difference_m):.2f} m"
    told = {
        "not surveyed": "survey it",
        "not decided": UNDECIDED,
        "fail": f"{'cut' if high else 'fill'} {size}",
        "pass": f"{size} higher than asked; leave it" if -off > tolerance else "",
    }[verdict]
    fails = verdict == "fail" and abs(difference_m) > asked.bears_m + SLACK_M
    beyond = asked.because if fails else ""
    return CheckedLevel(asked, difference_m, tolerance, verdict, told, beyond)


@dataclass(frozen=True, slots=True)
class SillLine:
    """A sill from side to side as built.

    Parameters
    ----------
    along_m : float64 (n,), distance from its first end, rising from 0 to its width [m].
    level_m : float64 (n,), built level [m].
    readings : how many of them err by themselves; 0 takes all.
    points : how many of them were surveyed rather than read off a surface; 0 for a surface. Where
        two more levels are given, the first and last repeat their neighbours at the ends.
    """

    along_m: NDArray[np.float64]
    level_m: NDArray[np.float64]
    readings: int = 0
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
        return float(self.level_m @ self._weights())

    @property
    def uneven_m(self) -> float:
        """Highest less lowest level [m]."""
        return self.highest_m - self.lowest_m

    @property
    def lowest_at_m(self) -> float:
        """Distance of its lowest place from its first end; the middle of several [m]."""
        low = np.flatnonzero(self.level_m <= self.lowest_m + SLACK_M)
        return float(self.along_m[low].mean())

    def error_of_mean_m(self, survey_error_m: float) -> float:
        """Return the standard error of its mean level; a surface errs alike along it [m]."""
        if not self.points:
            return survey_error_m
        weights = self._weights()
        if len(weights) == self.points + 2:
            weights[1] += weights[0]
            weights[-2] += weights[-1]
            weights = weights[1:-1]
        return survey_error_m * float(np.linalg.norm(weights))

    def _weights(self) -> NDArray[np.float64]:
        """Share of the width that each level stands for, by the trapezoid rule."""
        width = float(self.along_m[-1] - self.along_m[0])
        if width == 0:
            return np.full(len(self.along_m), 1 / len(self.along_m))
        share = np.diff(self.along_m) / width / 2
        return np.asarray(np.append(share, 0.0) + np.append(0.0, share))


@dataclass(frozen=True, slots=True)
class SillVerdict:
    """A sill judged: its level and its evenness apart.

    Parameters
    ----------
    level : of its mean level over its width.
    even : of its highest less its lowest level.
    told : what to do, in words; empty where it is built right.
    """

    level: Verdict
    even: Verdict
    told: str

    @property
    def both(self) -> Verdict:
        """The worse of the two."""
        order: tuple[Verdict, ...] = ("fail", "not surveyed", "not decided", "pass")
        return min(self.level, self.even, key=order.index)


def sill_verdict(
    line: SillLine | None, asked_m: float, tolerances: Tolerances, *, among: int = 1
) -> SillVerdict:
    """Judge a sill over its whole width, and say what is to be done.

    It must lie at its level, and be level from side to side, for it spills where it is lowest.

    Parameters
    ----------
    line : None where it was not surveyed.
    among : how many verdicts are given together, two on each sill.
    """
    if line is None:
        return SillVerdict("not surveyed", "not surveyed", "survey it from side to side")
    error, tolerance = tolerances.survey_error_m, tolerances.sill_m
    off = line.mean_m - asked_m
    level = decided(abs(off), tolerance, line.error_of_mean_m(error), among=among)
    chance_m = range_of_chance(line.readings or len(line.level_m), among) * error
    even = decided(line.uneven_m, tolerance, math.sqrt(2) * error, chance_m=chance_m)
    told = []
    if level == "fail":
        told.append(f"{'cut' if off > 0 else 'fill'} {abs(off):.2f} m over its whole width")
    if even == "fail":
        low, high = line.lowest_m - asked_m, line.highest_m - asked_m
        ways = [f"fill {-low:.2f} m where it is lowest, {line.lowest_at_m:.1f} m along"]
        ways = ways if low < -tolerance - SLACK_M else []
        ways += [f"cut {high:.2f} m where it is highest"] if high > tolerance + SLACK_M else []
        if level == "pass":
            told += ways
        if not told or level == "fail":
            told.append(f"level it: {line.uneven_m:.2f} m from lowest to highest")
    verdict = SillVerdict(level, even, "; ".join(told))
    return verdict if told or verdict.both == "pass" else SillVerdict(level, even, UNDECIDED)
