"""Which part of each course is drawn: where the ground beside it shows a valley."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.relief.chains import Chains
from brimline.lines.relief.courses import rise_beside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.lines.relief.ground import ReliefGround

_HEAD_FLANKS = 4  # length of a head in which water may come in from the side
_SIDEWAYS = 0.64  # cosine of the turn, about 50°, from which on it does
_LEAST_TURN = 0.08  # of the flank by which a contour is set back there, at least


@dataclass(frozen=True, slots=True)
class Shows:
    """By what a valley shows.

    Parameters
    ----------
    flank_m, least_m : how far to both sides, and how much higher the ground must stand [m].
    edge_m : nothing is drawn so close to the edge of the data [m].
    to_end : go on to the mouth, even if the ground beside the last part does not stand higher.
    """

    flank_m: float
    least_m: float
    edge_m: float
    to_end: bool


def extents(
    ground: ReliefGround,
    courses: Chains,
    xy: NDArray[np.float64],
    along_m: NDArray[np.float64],
    floor_m: NDArray[np.float64],
    gathered: NDArray[np.int64],
    shows: Shows,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find the part of each course that is drawn.

    Parameters
    ----------
    xy, along_m, floor_m : points (points, 2), chainages and levels of the courses [m].
    gathered : int64 (courses,); place at which enough ground has gathered.

    Returns
    -------
    begin, end : int64 (courses,); first point and the one after the last; equal for nothing.
    """
    rise_m, fall = rise_beside(ground, courses, xy, along_m, floor_m, flank_m=shows.flank_m)
    with np.errstate(invalid="ignore"):
        good = (rise_m >= shows.least_m) & (rise_m >= _LEAST_TURN * shows.flank_m * fall)
    good &= ground.clear_of_edge(xy, shows.edge_m)
    # a wide cell at the edge reaches beyond the data
    known_to = _last(np.isfinite(floor_m), courses)
    good &= courses.place <= known_to[courses.chain]
    good = _bridged(good, courses, shows.flank_m / courses.mean_step(along_m))
    level = ~good & (courses.place < np.minimum(gathered, known_to + 1)[courses.chain])
    good &= courses.place > _last(level, courses)[courses.chain]  # one further up is another valley
    begin, end = _trimmed(good, courses, known_to + 1, to_end=shows.to_end)
    begin = begin + _side_entries(xy, begin, end, shows.flank_m)
    return begin, np.where(end - begin < 2, begin, end)


def _last(marked: NDArray[np.bool_], chains: Chains) -> NDArray[np.int64]:
    """Place of the last marked point of each chain; -1 for none."""
    places = np.where(marked, chains.place, -1)
    return np.asarray(np.maximum.reduceat(places, chains.start[:-1]))


def _bridged(
    good: NDArray[np.bool_], courses: Chains, longest: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Close gaps inside courses that are not longer than so many steps of each."""
    found = np.flatnonzero(good)
    one, next_one = found[:-1], found[1:]
    chain = courses.chain[one]
    reach = np.maximum((longest / 2).astype(np.int64), 1)[chain]
    gap = next_one - one - 1
    close = (gap > 0) & (gap <= 2 * reach) & (chain == courses.chain[next_one])
    change = np.zeros(len(good) + 1, dtype=np.int64)
    change[one[close] + 1] = 1
    change[next_one[close]] = -1
    return good | (np.cumsum(change)[:-1] > 0)


def _trimmed(
    good: NDArray[np.bool_], courses: Chains, size: NDArray[np.int64], *, to_end: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Points from the first to the last good one; none where fewer than half of them are good.

    With `to_end` they go on to the last of `size`, if at least half are good even so.
    """
    begin = courses.start[:-1]
    count = np.add.reduceat(good, begin, dtype=np.int64)
    first = np.minimum.reduceat(np.where(good, courses.place, len(good)), begin)
    end = _last(good, courses) + 1
    if to_end:
        end = np.where(2 * count >= size - first, size, end)
    kept = (count >= 2) & (2 * count >= end - first)
    return begin + np.where(kept, first, 0), begin + np.where(kept, end, 0)


def _side_entries(
    xy: NDArray[np.float64], begin: NDArray[np.int64], end: NDArray[np.int64], flank_m: float
) -> NDArray[np.int64]:
    """Count the points at the head of each part of a course that come in from the side.

    Water from a steep side turns into the floor; its way down the side is no part of the floor.
    """
    entries = np.zeros(len(begin), dtype=np.int64)
    long = np.flatnonzero(end - begin >= 3)
    if not long.size:
        return entries
    heads = Chains.of_sizes((end - begin)[long])
    part = xy[heads.place + np.repeat(begin[long], heads.size)]
    step_m = heads.mean_step(heads.chainage(part))
    flank = np.maximum(np.rint(flank_m / step_m).astype(np.int64), 1)
    ahead = np.repeat(flank, heads.size)
    way = part[heads.shifted(ahead)] - part
    before_last = np.minimum(2 * ahead, heads.last - 1 - heads.place)
    later = part[heads.shifted(3 * ahead)] - part[heads.shifted(before_last)]
    along = (way * later).sum(axis=1)
    turned = along < _SIDEWAYS * np.hypot(*way.T) * np.hypot(*later.T)
    turned &= heads.place < np.minimum(_HEAD_FLANKS * ahead, heads.last)
    last = _last(turned, heads)
    entries[long] = np.where(last >= 0, last + 1 + flank // 2, 0)
    return entries
