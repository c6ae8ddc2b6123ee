"""Whether the whole as-built survey is off, by its benchmark or by ground that nobody touched."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import chdtri

from brimline.terrain.change import find_shift
from brimline.terrain.spread import middle_and_spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.as_built.differences import FromPoints, FromSurface, PointsWithLevels
    from brimline.as_built.levels import CheckedLevel

_SURE: Final = 3.0  # standard errors from which a shift counts
_LEAST_M: Final = 0.01
_LEAST_POINTS: Final = 5
_LEAST_SCATTERED: Final = 10
_MAD_EFFICIENCY: Final = 0.37  # of the median deviation, for normal errors
_BY_CHANCE: Final = 0.01
_ALIKE: Final = 5.0  # a shift so many times the spread of all stakes lies on them alike
_LEAST_ALIKE_M: Final = 0.05
_LEAST_STAKES: Final = 8
_DATUM_RATIO: Final = 3.0


@dataclass(frozen=True, slots=True)
class SurveyShift:
    """What lies on the whole survey alike.

    Parameters
    ----------
    shift_m : one number, or a surface on the survey's grid [m]; 0 where there is none.
    mean_m : its mean [m].
    told : in words; empty where there is none.
    by : what shows it.
    scatter : that untouched ground scatters by more than both surveys err, in words; else empty.
    """

    shift_m: float | NDArray[np.float64] = 0.0
    mean_m: float = 0.0
    told: str = ""
    by: str = ""
    scatter: str = ""


def shift_of_surface(
    found: FromSurface, untouched: NDArray[np.bool_], *, sigma_m: float, correlation_m: float
) -> SurveyShift:
    """Look for a shift or tilt on ground that nobody touched.

    Parameters
    ----------
    sigma_m : error of a difference of the two surveys at one place [m].
    """
    if not untouched.any():
        return SurveyShift()
    shift, surface = find_shift(
        found.change_m.astype(np.float64), found.grid.cell_m, sigma_m=sigma_m,
        correlation_m=correlation_m, stable=untouched,
    )  # fmt: skip
    if shift.kind == "none":
        return SurveyShift()
    told = _told(shift.mean_m, "ground that nobody touched", shift.noise_m, sigma_m)
    if shift.kind == "tilt":
        told += f", tilted by {shift.span_m:.2f} m from side to side"
    return SurveyShift(surface, shift.mean_m, told, "ground")


def shift_of_points(
    found: FromPoints,
    free: NDArray[np.bool_],
    points: PointsWithLevels,
    benchmark: tuple[str, float] | None,
    *,
    sigma_m: float,
    rmse_m: float,
    correlation_m: float,
) -> SurveyShift:
    """Look for a shift at the benchmark, or else on ground that nobody touched.

    A benchmark that was surveyed has the last word: where it is right, a difference on the ground
    is the older survey's.

    Parameters
    ----------
    free : bool (n,); points on ground on which nothing was to be built.
    benchmark : its name and level [m]; None where there is none.
    sigma_m : error of a difference of the two surveys at one place [m].
    rmse_m : error of the as-built survey [m].
    """
    shift = _at_benchmark(points, benchmark, rmse_m) or _off_works(
        found, free, sigma_m=sigma_m, correlation_m=correlation_m
    )
    return replace(shift, scatter=_scatter(found.change_m[free], sigma_m))


def _scatter(change_m: NDArray[np.float64], sigma_m: float) -> str:
    """Say that levels on untouched ground scatter by more than both surveys err."""
    if change_m.size < _LEAST_SCATTERED:
        return ""
    noise = middle_and_spread(change_m)[1]
    freedom = _MAD_EFFICIENCY * (change_m.size - 1)
    if noise <= sigma_m * math.sqrt(chdtri(freedom, _BY_CHANCE) / freedom):
        return ""
    return (
        f"{change_m.size} points on ground that nobody touched scatter by {noise:.3f} m, where the"
        f" two surveys together are said to err by {sigma_m:.3f} m"
    )


def _at_benchmark(
    points: PointsWithLevels, benchmark: tuple[str, float] | None, rmse_m: float
) -> SurveyShift | None:
    """Return the shift at the benchmark; None where it was not surveyed."""
    mark, mark_m = benchmark or ("", math.nan)
    marks = [at for at, one in enumerate(points.name) if mark and one.casefold() == mark.casefold()]
    if not marks:
        return None
    off = float(np.mean(points.level_m[marks])) - mark_m
    if abs(off) <= max(2 * rmse_m, _LEAST_M):
        return SurveyShift(by="benchmark")
    told = f"the as-built survey has the benchmark {mark} {_high(off)}"
    return SurveyShift(off, off, told, "benchmark")


def _off_works(
    found: FromPoints, free: NDArray[np.bool_], *, sigma_m: float, correlation_m: float
) -> SurveyShift:
    """Return the shift on ground that nobody touched."""
    values = found.change_m[free]
    if values.size < _LEAST_POINTS:
        return SurveyShift()
    middle, noise = middle_and_spread(values)
    # points nearer to each other than errors stay alike tell no more than one
    reach = max(correlation_m, 0.01)
    cells = np.floor(np.column_stack([found.x[free], found.y[free]]) / reach)
    alone = len(np.unique(cells, axis=0))
    error = max(sigma_m, noise) / math.sqrt(alone)
    if abs(middle) <= max(_SURE * error, _LEAST_M):
        return SurveyShift()
    where = f"{values.size} points on ground that nobody touched"
    return SurveyShift(middle, middle, _told(middle, where, noise, sigma_m), "ground")


def off_alike(checks: Sequence[CheckedLevel]) -> str:
    """Say that all stakes are off by the same amount; empty where they are not.

    Whether the survey or the digging is off cannot be told from the stakes alone.
    """
    found = np.array([one.difference_m for one in checks if math.isfinite(one.difference_m)])
    if found.size < _LEAST_STAKES:
        return ""
    middle, spread = middle_and_spread(found)
    if abs(middle) < max(_LEAST_ALIKE_M, _ALIKE * spread):
        return ""
    return (
        f"every built level lies {_high(middle)} alike (spread {spread:.2f} m): the survey or the"
        " setting-out stood on another benchmark, or another height reference"
    )


def _told(mean_m: float, where: str, noise_m: float, sigma_m: float) -> str:
    text = f"the as-built survey lies {_high(mean_m)} on {where}"
    if abs(mean_m) > _DATUM_RATIO * max(noise_m, sigma_m):
        text += "; that is no survey error but another height reference (datum, geoid or benchmark)"
    return text


def _high(by_m: float) -> str:
    return f"{abs(by_m):.3f} m {'too high' if by_m > 0 else 'too low'}"
