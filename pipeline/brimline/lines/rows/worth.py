"""Which proposed rows are worth digging: level, holding what reaches them, and as many as asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.lines.limits import Cut, Limits, Stop, cut
from brimline.lines.rows.stacks import (
    NOWHERE,
    Passed,
    RowSection,
    passed_down,
    sections_for,
    wanted_rows,
)
from brimline.lines.sample import levels_of
from brimline.lines.strips import strips_of

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation, Grid
    from brimline.lines.level_lines import Drawing, LevelLine
    from brimline.lines.rows.rules import Duty

_NEARLY: Final = 0.95  # of the tolerance: lines are looked at in steps, and measured between them
_ROUNDING: Final = 1e-9
_CURL_RAD: Final = 1.5 * np.pi  # to the left; the head of a valley turns a row by about half of it


@dataclass(frozen=True, slots=True)
class WantedRows:
    """How many rows are wanted; what is left open is not limited.

    Parameters
    ----------
    most_length_m : of all proposed rows together [m].
    most_cost : of all of them, in the currency of the sections' costs.
    sections : ways in which a row may be dug, rising in what they hold; stacks are sized with
        them. Empty leaves the one section of `Duty`.
    any_size : propose also what cannot hold what reaches it, and what is not level.

    Raises
    ------
    ValueError
        If a number is negative, sections do not rise, or a cost is limited that is not known.
    """

    most_length_m: float = np.inf
    most_cost: float = np.inf
    sections: tuple[RowSection, ...] = ()
    any_size: bool = False

    def __post_init__(self) -> None:
        costs = [one.cost_per_m for one in self.sections]
        if min(self.most_length_m, self.most_cost, *costs) < 0:
            raise ValueError("lengths and costs of rows must not be negative")
        if any(two.holds_m3_per_m <= one.holds_m3_per_m for one, two in pairwise(self.sections)):
            raise ValueError("sections of rows must rise in what they hold")
        if np.isfinite(self.most_cost) and not (costs and min(costs) > 0):
            raise ValueError("a budget for rows needs what a metre of row costs")

    def sections_of(self, duty: Duty) -> tuple[RowSection, ...]:
        """Return the sections, or the one of `duty`."""
        return self.sections or (RowSection(np.nan, duty.holds_m3_per_m),)


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Rows after judging.

    Parameters
    ----------
    stays : bool (rows,).
    area_m2, spacing_m : float64 (rows,), as `strips_of`, of those that stay.
    section : int64 (rows,), place of the section that each proposed one is dug to.
    to : int64 (rows,), the row that each passes on to; -1 where none is.
    passed : what passes down with these sections; of those that stay.
    overwhelmed, unwanted : how many went because what reaches them is not held by them and those
        below them, and because others hold more for what they take.
    """

    stays: NDArray[np.bool_]
    area_m2: NDArray[np.float64]
    spacing_m: NDArray[np.float64]
    section: NDArray[np.int64]
    to: NDArray[np.int64]
    passed: Passed
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


def curled(lines: NDArray[Any]) -> NDArray[np.bool_]:
    """Tell rows that turn so far round lower ground that they all but close on a hollow.

    Parameters
    ----------
    lines : (lines,) LineStrings with the lower ground on their left.
    """
    points, index = shapely.get_coordinates(lines, return_index=True)
    way = np.diff(points, axis=0)
    bearing = np.arctan2(way[:, 1], way[:, 0])
    turn = np.angle(np.exp(1j * np.diff(bearing)))
    within = index[2:] == index[:-2]
    left = np.bincount(index[2:][within], turn[within], minlength=len(lines))
    return np.asarray(left > _CURL_RAD)


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

    Rows are judged as stacks: what one cannot hold reaches the row below it that most of its length
    leads to, where a sill can be set. Where the last row of a stack cannot hold what reaches it, it
    goes, and of those above it the ones that had passed on to it. What a row that goes would have
    held runs on to the rows below, so all are measured anew after each round. Of what is more than
    wanted, the rows go whose water costs most length or money to keep.

    Parameters
    ----------
    level_m : float64 (rows,), from the highest down [m].
    own : bool (rows,); rows that a person drew, which stay.
    """
    length_m = shapely.length(lines)
    sections = wanted.sections_of(duty)
    fixed = np.where(own, duty.holds_m3_per_m, np.nan)
    deepest = length_m * np.where(own, duty.holds_m3_per_m, sections[-1].holds_m3_per_m)
    first = strips_of(
        lines, level_m, surface, directions, grid, lambda far_m: own | ~(far_m < least_spacing_m)
    )
    stays, area, far, to = first.stays, first.area_m2.copy(), first.spacing_m.copy(), first.to
    overwhelmed = unwanted = 0
    while True:  # each round takes at least one out
        there = np.flatnonzero(stays)
        stack = _Stack(
            area[there] * duty.runoff_mm / 1000.0,
            length_m[there],
            _places_among(to, there),
            own[there],
        )
        leave = np.zeros(len(there), dtype=np.bool_)
        if not wanted.any_size:
            leave = stack.leaking(deepest[there])
            overwhelmed += int(leave.sum())
        section = np.zeros(len(there), dtype=np.int64)
        if not leave.any():
            section = sections_for(stack.must_m3, stack.length_m, stack.to, fixed[there], sections)
            leave = _least_worth(stack, deepest[there], section, sections, wanted)
            unwanted += int(leave.sum())
        if not leave.any():
            break
        stays = stays.copy()
        stays[there[leave]] = False
        left = np.flatnonzero(stays)
        again = strips_of(
            lines[left], level_m[left], surface, directions, grid,
            lambda far_m: np.ones(len(far_m), dtype=np.bool_),
        )  # fmt: skip
        area[left], far[left] = again.area_m2, again.spacing_m
        to = np.full(len(lines), NOWHERE)
        to[left] = np.where(again.to >= 0, left[again.to], NOWHERE) if len(left) else again.to
    per_m = np.array([one.holds_m3_per_m for one in sections])
    holds = stack.length_m * np.where(stack.own, duty.holds_m3_per_m, per_m[section])
    passed = passed_down(stack.must_m3, holds, stack.to)
    return Judged(stays, area, far, section, stack.to, passed, overwhelmed, unwanted)


@dataclass(frozen=True, slots=True, eq=False)
class _Stack:
    """Rows that are there, from the top down, by their places among themselves."""

    must_m3: NDArray[np.float64]
    length_m: NDArray[np.float64]
    to: NDArray[np.int64]
    own: NDArray[np.bool_]

    def leaking(self, holds_m3: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell the last proposed rows of stacks that pass on what nothing below them holds."""
        untaken = ~passed_down(self.must_m3, holds_m3, self.to).taken & ~self.own
        below = np.append(untaken, False)[self.to]  # NOWHERE takes the last entry
        return np.asarray(untaken & ~below)


def _places_among(to: NDArray[np.int64], there: NDArray[np.int64]) -> NDArray[np.int64]:
    """Turn places among all rows into those among the ones that are there."""
    place = np.full(len(to) + 1, NOWHERE)
    place[there] = np.arange(len(there))
    return place[to[there]]


def _least_worth(
    stack: _Stack,
    holds_m3: NDArray[np.float64],
    section: NDArray[np.int64],
    sections: tuple[RowSection, ...],
    wanted: WantedRows,
) -> NDArray[np.bool_]:
    """Return the rows that are left out where there is more than is wanted."""
    cost_per_m = np.array([one.cost_per_m for one in sections])[section]
    digs_m = np.where(stack.own, 0.0, stack.length_m)
    shares = digs_m / wanted.most_length_m, digs_m * cost_per_m / wanted.most_cost
    takes = max(shares, key=lambda share: float(share.sum()))  # of what is wanted
    if not takes.sum() > 1.0 + _ROUNDING:
        return np.zeros(len(stack.to), dtype=np.bool_)
    return ~wanted_rows(stack.must_m3, holds_m3, stack.to, takes, ~stack.own, 1.0)
