"""Moving drawn points onto the flow path that they stand for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.catchments import _kernels
from brimline.drainage.flow.directions import checked_directions
from brimline.grid import NO_DATA, checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Accumulation, Directions

AMBIGUOUS: Final = "snap-ambiguous"
FAILED: Final = "snap-failed"
_AMBIGUOUS_RATIO: Final = 2.0


@dataclass(frozen=True, slots=True)
class Snapped:
    """Where each drawn point came to lie.

    Parameters
    ----------
    row, col : int64 (points,)
        The cell of each point, moved or left.
    moved_m : float64 (points,) [m]
        From the point as drawn to the centre of its new cell; 0 where it was left in place.
    area_m2 : float64 (points,) [m²]
        Contributing area of the cell.
    other_area_m2, other_distance_m : float64 (points,) [m²] [m]
        Of an ambiguous point, the nearest other path that made it so; NaN elsewhere.
    flags : for each point, "snap-ambiguous", "snap-failed", or none.
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    moved_m: NDArray[np.float64]
    area_m2: NDArray[np.float64]
    other_area_m2: NDArray[np.float64]
    other_distance_m: NDArray[np.float64]
    flags: tuple[tuple[str, ...], ...]

    @property
    def cells(self) -> NDArray[np.int64]:
        """Row and column of each point, int64 (points, 2), as `subcatchments` takes them."""
        return np.column_stack((self.row, self.col))


@dataclass(frozen=True, slots=True)
class _Reach:
    """Flow-path cells within reach of one point, nearest first."""

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    distance_m: NDArray[np.float64]
    area_m2: NDArray[np.float64]


def snap(
    points: ArrayLike,
    area_m2: Accumulation,
    directions: Directions,
    *,
    cell_m: float,
    radius_m: float,
    min_area_m2: float,
    movable: ArrayLike = True,
) -> Snapped:
    """Move each point to the nearest flow path within reach.

    A flow path is every cell whose contributing area is at least `min_area_m2`. The nearest such
    cell by distance to its centre is taken; of equally near ones the one with the larger area,
    then the first in raster order. A point that already stands on a flow path stays.

    Paths are told apart as stems: upstream of a joint a path goes on along the donor with the
    greatest area, and the other donors are paths of their own. Cells up or down the same stem
    are therefore never rivals, while a side branch and the stem that it joins are. A point is
    `snap-ambiguous` where another stem passes within reach and the areas, each at the stem's
    nearest cell, differ by more than a factor of two. A point without a flow path within reach
    is `snap-failed` and left in place.

    Parameters
    ----------
    points : float (points, 2)
        Row and column, fractional, where whole numbers are cell centres (`Grid.position`).
    area_m2 : float64 (rows, cols) [m²]; contributing area, NaN at nodata.
    directions : uint8 (rows, cols); those that the area came from.
    cell_m : side of a cell [m].
    radius_m : how far a point may move [m].
    min_area_m2 : contributing area from which a cell belongs to a flow path [m²].
    movable : bool, or bool (points,); False leaves a point in place without a flag.

    Raises
    ------
    ValueError
        If a point comes to lie outside the data, or a size is out of range.
    GridError
        If the shapes differ.
    """
    checked_same_shape(area_m2=area_m2, directions=directions)
    if not (cell_m > 0 and radius_m >= 0 and min_area_m2 > 0):
        raise ValueError(
            f"snapping needs cell_m > 0 m, radius_m >= 0 m and min_area_m2 > 0 m², got "
            f"{cell_m} m, {radius_m} m and {min_area_m2} m²"
        )
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not np.isfinite(places).all():
        raise ValueError("points hold a row or column that is not a finite number")
    moving = np.broadcast_to(np.asarray(movable, dtype=np.bool_), places.shape[:1])
    codes = checked_directions(directions)
    area = np.ascontiguousarray(area_m2, dtype=np.float64)
    results = [
        _snap_one(
            row,
            col,
            _within_reach(row, col, area, codes, cell_m, radius_m, min_area_m2) if move else None,
            area,
            codes,
        )
        for (row, col), move in zip(places.tolist(), moving.tolist(), strict=True)
    ]
    _refuse_outside(results, codes)
    return _collected(results, area)


_Result = tuple[int, int, float, float, float, tuple[str, ...]]


def _within_reach(
    row: float,
    col: float,
    area: Accumulation,
    codes: Directions,
    cell_m: float,
    radius_m: float,
    min_area_m2: float,
) -> _Reach:
    """Flow-path cells within reach, the cell that holds the point at distance 0."""
    rows, cols = area.shape
    reach = radius_m / cell_m + 1.0
    top, bottom = max(0, math.floor(row - reach)), min(rows, math.ceil(row + reach) + 1)
    left, right = max(0, math.floor(col - reach)), min(cols, math.ceil(col + reach) + 1)
    r, c = np.mgrid[top : max(top, bottom), left : max(left, right)].astype(np.int64)
    distance = cell_m * np.hypot(r - row, c - col)
    distance[(r == math.floor(row + 0.5)) & (c == math.floor(col + 0.5))] = 0.0
    near = (distance <= radius_m) & (area[r, c] >= min_area_m2) & (codes[r, c] != NO_DATA)
    r, c, distance = r[near], c[near], distance[near]
    order = np.lexsort((r * cols + c, -area[r, c], distance))
    r, c = r[order], c[order]
    return _Reach(r, c, distance[order], area[r, c])


def _snap_one(
    row: float, col: float, reach: _Reach | None, area: Accumulation, codes: Directions
) -> _Result:
    in_place = math.floor(row + 0.5), math.floor(col + 0.5), 0.0, math.nan, math.nan
    if reach is None:
        return *in_place, ()
    if reach.row.size == 0:
        return *in_place, (FAILED,)
    stems = _kernels.stem_ends(codes, area, reach.row * area.shape[1] + reach.col)
    _, nearest = np.unique(stems, return_index=True)  # the first, hence nearest, of each stem
    share = reach.area_m2[nearest] / reach.area_m2[0]
    rivals = np.sort(nearest[(share > _AMBIGUOUS_RATIO) | (share < 1 / _AMBIGUOUS_RATIO)])
    found = int(reach.row[0]), int(reach.col[0]), float(reach.distance_m[0])
    if rivals.size == 0:
        return *found, math.nan, math.nan, ()
    other = rivals[0]
    return *found, float(reach.area_m2[other]), float(reach.distance_m[other]), (AMBIGUOUS,)


def _refuse_outside(results: list[_Result], codes: Directions) -> None:
    rows, cols = codes.shape
    for number, (row, col, *_) in enumerate(results, start=1):
        if not (0 <= row < rows and 0 <= col < cols) or codes[row, col] == NO_DATA:
            raise ValueError(
                f"point {number} at row {row}, column {col} lies outside the data ({rows} rows, "
                f"{cols} columns), with no flow path within reach"
            )


def _collected(results: list[_Result], area: Accumulation) -> Snapped:
    row = np.array([result[0] for result in results], dtype=np.int64)
    col = np.array([result[1] for result in results], dtype=np.int64)
    return Snapped(
        row=row,
        col=col,
        moved_m=np.array([result[2] for result in results], dtype=np.float64),
        area_m2=area[row, col],
        other_area_m2=np.array([result[3] for result in results], dtype=np.float64),
        other_distance_m=np.array([result[4] for result in results], dtype=np.float64),
        flags=tuple(result[5] for result in results),
    )
