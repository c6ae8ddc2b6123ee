"""Which proposed rows are worth digging: level, holding what reaches them, and as many as asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.lines.limits import Cut, Limits, Stop, cut
from brimline.lines.sample import levels_of
from brimline.lines.strips import strips_of

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation, Grid
    from brimline.lines.level_lines import Drawing, LevelLine
    from brimline.lines.rows.rules import Duty

_NEARLY: Final = 0.95  # of the tolerance: lines are looked at in steps, and measured between them
_TOO_MUCH: Final = 0.3  # of the length that is to go is left out in one round, and measured anew


@dataclass(frozen=True, slots=True)
class WantedRows:
    """How many rows are wanted; what is left open is not limited.

    Parameters
    ----------
    most_length_m : of all proposed rows together [m].
    most_cost : of all of them, in the currency of `cost_per_m`.
    cost_per_m : what a metre of row costs.
    deeper : depths to which a row may be dug, rising [m], and what a metre of it holds then
        [m³/m]; each row is dug as deep as it must be. Empty leaves the one section of `Duty`.
    any_size : propose also what cannot hold what reaches it, and what is not level.

    Raises
    ------
    ValueError
        If a number is negative, or a cost is limited that is not known.
    """

    most_length_m: float = np.inf
    most_cost: float = np.inf
    cost_per_m: float = 0.0
    deeper: tuple[tuple[float, float], ...] = ()
    any_size: bool = False

    def __post_init__(self) -> None:
        if min(self.most_length_m, self.most_cost, self.cost_per_m) < 0:
            raise ValueError("lengths and costs of rows must not be negative")
        if np.isfinite(self.most_cost) and not self.cost_per_m > 0:
            raise ValueError("a budget for rows needs what a metre of row costs")

    @property
    def length_m(self) -> float:
        """Length that both limits allow [m]."""
        if not np.isfinite(self.most_cost):
            return self.most_length_m
        return min(self.most_length_m, self.most_cost / self.cost_per_m)

    def section(self, duty: Duty, must_m3_per_m: float) -> tuple[float, float]:
        """Depth [m] and hold [m³/m] of the first section that holds enough, else of the deepest.

        The depth is NaN where there is but the one of `duty`.
        """
        for depth_m, holds in self.deeper:
            if holds >= must_m3_per_m:
                return depth_m, holds
        return self.deeper[-1] if self.deeper else (np.nan, duty.holds_m3_per_m)


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Rows after judging.

    Parameters
    ----------
    stays : bool (rows,).
    area_m2, spacing_m : float64 (rows,), as `strips_of`, of those that stay.
    overwhelmed, unwanted : how many went because they could not hold what reaches them, and
        because others hold more for a metre.
    """

    stays: NDArray[np.bool_]
    area_m2: NDArray[np.float64]
    spacing_m: NDArray[np.float64]
    overwhelmed: int
    unwanted: int


def level_pieces(
    pieces: Cut,
    level_m: NDArray[np.float64],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    drawing: Drawing,
) -> tuple[Cut, NDArray[np.float64]]:
    """Break rows where the ground departs from their level by more than the tolerance.

    It does where the survey and the smoothed survey both do: what single cells stand off besides is
    noise or a bump that is dug through, what smoothing alone stands off is a bend of the ground.
    """

    def beyond(points: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.uint8]:
        off = np.fmin(
            *(np.abs(levels_of(dem, grid, *points.T) - level_m[index]) for dem in (survey, surface))
        )
        wrong = off > _NEARLY * drawing.tolerance_m  # nodata compares False
        return np.where(wrong, np.uint8(Stop.UNEVEN), np.uint8(Stop.NONE))

    open_ground = Limits(np.zeros(grid.shape, dtype=np.uint8))
    again = cut(pieces.lines, open_ground, grid, beyond=beyond)
    again = again.chosen(shapely.length(again.lines) >= max(drawing.min_length_m, 1e-6))
    start = np.where(again.start == Stop.NONE, pieces.start[again.source], again.start)
    end = np.where(again.end == Stop.NONE, pieces.end[again.source], again.end)
    return (
        replace(again, source=pieces.source[again.source], start=start, end=end),
        level_m[again.source],
    )


def judged_level(row: LevelLine) -> LevelLine:
    """Take the flag of single cells off a row that `level_pieces` has made level."""
    return replace(row, flags=tuple(one for one in row.flags if one != "level-error"))


def judged(
    lines: NDArray[Any],
    level_m: NDArray[np.float64],
    own: NDArray[np.bool_],
    surface: Elevation,
    directions: Directions,
    grid: Grid,
    duty: Duty,
    wanted: WantedRows,
    *,
    least_spacing_m: float,
) -> Judged:
    """Take out proposed rows that are too close, overwhelmed, or more than is wanted.

    What a row that goes would have held runs on to the rows below it, so all are measured anew
    after each round. A row goes that cannot hold what reaches it; taking others out only brings it
    more. Of those that are more than is wanted, the ones go that hold least for a metre.

    Parameters
    ----------
    own : bool (rows,); rows that a person drew, which stay.
    """
    length_m = shapely.length(lines)
    holds_m3 = length_m * wanted.section(duty, np.inf)[1]
    stays, area, far = strips_of(
        lines, level_m, surface, directions, grid, lambda far_m: own | ~(far_m < least_spacing_m)
    )
    area, far = area.copy(), far.copy()
    overwhelmed = unwanted = 0
    while True:  # each round takes at least one out
        reaches_m3 = area * duty.runoff_mm / 1000.0
        gone = stays & ~own & (reaches_m3 > holds_m3) & (not wanted.any_size)
        overwhelmed += int(gone.sum())
        if not gone.any():
            gone = _least_worth(np.minimum(reaches_m3, holds_m3), length_m, stays & ~own, wanted)
            unwanted += int(gone.sum())
        if not gone.any():
            break
        stays = stays & ~gone
        left = np.flatnonzero(stays)
        _, area[left], far[left] = strips_of(
            lines[left], level_m[left], surface, directions, grid,
            lambda far_m: np.ones(len(far_m), dtype=np.bool_),
        )  # fmt: skip
    return Judged(stays, area, far, overwhelmed, unwanted)


def _least_worth(
    kept_m3: NDArray[np.float64],
    length_m: NDArray[np.float64],
    there: NDArray[np.bool_],
    wanted: WantedRows,
) -> NDArray[np.bool_]:
    """Return some of the rows that hold least for a metre, where there is more than is wanted."""
    gone = np.zeros(len(length_m), dtype=np.bool_)
    over_m = float(length_m[there].sum()) - wanted.length_m
    if not over_m > 0:
        return gone
    rows = np.flatnonzero(there)
    worst = rows[np.argsort(kept_m3[rows] / length_m[rows], kind="stable")]
    so_far = np.cumsum(length_m[worst])
    count = int(np.searchsorted(so_far, max(_TOO_MUCH * over_m, 1e-9))) + 1
    gone[worst[:count]] = True
    return gone
