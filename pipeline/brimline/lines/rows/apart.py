"""Keeping rows a distance apart, the higher ones first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.limits import Cut, Stop

if TYPE_CHECKING:
    from numpy.typing import NDArray


def made_room(
    pieces: Cut, level_m: NDArray[np.float64], taken: NDArray[Any], room_m: float, least_m: float
) -> tuple[Cut, NDArray[np.float64]]:
    """Cut off what comes closer than `room_m` to a drawn row or to a higher one, from the top down.

    What is left of a row keeps its reasons for ending; an end that makes room has none. Pieces
    shorter than `least_m` are dropped. No two rows cross, therefore.
    """
    order = np.lexsort((np.arange(len(level_m)), -level_m))
    pieces, level_m = pieces.chosen(order), level_m[order]
    higher = _higher_near(pieces.lines, taken, room_m)
    left: dict[int, list[Any]] = {i: [line] for i, line in enumerate(taken)}
    found: list[tuple[Any, int, int, int]] = []
    for i, line in enumerate(pieces.lines):
        close = [part for upper in higher.get(i, ()) for part in left[upper]]
        parts = [line]
        if close:
            room = shapely.buffer(shapely.multilinestrings(close), room_m, quad_segs=32)
            parts = list(shapely.get_parts(shapely.difference(line, room)))
            parts = _apart_themselves(parts, room_m, least_m)
        left[i + len(taken)] = parts
        for part in parts:
            start = pieces.start[i] if part.coords[0] == line.coords[0] else Stop.NONE
            end = pieces.end[i] if part.coords[-1] == line.coords[-1] else Stop.NONE
            found.append((part, i, int(start), int(end)))
    kept = np.empty(len(found), dtype=object)
    kept[:] = [row[0] for row in found]
    of = np.array([row[1] for row in found], dtype=np.int64)
    ends = np.array([row[2:] for row in found], dtype=np.uint8).reshape(-1, 2)
    return Cut(kept, pieces.source[of], ends[:, 0], ends[:, 1]), level_m[of]


def _apart_themselves(parts: list[Any], room_m: float, least_m: float) -> list[Any]:
    """Keep the parts of one line a distance apart, the longest first, and drop short ones.

    Where a line only brushes another's room, what is left of it on either side is nearly one.
    """
    kept: list[Any] = []
    for part in sorted(parts, key=lambda one: -float(one.length)):
        rest = part
        if kept:
            room = shapely.buffer(shapely.multilinestrings(kept), room_m, quad_segs=32)
            rest = shapely.difference(part, room)
        kept += [piece for piece in shapely.get_parts(rest) if piece.length >= least_m]
    return kept


def _higher_near(lines: NDArray[Any], taken: NDArray[Any], room_m: float) -> dict[int, list[int]]:
    """For each line the taken rows and the lines before it that come too close, as one list."""
    every = np.concatenate((taken, lines))
    if len(every) == 0:
        return {}
    near = shapely.STRtree(every).query(lines, predicate="dwithin", distance=room_m)
    higher: dict[int, list[int]] = {}
    for lower, upper in near.T.tolist():
        if upper < lower + len(taken):
            higher.setdefault(lower, []).append(upper)
    return higher
