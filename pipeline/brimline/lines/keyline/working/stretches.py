"""Where along a line water goes from the valley to the ridge, at a grade that is of use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.keyline.working import _kernels
from brimline.lines.relief.courses import chainage
from brimline.lines.sample import frame_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.drift import Half

_NEAR_VALLEY = 0.25  # of a half of a line: a stretch that begins farther from its valley is no use
_TOWARDS_RIDGE = 0.6  # of a half: what ends sooner leaves its water on the flank
_JOINED_M = 1e-6


@dataclass(frozen=True, slots=True)
class Useful:
    """Which stretches of a line are of use.

    Parameters
    ----------
    least_fall_pct, most_fall_pct : fall from the valley to the ridge [%].
    share_pct : at least so much of a stretch must fall so [%].
    shortest_m : shorter stretches are not worth turning for [m].

    Raises
    ------
    ValueError
        If a number is out of range.
    """

    least_fall_pct: float = 0.0
    most_fall_pct: float = 8.0
    share_pct: float = 80.0
    shortest_m: float = 40.0

    def __post_init__(self) -> None:
        if not self.least_fall_pct < self.most_fall_pct or self.shortest_m < 0:
            raise ValueError(
                "least_fall_pct must be below most_fall_pct and shortest_m not negative:"
                f" {self.least_fall_pct}, {self.most_fall_pct} %, {self.shortest_m} m"
            )
        if not 0 < self.share_pct < 100:
            raise ValueError(f"share_pct must lie between 0 and 100, got {self.share_pct} %")

    @property
    def weight(self) -> float:
        """What a metre that falls wrong counts, against one that falls right."""
        return self.share_pct / (100.0 - self.share_pct)


def useful_stretches(
    surface: Elevation,
    grid: Grid,
    line: shapely.LineString,
    parts: Sequence[Half],
    start_m: float,
    end_m: float,
    useful: Useful,
    *,
    over_m: float,
) -> NDArray[np.float64]:
    """Return the chainages (stretches, 2) between which a line is of use, rising [m].

    Parameters are those of `drift`. Stretches are the longest of which `useful.share_pct` falls
    from the valley to the ridge within the bounds; of them only what begins near a valley is kept.
    """
    vertices = shapely.get_coordinates(line)
    ends = np.array([(part.valley_m, part.ridge_m) for part in parts]).reshape(-1, 2)
    steps = _kernels.falls(
        surface, frame_of(grid), vertices, chainage(vertices), ends, start_m, end_m, 0.5 * over_m
    )
    least, most = useful.least_fall_pct / 100, useful.most_fall_pct / 100
    found = _kernels.stretches(steps, least, most, useful.weight, useful.shortest_m)
    kept = [part for low, high in found for part in _from_valleys(low, high, start_m, end_m, ends)]
    long = [(low, high) for low, high in kept if high - low >= useful.shortest_m]
    return np.array(long, dtype=np.float64).reshape(-1, 2)


def _from_valleys(
    low_m: float, high_m: float, start_m: float, end_m: float, halves: NDArray[np.float64]
) -> list[tuple[float, float]]:
    """Return what of a stretch begins near the valley of its half, joined where it touches.

    What only falls from the middle of a flank takes no water from the valley, and what falls no
    farther than that brings none to the ridge. Where a line was cut, the cut is its end.
    """
    kept: list[tuple[float, float]] = []
    for valley_m, ridge_m in halves:
        first, last = max(min(valley_m, ridge_m), start_m), min(max(valley_m, ridge_m), end_m)
        low, high = max(low_m, first), min(high_m, last)
        if high <= low:
            continue
        begins_after_m = low - first if valley_m <= ridge_m else last - high
        if begins_after_m > _NEAR_VALLEY * (last - first):
            continue
        if high - low < _TOWARDS_RIDGE * (last - first):
            continue
        if kept and low - kept[-1][1] < _JOINED_M:
            kept[-1] = (kept[-1][0], high)
        else:
            kept.append((low, high))
    return kept
