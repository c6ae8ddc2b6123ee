"""Rows that pass on to rows below them: what reaches each, how deep each is dug, which can go.

A stack is a tree: each row passes what it cannot hold to one row below it, the last passes nothing
on. Rows come from the top down, so that one pass reckons all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

_NOTHING_M3: Final = 1e-9
_ROUNDS: Final = 20  # of changes in one stack
_CHANGES: Final = 2000  # of places, that are tried in one round
NOWHERE: Final = -1


@dataclass(frozen=True, slots=True)
class RowSection:
    """One way to dig a row.

    Parameters
    ----------
    depth_m : of its bottom below its level; NaN where there is but the usual one [m].
    holds_m3_per_m : storage and soakage in the storm of a metre of row [m³/m].
    cost_per_m : in any currency, or length itself; what is not to count is 0.
    """

    depth_m: float
    holds_m3_per_m: float
    cost_per_m: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """What passes down a stack.

    Parameters
    ----------
    reaches_m3 : float64 (rows,), runoff of its own strip and what rows above pass on [m³].
    passes_m3 : float64 (rows,), what it cannot hold of that [m³].
    taken : bool (rows,), whether the rows below hold all that it passes on.
    """

    reaches_m3: NDArray[np.float64]
    passes_m3: NDArray[np.float64]
    taken: NDArray[np.bool_]


def passed_down(
    own_m3: NDArray[np.float64], holds_m3: NDArray[np.float64], to: NDArray[np.int64]
) -> Passed:
    """Reckon what reaches each row of a stack and what it passes on.

    Parameters
    ----------
    own_m3 : float64 (rows,), runoff of each row's own strip [m³].
    holds_m3 : float64 (rows,), what each holds [m³].
    to : int64 (rows,), place of the row that each passes on to, further on; -1 where none is.

    Raises
    ------
    ValueError
        If a row passes on to one that does not come after it.
    """
    if (to[to >= 0] <= np.flatnonzero(to >= 0)).any():
        raise ValueError("rows must come from the top down: each passes on to a later one")
    reaches, below = own_m3.astype(np.float64), to.tolist()
    passes = np.zeros(len(to))
    for row, receiver in enumerate(below):
        passes[row] = max(reaches[row] - holds_m3[row], 0.0)
        if receiver >= 0:
            reaches[receiver] += passes[row]
    taken = passes <= _NOTHING_M3
    for row in range(len(to) - 1, -1, -1):
        if not taken[row] and below[row] >= 0:
            taken[row] = taken[below[row]]
    return Passed(reaches, passes, taken)


def stack_of(to: NDArray[np.int64]) -> NDArray[np.int64]:
    """Place of the last row of the stack that each row belongs to, int64 (rows,)."""
    last = np.arange(len(to))
    for row in range(len(to) - 1, -1, -1):
        if to[row] >= 0:
            last[row] = last[to[row]]
    return last


def _stacks_with(
    rows: NDArray[np.bool_], to: NDArray[np.int64]
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Yield the members of each stack that has one of these rows, and `to` among themselves."""
    last = stack_of(to)
    for root in np.unique(last[rows]):
        members = np.flatnonzero(last == root)
        place = np.full(len(to) + 1, NOWHERE)  # the last entry stands for NOWHERE
        place[members] = np.arange(len(members))
        yield members, place[to[members]]


def sections_for(
    own_m3: NDArray[np.float64],
    length_m: NDArray[np.float64],
    to: NDArray[np.int64],
    fixed_m3_per_m: NDArray[np.float64],
    sections: tuple[RowSection, ...],
) -> NDArray[np.int64]:
    """Choose the sections of all rows so that no stack passes anything on past its last row.

    All begin at the first section. While a stack passes on, the shallowest of the rows whose water
    that is, the lowest first, is dug to the next one: the deeper a row, the less of what is dug in
    it soaks, so that even depths take the least digging (greedy steps are best for convex costs
    under nested limits: Federgruen & Groenevelt 1986, doi:10.1287/opre.34.6.909, from memory).

    Parameters
    ----------
    own_m3, to : as `passed_down`.
    length_m : float64 (rows,) [m]
    fixed_m3_per_m : float64 (rows,), what a metre of those holds that are there already; NaN for
        those to be dug [m³/m].
    sections : rising in what they hold.

    Returns
    -------
    int64 (rows,), place of each row's section; the last one where nothing helps; 0 for rows that
    are there already.
    """
    chosen = np.zeros(len(to), dtype=np.int64)
    per_m = np.array([one.holds_m3_per_m for one in sections])
    free = np.isnan(fixed_m3_per_m)
    holds = length_m * np.where(free, per_m[0], fixed_m3_per_m)
    leak = ~passed_down(own_m3, holds, to).taken
    for members, inside in _stacks_with(leak, to):
        own = own_m3[members]
        held, depth = holds[members].copy(), np.zeros(len(members), dtype=np.int64)
        while True:
            taken = passed_down(own, held, inside).taken
            can = np.flatnonzero(~taken & free[members] & (depth < len(sections) - 1))
            if not can.size:
                break
            row = can[np.lexsort((-can, depth[can]))[0]]
            depth[row] += 1
            held[row] = length_m[members[row]] * per_m[depth[row]]
        chosen[members] = _eased(own, inside, depth, length_m[members], per_m, held)
    return chosen


def _eased(
    own_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    depth: NDArray[np.int64],
    length_m: NDArray[np.float64],
    per_m: NDArray[np.float64],
    held_m3: NDArray[np.float64],
) -> NDArray[np.int64]:
    """Take back steps that later ones made needless, those of the deepest rows first."""
    untaken = int((~passed_down(own_m3, held_m3, to).taken).sum())
    depth, held = depth.copy(), held_m3.copy()
    for row in np.lexsort((np.arange(len(depth)), -depth)):
        while depth[row] > 0:
            less = held.copy()
            less[row] = length_m[row] * per_m[depth[row] - 1]
            if (~passed_down(own_m3, less, to).taken).sum() > untaken:
                break
            depth[row], held = depth[row] - 1, less
    return depth


@dataclass(frozen=True, slots=True)
class Leaving:
    """Rows that leave a stack together.

    Parameters
    ----------
    rows : places of those that go: one, and those that could then not hold what reaches them.
    loss_m3 : what is no longer kept [m³].
    """

    rows: tuple[int, ...]
    loss_m3: float


def without_each(
    own_m3: NDArray[np.float64],
    holds_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    may_go: NDArray[np.bool_],
) -> list[Leaving]:
    """Tell for each row that may go what goes with it, and what is lost.

    What a row kept runs on to the rows below, as far as they have room; where it then passes the
    last row, the rows on its way go too, and those that passed on to them.

    Parameters
    ----------
    own_m3, holds_m3, to : as `passed_down`, which must take all.
    may_go : bool (rows,)
    """
    now = passed_down(own_m3, holds_m3, to)
    kept = np.minimum(now.reaches_m3, holds_m3)
    room = holds_m3 - kept
    givers: dict[int, list[int]] = {}
    for row in np.flatnonzero((now.passes_m3 > _NOTHING_M3) & (to >= 0)).tolist():
        givers.setdefault(int(to[row]), []).append(row)
    return [_without(int(row), to, kept, room, givers) for row in np.flatnonzero(may_go)]


def _without(
    row: int,
    to: NDArray[np.int64],
    kept: NDArray[np.float64],
    room: NDArray[np.float64],
    givers: dict[int, list[int]],
) -> Leaving:
    more, below, way = float(kept[row]), int(to[row]), []
    while below >= 0 and more > _NOTHING_M3:
        more -= room[below]
        if more > _NOTHING_M3:
            way.append(below)
        below = int(to[below])
    if more <= _NOTHING_M3:
        return Leaving((row,), 0.0)
    gone, after = set[int](), [row, *way]
    while after:
        one = after.pop()
        gone.add(one)
        after += [giver for giver in givers.get(one, ()) if giver not in gone]
    rows = tuple(sorted(gone))
    return Leaving(rows, float(kept[list(rows)].sum()))


def wanted_rows(
    own_m3: NDArray[np.float64],
    holds_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    takes: NDArray[np.float64],
    may_go: NDArray[np.bool_],
    most: float,
) -> NDArray[np.bool_]:
    """Choose rows that keep much and together take no more than is wanted, bool (rows,).

    Rows go one by one, those first whose water costs most to keep, with what has to go with them;
    then rows come back, or change places with one of their stack, while that keeps more. Each set
    is one in which those that are left hold what reaches them.

    Parameters
    ----------
    own_m3, holds_m3, to : as `passed_down`, which must take all; a row that goes lets its water on.
    takes : float64 (rows,), length or cost of each that may go.
    may_go : bool (rows,)
    most : of what all that may go take together.
    """
    there = np.ones(len(to), dtype=np.bool_)
    while (too_much := float(takes[there].sum()) - most) > _NOTHING_M3:
        held = np.where(there, holds_m3, 0.0)
        best: tuple[int, ...] = ()
        least = np.inf
        for one in without_each(own_m3, held, to, may_go & there):
            rows = tuple(row for row in one.rows if may_go[row] and there[row])
            freed = float(takes[list(rows)].sum())
            if freed > 0 and one.loss_m3 / min(freed, too_much) < least:
                best, least = rows, one.loss_m3 / min(freed, too_much)
        if not best:
            break
        there[list(best)] = False
    return _improved(own_m3, holds_m3, to, takes, may_go, most, there)


def _improved(
    own_m3: NDArray[np.float64],
    holds_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    takes: NDArray[np.float64],
    may_go: NDArray[np.bool_],
    most: float,
    there: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Let rows come back, or change places within their stack, while that keeps more."""
    room = most - float(takes[there].sum())
    for members, inside in _stacks_with(~there, to):
        own, holds = own_m3[members], holds_m3[members]
        cost, free, now = takes[members], may_go[members], there[members]
        kept = _kept_m3(own, holds, inside, now)
        for _ in range(_ROUNDS):
            better = _better_set(own, holds, inside, cost, free, now, kept, room)
            if better is None:
                break
            room -= float(cost[better].sum() - cost[now].sum())
            now, kept = better, _kept_m3(own, holds, inside, better)
        there[members] = now
    return there


def _better_set(
    own_m3: NDArray[np.float64],
    holds_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    takes: NDArray[np.float64],
    may_go: NDArray[np.bool_],
    now: NDArray[np.bool_],
    kept_m3: float,
    room: float,
) -> NDArray[np.bool_] | None:
    """Return the set with one row more, or one changed for another, that keeps most more."""
    out, inside = np.flatnonzero(~now & may_go).tolist(), np.flatnonzero(now & may_go).tolist()
    changes: list[tuple[int, ...]] = [(row,) for row in out]
    if len(out) * len(inside) <= _CHANGES:
        changes += [(row, other) for row in out for other in inside]
    best, most = None, kept_m3 * (1 + _NOTHING_M3) + _NOTHING_M3
    for change in changes:
        trial = now.copy()
        trial[list(change)] ^= True
        if takes[trial].sum() - takes[now].sum() > room + _NOTHING_M3:
            continue
        kept = _kept_m3(own_m3, holds_m3, to, trial)
        if kept > most:
            best, most = trial, kept
    return best


def _kept_m3(
    own_m3: NDArray[np.float64],
    holds_m3: NDArray[np.float64],
    to: NDArray[np.int64],
    there: NDArray[np.bool_],
) -> float:
    """Return what some rows of a stack keep [m³]; less than nothing where they do not hold."""
    held = np.where(there, holds_m3, 0.0)
    found = passed_down(own_m3, held, to)
    if not found.taken[there].all():
        return -1.0
    return float(np.minimum(found.reaches_m3, held).sum())
