"""The cheapest way between places that is nowhere too steep, along it or across."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    _Grid: TypeAlias = NDArray[np.float64]
    _Window: TypeAlias = tuple[slice, slice]

# steps between nodes as rows and columns: 32 bearings, so that a limited grade can be held
_STEPS: Final = tuple(
    (a, b)
    for a in range(-3, 4)
    for b in range(-3, 4)
    if {abs(a), abs(b)} in ({0, 1}, {1}, {1, 2}, {1, 3}, {2, 3})
)


@dataclass(frozen=True, slots=True)
class TrackRules:
    """What a track may be.

    Parameters
    ----------
    width_m : of the bench [m].
    most_grade_pct, most_cross_pct : steepest along it, and of the ground across it [%].
    batter : run per metre of rise of its banks.
    earth_per_m : metres of track that a cubic metre of earth a metre is worth avoiding.
    crossing_m : metres of track that each step on or over a flow path is worth avoiding: one where
        it crosses, many where it follows it.
    """

    width_m: float = 3.0
    most_grade_pct: float = 10.0
    most_cross_pct: float = 35.0
    batter: float = 1.5
    earth_per_m: float = 1.0
    crossing_m: float = 40.0


@dataclass(frozen=True, slots=True)
class Track:
    """A way that was found.

    Parameters
    ----------
    cells : int64 (places, 2) rows and columns, in order.
    cost_m : its length, and what its earth and crossings are worth [m].
    grade_pct, cross_pct : steepest along it and across it [%].
    cut_m3 : dug on the upper side, which is heaped up on the lower [m³].
    """

    cells: NDArray[np.int64]
    cost_m: float
    length_m: float
    grade_pct: float
    cross_pct: float
    cut_m3: float


def bench_m2(
    cross: NDArray[np.float64] | float, width_m: float, batter: float
) -> NDArray[np.float64]:
    """Section that is cut for a bench, half dug and half heaped [m²].

    A triangle on half the width: w² s / (8 (1 - batter s)), s the slope across. Endless where the
    ground is as steep as the bank.
    """
    s = np.abs(np.asarray(cross, dtype=np.float64))
    room = 1 - batter * s
    with np.errstate(divide="ignore"):
        return np.where(room > 0, width_m**2 * s / (8 * np.maximum(room, 0)), np.inf)


def find_track(
    level_m: NDArray[np.floating],
    blocked: NDArray[np.bool_],
    crossing: NDArray[np.bool_],
    places: Sequence[tuple[int, int]],
    rules: TrackRules,
    *,
    cell_m: float,
) -> Track | None:
    """Find the cheapest track through places in turn; None where there is none within the limits.

    Parameters
    ----------
    level_m : float (rows, cols) [m]; NaN cannot be crossed.
    blocked : bool (rows, cols) ground that is kept clear.
    crossing : bool (rows, cols) ground where a flow path runs.
    places : (row, col) of its start, of what it must pass, and of its end.

    Raises
    ------
    GridError
        If the shapes differ.
    """
    _, cols = checked_same_shape(level_m=level_m, blocked=blocked, crossing=crossing)
    graph = _graph(level_m.astype(np.float64), blocked, crossing, rules, cell_m)
    nodes = [row * cols + col for row, col in places]
    path, cost = [nodes[0]], 0.0
    for start, end in pairwise(nodes):
        away, before = dijkstra(graph, indices=start, return_predecessors=True)
        if not np.isfinite(away[end]):
            return None
        cost += float(away[end])
        leg = [end]
        while leg[-1] != start:
            leg.append(int(before[leg[-1]]))
        path += leg[-2::-1] if start != end else []
    cells = np.column_stack(np.divmod(np.array(path, dtype=np.int64), cols))
    return _measured(cells, cost, level_m.astype(np.float64), rules, cell_m)


def _graph(
    level_m: NDArray[np.float64],
    blocked: NDArray[np.bool_],
    crossing: NDArray[np.bool_],
    rules: TrackRules,
    cell_m: float,
) -> csr_matrix:
    shape = level_m.shape
    south, east = _falls(level_m, cell_m)
    number = np.arange(level_m.size).reshape(shape)
    free = ~blocked & np.isfinite(level_m)
    starts, ends, costs = [], [], []
    for step in _STEPS:
        one, other = _shifted(shape, step, (0, 0)), _shifted(shape, step, step)
        run_m = cell_m * float(np.hypot(*step))
        with np.errstate(invalid="ignore"):
            grade = np.abs(level_m[other] - level_m[one]) / run_m
        across = np.maximum(
            _across(south[one], east[one], step), _across(south[other], east[other], step)
        )
        holds = (grade <= rules.most_grade_pct / 100) & (across <= rules.most_cross_pct / 100)
        holds &= free[one] & free[other]
        wet = crossing[other].copy()
        for between in _between(step):
            holds &= free[_shifted(shape, step, between)]
            wet |= crossing[_shifted(shape, step, between)]
        earth = bench_m2(across[holds], rules.width_m, rules.batter)
        price = run_m * (1 + rules.earth_per_m * earth) + rules.crossing_m * wet[holds]
        starts.append(number[one][holds])
        ends.append(number[other][holds])
        costs.append(price)
    cost, start, end = (np.concatenate(each) for each in (costs, starts, ends))
    useful = np.isfinite(cost)
    return csr_matrix(
        (cost[useful], (start[useful], end[useful])), shape=(level_m.size, level_m.size)
    )


def _shifted(shape: tuple[int, int], step: tuple[int, int], at: tuple[int, int]) -> _Window:
    """Window of the cells that lie `at` from those from which a step stays on the grid."""
    row, col = (
        slice(max(0, -far) + off, min(size, size - far) + off)
        for size, far, off in zip(shape, step, at, strict=True)
    )
    return row, col


def _between(step: tuple[int, int]) -> set[tuple[int, int]]:
    """Cells beside the middle of a step, which a long one would leap over."""
    thirds = [(step[0] * part / 3, step[1] * part / 3) for part in (1, 2)]
    near = {
        (int(turn(down)), int(turn(right)))
        for down, right in thirds
        for turn in (np.floor, np.ceil)
    }
    return near - {(0, 0), step}


def _falls(
    level_m: NDArray[np.float64], cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rise southwards and eastwards [m/m]; beside nodata that of the other side."""
    south, east = np.gradient(level_m, cell_m)
    return np.nan_to_num(south), np.nan_to_num(east)


def _across(south: _Grid, east: _Grid, step: tuple[int, int]) -> _Grid:
    """Slope of the ground across a step."""
    down, right = step
    found: _Grid = np.abs(east * down - south * right) / np.hypot(down, right)
    return found


def _measured(
    cells: NDArray[np.int64], cost: float, level_m: _Grid, rules: TrackRules, cell_m: float
) -> Track:
    south, east = _falls(level_m, cell_m)
    steps = np.diff(cells, axis=0)
    run_m = cell_m * np.hypot(*steps.T)
    rise = np.diff(level_m[cells[:, 0], cells[:, 1]])
    across = np.zeros(len(steps))
    for number, step in enumerate(steps.tolist()):
        ends = cells[number : number + 2]
        across[number] = _across(
            south[ends[:, 0], ends[:, 1]], east[ends[:, 0], ends[:, 1]], (step[0], step[1])
        ).max()
    earth = bench_m2(across, rules.width_m, rules.batter)
    return Track(
        cells,
        cost,
        float(run_m.sum()),
        100 * float(np.abs(rise / run_m).max(initial=0)) if len(run_m) else 0.0,
        100 * float(across.max(initial=0)),
        float((earth * run_m).sum()),
    )
