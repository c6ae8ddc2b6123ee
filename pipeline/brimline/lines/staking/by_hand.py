"""Setting out by hand: set-ups of one level, and places measured from two fixed points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.lines.staking.levelling import Instrument

_SPARE_M: Final = 0.1  # of a rod, at either end
_WEAK_DEG: Final = 30.0  # two tapes that cross flatter place a stake badly (common practice)


@dataclass(frozen=True, slots=True)
class SetUp:
    """Where the instrument's line of sight lies, and from what that is known.

    Parameters
    ----------
    sight_m : level of the line of sight [m].
    backsight_m : reading on the benchmark; NaN where it is out of reach [m].
    peg_m : lowest and highest level of a peg that carries the level over from the set-up before;
        NaN where none is needed, or where one peg does not reach [m].
    """

    sight_m: float
    backsight_m: float
    peg_m: tuple[float, float]


def set_ups(
    ground_m: ArrayLike, build_m: ArrayLike, level: Instrument
) -> tuple[tuple[SetUp, ...], NDArray[np.int64]]:
    """Propose set-ups so that a rod reaches every stake, on the ground and on the level to build.

    The first is that of `level`; each further one serves as many of the stakes left as any can.

    Parameters
    ----------
    ground_m, build_m : float (stakes,) [m].

    Returns
    -------
    The set-ups, and for each stake the place of its own; -1 where its dig is deeper than the rod.
    """
    top = np.maximum(np.asarray(ground_m, np.float64), np.asarray(build_m, np.float64))
    low = np.minimum(np.asarray(ground_m, np.float64), np.asarray(build_m, np.float64))
    highest = low + level.rod_m  # a line of sight above it reads off the rod
    chosen = [level.sight_m]
    served = np.where((top <= level.sight_m) & (highest >= level.sight_m), 0, -1)
    left = (served < 0) & (highest >= top)
    while left.any():
        here = left & (top <= highest[left].min())
        low_m, high_m = float(top[here].max()), float(highest[here].min())
        spare_m = min(_SPARE_M, (high_m - low_m) / 2)
        near_m = min(chosen, key=lambda one: max(low_m - one, one - high_m))  # easily carried over
        chosen.append(min(max(near_m, low_m + spare_m), high_m - spare_m))
        served[here] = len(chosen) - 1
        left &= ~here
    return tuple(_set_up(chosen, place, level) for place in range(len(chosen))), served


def _set_up(chosen: list[float], place: int, level: Instrument) -> SetUp:
    sight_m, none = chosen[place], (np.nan, np.nan)
    on_benchmark = sight_m - level.benchmark_m
    if 0 <= on_benchmark <= level.rod_m:
        return SetUp(sight_m, on_benchmark, none)
    near = min(chosen[:place], key=lambda other: abs(other - sight_m))
    lowest, highest = max(sight_m, near) - level.rod_m, min(sight_m, near)
    return SetUp(sight_m, np.nan, (lowest, highest) if lowest < highest else none)


@dataclass(frozen=True, slots=True, eq=False)
class FromTwoPoints:
    """Places measured from two fixed points A and B; float64 (stakes,) [m].

    Parameters
    ----------
    along_m, off_m : along the line from A to B, and square to it, left positive.
    from_a_m, from_b_m : straight distances.
    weak : bool (stakes,); the two distances cross so flatly that along and off place it better.
    """

    along_m: NDArray[np.float64]
    off_m: NDArray[np.float64]
    from_a_m: NDArray[np.float64]
    from_b_m: NDArray[np.float64]
    weak: NDArray[np.bool_]


def from_two_points(
    x: ArrayLike, y: ArrayLike, a: tuple[float, float], b: tuple[float, float]
) -> FromTwoPoints:
    """Measure places from two fixed points, by offsets from their line and by two distances.

    Raises
    ------
    ValueError
        If the points are nearer than a metre to each other.
    """
    east, north = b[0] - a[0], b[1] - a[1]
    base_m = float(np.hypot(east, north))
    if base_m < 1.0:
        raise ValueError(f"two fixed points lie {base_m:.2f} m apart; 1 m is the least")
    dx, dy = np.asarray(x, np.float64) - a[0], np.asarray(y, np.float64) - a[1]
    along, off = (dx * east + dy * north) / base_m, (dy * east - dx * north) / base_m
    from_a, from_b = np.hypot(along, off), np.hypot(along - base_m, off)
    area = np.maximum(from_a * from_b, 1e-12)
    crossing = np.degrees(np.arcsin(np.clip(np.abs(off) * base_m / area, 0.0, 1.0)))
    return FromTwoPoints(along, off, from_a, from_b, crossing < _WEAK_DEG)
