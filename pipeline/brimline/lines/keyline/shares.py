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
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.limits import Stop
from brimline.lines.plane import legs_of, nearer_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.lines.keyline.keylines import Keyline
    from brimline.lines.plane import Legs


@dataclass(frozen=True, slots=True, eq=False)
class Share:
    """The ground of one keyline among others.

    Parameters
    ----------
    own : the keyline.
    others : the other keylines; those too far away to matter may be left out.
    apart_m : by how much nearer its own keyline a place must be than any other [m].
    """

    own: Legs
    others: Legs
    apart_m: float

    def beyond(self, points: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.uint8]:
        """`Stop` codes of points along lines, as `limits.cut` asks for: whose ground they lie on.

        Parameters
        ----------
        points, index : float64 (points, 2) [m] and int64 (points,), line after line.
        """
        spare_m = nearer_m(points, index, self.own, self.others, most_m=self.apart_m)
        return np.where(spare_m >= self.apart_m, np.uint8(Stop.NONE), np.uint8(Stop.ROW))


def share_of(
    keyline: Keyline, every: Sequence[Keyline], *, reach_m: float, apart_m: float
) -> Share:
    """Gather what borders on the ground of a keyline, whose lines reach so far.

    Parameters
    ----------
    every : all keylines, with or without the one.
    """
    others = np.array(
        [other.line for other in every if other.keyline_id != keyline.keyline_id], dtype=object
    )
    near = others[shapely.dwithin(others, keyline.line, 2 * reach_m + apart_m)]
    return Share(legs_of(keyline.line), legs_of(near), apart_m)


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
