"""Outlines of hollows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import find_objects

from brimline.grid.shapes import outlines

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from brimline.grid import Grid, Labels
    from brimline.grid.tiles import Window


def hollow_outlines(
    labels: Labels, parent_ids: NDArray[np.integer], grid: Grid, *, near: Window | None = None
) -> dict[int, shapely.MultiPolygon]:
    """Outline of every hollow when full, by number; one inside another lies within its outline.

    Outermost hollows are drawn in one pass, each inner one within its own box.

    Parameters
    ----------
    labels : int32 (rows, cols); the innermost hollow of each cell, 0 where there is none.
    parent_ids : int (hollows,); the hollow that holds each, 0 for none; after their holders.
    grid : of the labels.
    near : draw only those that have cells in this block, and what holds them.
    """
    holder = np.concatenate(([0], np.asarray(parent_ids, dtype=np.int64)))
    seen = labels if near is None else labels[near.slices]
    wanted = _with_holders(np.unique(seen), holder)
    if not wanted[1:].any():
        return {}
    outermost = np.arange(holder.size)
    for hollow in range(1, holder.size):
        if holder[hollow] > 0:
            outermost[hollow] = outermost[holder[hollow]]
    boxes = _boxes(labels, holder)
    (top, left), (bottom, right) = _box_of(boxes[wanted])
    shown = np.where(wanted[outermost], outermost, 0).astype(np.int32)
    shapes = outlines(shown[labels[top:bottom, left:right]], grid, origin=(top, left))
    inner = _inside(holder)
    for hollow in np.flatnonzero(wanted & (holder > 0)).tolist():
        top, left, bottom, right = boxes[hollow].tolist()
        if bottom > top:
            window = np.isin(labels[top:bottom, left:right], inner[hollow])
            marks = np.where(window, np.int32(hollow), np.int32(0))
            shapes |= outlines(marks, grid, origin=(top, left))
    return shapes


def _with_holders(labels: NDArray[np.int32], holder: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell of each hollow whether it is labelled, or holds one that is."""
    wanted = np.zeros(holder.size, dtype=np.bool_)
    wanted[labels] = True
    for hollow in range(holder.size - 1, 0, -1):  # inner ones come last
        wanted[holder[hollow]] |= wanted[hollow]
    wanted[0] = False
    return wanted


def _inside(holder: NDArray[np.int64]) -> list[list[int]]:
    """Return each hollow with all that lie inside it, by number."""
    within: list[list[int]] = [[number] for number in range(holder.size)]
    for hollow in range(holder.size - 1, 0, -1):
        if holder[hollow] > 0:
            within[holder[hollow]] += within[hollow]
    return within


def _box_of(boxes: NDArray[np.int64]) -> tuple[tuple[int, int], tuple[int, int]]:
    drawn = boxes[boxes[:, 2] > boxes[:, 0]]
    if not len(drawn):
        return (0, 0), (0, 0)
    top, left = drawn[:, :2].min(axis=0).tolist()
    bottom, right = drawn[:, 2:].max(axis=0).tolist()
    return (top, left), (bottom, right)


def _boxes(labels: Labels, holder: NDArray[np.int64]) -> NDArray[np.int64]:
    """First row and column of each hollow and those after its last, inner hollows included."""
    far = np.iinfo(np.int64).max
    boxes = np.tile(np.array([far, far, -1, -1], dtype=np.int64), (holder.size, 1))
    for label, place in enumerate(find_objects(labels), start=1):
        if place is not None:
            rows, cols = place
            boxes[label] = rows.start, cols.start, rows.stop, cols.stop
    for hollow in range(holder.size - 1, 0, -1):  # inner ones come last
        if holder[hollow] > 0:
            boxes[holder[hollow], :2] = np.minimum(boxes[holder[hollow], :2], boxes[hollow, :2])
            boxes[holder[hollow], 2:] = np.maximum(boxes[holder[hollow], 2:], boxes[hollow, 2:])
    return boxes
