"""Whose ground is it: every place belongs to the nearest keyline.

Two keypoints in one valley, or in valleys side by side, can lie closer than twice the reach of
their cultivation lines. Between their keylines the ground is divided where it is equally far from
both, less half a pass to either side for the tractor to turn. In a valley that is about half-way
between the two levels.

A line of one keyline then keeps half a pass from any line of another. With a(p) and b(p) for the
distances of a place p from two keylines, b - a is at least half a width on the lines of the one and
at most minus that on those of the other; it changes by no more than twice the way from p to q.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.limits import Cut, Stop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.lines.keyline.keylines import Keyline

_STEP_M = 1.0  # between places at which the distances are compared
_NEARLY_M = 0.5  # by which the middle of a leg may lie farther away than its ends


@dataclass(frozen=True, slots=True, eq=False)
class Share:
    """The ground of one keyline among others.

    Parameters
    ----------
    own : the keyline.
    others : the other keylines; those too far away to matter may be left out.
    apart_m : by how much nearer its own keyline a place must be than any other [m].
    """

    own: shapely.LineString
    others: NDArray[Any]
    apart_m: float

    def surely_holds(self, lines: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which lines lie wholly on the own ground, as far as that is told by a quick look."""
        shapely.prepare(self.own)
        away = np.full(len(lines), np.inf)
        for other in self.others:
            shapely.prepare(other)
            away = np.minimum(away, shapely.distance(other, lines))
        # the farthest place of a line from the own keyline is one of its vertices, nearly
        points, index = shapely.get_coordinates(lines, return_index=True)
        farthest = np.zeros(len(lines))
        np.maximum.at(farthest, index, shapely.distance(self.own, shapely.points(points)))
        return np.asarray(away >= farthest + self.apart_m + _NEARLY_M)

    def nearer_by_m(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """By how much points (n, 2) are nearer to the own keyline than to any other [m]."""
        places = shapely.points(points)
        nearest = np.full(len(points), np.inf)
        for line in (self.own, *self.others):
            shapely.prepare(line)
        for other in self.others:
            nearest = np.minimum(nearest, shapely.distance(other, places))
        return np.asarray(nearest - shapely.distance(self.own, places))


def share_of(
    keyline: Keyline, every: Sequence[Keyline], *, reach_m: float, apart_m: float
) -> Share:
    """Gather what borders on the ground of a keyline, whose lines reach so far.

    Parameters
    ----------
    every : all keylines, with or without the one.
    """
    near = [
        other.line
        for other in every
        if other.keyline_id != keyline.keyline_id
        and shapely.dwithin(other.line, keyline.line, 2 * reach_m + apart_m)
    ]
    others = np.empty(len(near), dtype=object)
    others[:] = near
    return Share(keyline.line, others, apart_m)


def cut_to_share(pieces: Cut, share: Share) -> Cut:
    """Cut lines where the ground of another keyline begins, which is no reason to look."""
    if len(share.others) == 0 or len(pieces.lines) == 0:
        return pieces
    lines: list[shapely.LineString] = []
    rows: list[tuple[int, int, int]] = []
    free = share.surely_holds(pieces.lines)
    for line, source, start, end, inside in zip(
        pieces.lines, pieces.source, pieces.start, pieces.end, free, strict=True
    ):
        parts = [(line, True, True)] if inside else _own_parts(line, share)
        for part, at_start, at_end in parts:
            lines.append(part)
            rows.append(
                (
                    int(source),
                    int(start) if at_start else Stop.ROW,
                    int(end) if at_end else Stop.ROW,
                )
            )
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    kept = np.empty(len(lines), dtype=object)
    kept[:] = lines
    ends = table[:, 1:].astype(np.uint8)
    return Cut(kept, table[:, 0], ends[:, 0], ends[:, 1])


def _own_parts(
    line: shapely.LineString, share: Share
) -> list[tuple[shapely.LineString, bool, bool]]:
    """Parts of a line on the own ground, and whether each begins and ends where the line does."""
    points = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
    spare = share.nearer_by_m(points) - share.apart_m
    own = spare >= 0
    if own.all():
        return [(line, True, True)]
    edge = np.flatnonzero(np.diff(np.concatenate(([False], own, [False])).astype(np.int8)))
    found = []
    for first, beyond in edge.reshape(-1, 2):
        part = points[first:beyond]
        if len(part) > 1:
            found.append((shapely.LineString(part), first == 0, beyond == len(points)))
    return [
        (shapely.simplify(part, 1e-6), begins, ends) for part, begins, ends in found
    ]  # samples, not bends


def kept_apart(keylines: Sequence[Keyline], *, apart_m: float) -> list[Keyline]:
    """Cut keylines where they come nearer than `apart_m` to one before them, which goes first.

    Of each the longest piece stays. Two keylines at about one level on either side of a flat ridge
    would else run on beside each other, and a drawn guide line may cross one.
    """
    kept: list[Keyline] = []
    for one in keylines:
        near = [other.line for other in kept if shapely.dwithin(other.line, one.line, apart_m)]
        if not near:
            kept.append(one)
            continue
        room = shapely.union_all(shapely.buffer(np.array(near, dtype=object), apart_m))
        parts = shapely.get_parts(shapely.difference(one.line, room))
        longest = max(parts, key=lambda part: float(part.length), default=None)
        if longest is not None and longest.length > 2 * apart_m:
            kept.append(replace(one, line=longest, length_m=float(longest.length)))
    return kept
