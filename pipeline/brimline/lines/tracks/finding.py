"""The cheapest way between places that is nowhere too steep, along it or across."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
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


STEEPEST_PCT: Final = 25.0  # that is offered, for short pitches (common practice, no source)
_STRAIGHT_RAD: Final = 1e-6
_SAME_M: Final = 1e-9
_SPARE: Final = 0.2  # of the cost without a radius, that curves are first given


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
    radius_m : tightest curve that the machine takes [m]; 0 turns on the spot.
    """

    width_m: float = 3.0
    most_grade_pct: float = 10.0
    most_cross_pct: float = 35.0
    batter: float = 1.5
    earth_per_m: float = 1.0
    crossing_m: float = 40.0
    radius_m: float = 0.0


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

    Where a radius is asked for, a step may follow another only if an arc of it, tangent to both,
    leaves each half its length: `eased` then rounds every corner. The search is over cells and the
    step that led there; it begins among cells near the cheapest way without a radius, and widens
    until no cell outside could be on a cheaper one, so that the cheapest of all is found.

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
    shape = checked_same_shape(level_m=level_m, blocked=blocked, crossing=crossing)
    levels = level_m.astype(np.float64)
    prices = _prices(levels, blocked, crossing, rules, cell_m)
    nodes = [row * shape[1] + col for row, col in places]
    legs = [_leg(prices, shape, *ends) for ends in pairwise(nodes)]
    if not all(np.isfinite(leg.cost_m) for leg in legs):
        return None
    if rules.radius_m > 0:
        found = _turning(prices, shape, nodes, legs, _turns(rules.radius_m, cell_m))
        if found is None:
            return None
        path, cost = found
    else:
        path = [nodes[0], *(node for leg in legs for node in leg.path[1:])]
        cost = sum(leg.cost_m for leg in legs)
    cells = np.column_stack(np.divmod(np.array(path, dtype=np.int64), shape[1]))
    return _measured(cells, cost, levels, rules, cell_m)


def gentlest_grade_pct(
    level_m: NDArray[np.floating],
    blocked: NDArray[np.bool_],
    crossing: NDArray[np.bool_],
    places: Sequence[tuple[int, int]],
    rules: TrackRules,
    *,
    cell_m: float,
) -> float | None:
    """Find the gentlest grade, in whole percent, at which there is a track where there was none.

    A steeper grade allows all that a gentler one does, so that it is found by halving. None where
    even `STEEPEST_PCT` does not do: then it is not the grade that stands in the way.
    """

    def does(grade_pct: float) -> bool:
        at = replace(rules, most_grade_pct=grade_pct)
        return find_track(level_m, blocked, crossing, places, at, cell_m=cell_m) is not None

    shut, open_ = math.floor(rules.most_grade_pct), int(STEEPEST_PCT)
    if open_ <= shut or not does(open_):
        return None
    while open_ - shut > 1:
        middle = (shut + open_) // 2
        shut, open_ = (shut, middle) if does(middle) else (middle, open_)
    return float(open_)


def eased(points: NDArray[np.float64], *, arc_m: float = 1.0) -> tuple[NDArray[np.float64], float]:
    """Round the corners of a line by arcs that touch both legs, as wide as half of each allows.

    Parameters
    ----------
    points : float64 (points, 2) [m].
    arc_m : length between points of an arc [m].

    Returns
    -------
    float64 (points, 2) with the ends kept, and the tightest radius [m], endless where straight.
    """
    if len(points) < 3:
        return points, np.inf
    legs = np.diff(points, axis=0)
    length = np.hypot(*legs.T)
    way = legs / length[:, None]
    parts, tightest = [points[:1]], np.inf
    for at in range(1, len(points) - 1):
        before, after = way[at - 1], way[at]
        turn = np.arctan2(before[0] * after[1] - before[1] * after[0], float(before @ after))
        if abs(turn) < _STRAIGHT_RAD:
            parts.append(points[at : at + 1])
            continue
        touch = min(length[at - 1], length[at]) / 2
        radius = touch / np.tan(abs(turn) / 2)
        tightest = min(tightest, float(radius))
        side = np.sign(turn) * np.array([-before[1], before[0]])
        middle = points[at] - touch * before + radius * side
        pieces = max(2, int(np.ceil(radius * abs(turn) / arc_m)))
        swept = np.linspace(0, turn, pieces + 1)[:, None]
        around = before * np.sign(turn) * np.sin(swept) - side * np.cos(swept)
        parts.append(middle + radius * around)
    line = np.concatenate([*parts, points[-1:]])
    moves = np.hypot(*np.diff(line, axis=0).T) > _SAME_M  # arcs may meet in the middle of a leg
    return line[np.concatenate([[True], moves])], tightest


@dataclass(frozen=True, slots=True)
class _Leg:
    """The cheapest way between two places whatever its curves, and the cost over every cell."""

    cost_m: float
    path: list[int]
    through_m: NDArray[np.float64]


def _leg(prices: NDArray[np.float64], shape: tuple[int, int], start: int, end: int) -> _Leg:
    graph = _graph(prices, shape)
    away, before = dijkstra(graph, indices=start, return_predecessors=True)
    back = dijkstra(graph.T.tocsr(), indices=end)
    path = [end]
    while path[-1] != start and before[path[-1]] >= 0:
        path.append(int(before[path[-1]]))
    return _Leg(float(away[end]), path[::-1], away + back)


def _prices(
    level_m: NDArray[np.float64],
    blocked: NDArray[np.bool_],
    crossing: NDArray[np.bool_],
    rules: TrackRules,
    cell_m: float,
) -> NDArray[np.float64]:
    """Cost of each step from each cell, float64 (steps, cells) [m]; endless where it may not go."""
    shape = level_m.shape
    south, east = _falls(level_m, cell_m)
    free = ~blocked & np.isfinite(level_m)
    prices = np.full((len(_STEPS), *shape), np.inf)
    for number, step in enumerate(_STEPS):
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
        earth = bench_m2(across, rules.width_m, rules.batter)
        price = run_m * (1 + rules.earth_per_m * earth) + rules.crossing_m * wet
        prices[number][one] = np.where(holds, price, np.inf)
    return prices.reshape(len(_STEPS), -1)


def _graph(prices: NDArray[np.float64], shape: tuple[int, int]) -> csr_matrix:
    """Cells joined by the steps between them."""
    step, start = np.nonzero(np.isfinite(prices))
    end = start + _ahead(shape[1])[step]
    size = prices.shape[1]
    return csr_matrix((prices[step, start], (start, end)), shape=(size, size))


def _ahead(cols: int) -> NDArray[np.int64]:
    """How far each step leads in the order of cells."""
    down, right = np.array(_STEPS).T
    found: NDArray[np.int64] = down * cols + right
    return found


def _turns(radius_m: float, cell_m: float) -> NDArray[np.bool_]:
    """Tell which step may follow which, bool (before, after)."""
    steps = np.array(_STEPS, dtype=np.float64)
    length = np.hypot(*steps.T)
    cosine = np.clip(steps @ steps.T / np.outer(length, length), -1, 1)
    half = np.sqrt((1 - cosine) / np.maximum(1 + cosine, 1e-12))  # tangent of half the turn
    leaves = cell_m * np.minimum.outer(length, length) / 2
    found: NDArray[np.bool_] = radius_m * half <= leaves + 1e-9
    return found


def _turning(
    prices: NDArray[np.float64],
    shape: tuple[int, int],
    nodes: Sequence[int],
    legs: Sequence[_Leg],
    turns: NDArray[np.bool_],
) -> tuple[list[int], float] | None:
    """Return the cheapest path with its curves, and its cost; None where there is none."""
    plain = sum(leg.cost_m for leg in legs)
    most = max(
        float(np.max(leg.through_m, where=np.isfinite(leg.through_m), initial=0)) for leg in legs
    )
    spare = _SPARE * plain
    while True:
        near = [leg.through_m <= leg.cost_m + spare for leg in legs]
        found = _through(prices, shape, nodes, near, turns)
        if (found is not None and found[1] <= plain + spare) or spare > most:
            return found
        spare *= 4


def _through(
    prices: NDArray[np.float64],
    shape: tuple[int, int],
    nodes: Sequence[int],
    near: Sequence[NDArray[np.bool_]],
    turns: NDArray[np.bool_],
) -> tuple[list[int], float] | None:
    """Go from place to place over cells and the step that led there; the first goes any way."""
    kinds, size = len(_STEPS), prices.shape[1]
    ahead, anyhow, source = _ahead(shape[1]), len(_STEPS), size * (len(_STEPS) + 1)
    so_far = np.full(kinds + 1, np.inf)
    so_far[anyhow] = 0.0
    legs: list[NDArray[np.int64]] = []
    for (start, end), inside in zip(pairwise(nodes), near, strict=True):
        begins, ends, costs = [], [], []
        for after in range(kinds):
            cell = np.flatnonzero(np.isfinite(prices[after]) & inside)
            cell = cell[inside[cell + ahead[after]]]
            for before in (*np.flatnonzero(turns[:, after]), anyhow):
                from_cell = cell if before != anyhow else cell[cell == start]
                begins.append(from_cell * (kinds + 1) + before)
                ends.append((from_cell + ahead[after]) * (kinds + 1) + after)
                costs.append(prices[after][from_cell])
        open_ways = np.flatnonzero(np.isfinite(so_far))
        begins.append(np.full(len(open_ways), source))
        ends.append(start * (kinds + 1) + open_ways)
        costs.append(so_far[open_ways] + 1.0)  # a cost of nothing would be no way
        begin, stop, cost = (np.concatenate(each) for each in (begins, ends, costs))
        graph = csr_matrix((cost, (begin, stop)), shape=(source + 1, source + 1))
        away, came = dijkstra(graph, indices=source, return_predecessors=True)
        at_end = slice(end * (kinds + 1), (end + 1) * (kinds + 1))
        so_far = away[at_end] - 1.0
        if not np.isfinite(so_far).any():
            return None
        legs.append(came)
    state = nodes[-1] * (kinds + 1) + int(np.argmin(so_far))
    path = [nodes[-1]]
    for came in reversed(legs):
        while (state_before := int(came[state])) != source:
            state = state_before
            path.append(state // (kinds + 1))
    return path[::-1], float(so_far.min())


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
