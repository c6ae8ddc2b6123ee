"""The ground that a bank across a valley floods."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from rasterio.features import shapes
from scipy.ndimage import binary_dilation, label

from brimline.elements.dam import SPILLWAY_FALL
from brimline.grid.shapes import cells_inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.terrain.shaping import LevelsAt

_REACH_M: Final = 400.0  # from a bank, as far as its water may reach
_SPILLWAY_M: Final = 40.0  # from a bank's end, to where its spillway comes out
_INTO_M: Final = 2.0  # of the water, that its spillway begins in
_CUT_SIDE: Final = 2.0  # batter of the spillway's sides (common practice, no source)


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """What stands behind a bank.

    Parameters
    ----------
    outline : of the water when full, its largest part without islands, up to the bank's side.
    bed_m : float64 (cells,), levels under water as high as the crest, the bank's side among them.
    toe_level_m : lowest ground on the dry side that the bank covers [m].
    """

    outline: shapely.Polygon
    bed_m: NDArray[np.float64]
    toe_level_m: float


def flooded(
    levels: Elevation,
    grid: Grid,
    bank: shapely.LineString,
    spill_m: float,
    crest_m: float,
    top_m: float,
    sides: tuple[float, float],
) -> Pool:
    """Flood the ground behind a bank.

    Water joins across the sides of cells. Of the two sides of the bank that is behind it from
    which water as high as the crest does not run out; of two such, the one that holds more.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; NaN is nodata.
    top_m, sides : width of the crest, and its batters on the water and the dry side.

    Raises
    ------
    ValueError
        If water would run out on both sides, round an end of the bank or off the data.
    """
    west, south, east, north = bank.buffer(_REACH_M).bounds
    (top, bottom), (left, right) = grid.cell([west, east], [north, south])
    row, col = max(int(top), 0), max(int(left), 0)
    size = min(int(bottom) + 1, grid.rows) - row, min(int(right) + 1, grid.cols) - col
    if min(size) < 3:
        raise ValueError("it lies where there is no elevation")
    here = grid.window(row, col, *size)
    ground = levels[row : row + size[0], col : col + size[1]].astype(np.float64)
    wall = cells_inside([bank], here, all_touched=True)
    behind = _behind(ground, wall, spill_m, crest_m, _lower_side(ground, wall, bank, here))
    distance_m = _distance_m(here, bank)
    heaped = crest_m - np.maximum(distance_m - top_m / 2, 0.0) / max(sides[0], 1e-6)
    bed = np.maximum(ground, heaped)
    wet = behind & (bed < spill_m)
    if not wet.any():
        raise ValueError(f"at {spill_m:.2f} m no water stands behind it")
    dry = ~behind & (distance_m <= top_m / 2 + sides[1] * np.maximum(crest_m - ground, 0.0))
    toe_m = float(np.nanmin(ground[dry & (ground < crest_m)], initial=crest_m))
    return Pool(_outline(wet, here), bed[behind & (bed < crest_m)], toe_m)


def _behind(
    ground: NDArray[np.float64], wall: BoolGrid, spill_m: float, crest_m: float, dry: BoolGrid
) -> BoolGrid:
    """Mark what stands under water behind a bank: as high as the crest, if the survey holds it.

    Where water that high would reach the end of the survey up the valley, only what is held at
    the spill level is marked; where it would run round an end of the bank, nothing is held.
    """
    rim = np.isnan(ground)
    rim[[0, -1], :] = rim[:, [0, -1]] = True
    parts, held = _held(ground, wall, rim, crest_m)
    if not held:
        low, held = _held(ground, wall, rim, spill_m)
        pool = _largest(ground, low, held, spill_m)
        joined = set(np.unique(parts[pool]).tolist()) - {0}
        beyond = parts[dry & binary_dilation(wall)]
        round_an_end = not pool.any() or bool(np.isin(beyond, [*joined]).any())
        if round_an_end:
            raise ValueError(
                f"water at its crest, {crest_m:.2f} m, would run round an end of it or off the"
                " survey: draw it on to ground as high on both sides, or lower it"
            )
        return pool
    return _largest(ground, parts, held, crest_m)


def _lower_side(
    ground: NDArray[np.float64], wall: BoolGrid, bank: shapely.LineString, grid: Grid
) -> BoolGrid:
    """Mark the side of a bank, cut off straight between its ends, on which the ground is lower."""
    x, y = (part.reshape(grid.shape) for part in _middles(grid))
    (x0, y0), (x1, y1) = shapely.get_coordinates(bank)[[0, -1]]
    left = (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) > 0
    near: BoolGrid = binary_dilation(wall, iterations=3) & ~wall & np.isfinite(ground)
    lows = [float(ground[near & side].min(initial=np.inf)) for side in (left, ~left)]
    lower: BoolGrid = left if lows[0] < lows[1] else ~left
    return lower


def _held(
    ground: NDArray[np.float64], wall: BoolGrid, rim: BoolGrid, level_m: float
) -> tuple[NDArray[np.int32], list[int]]:
    """Count the waters that stand at a level, and list those by the bank that run nowhere."""
    parts, count = label((ground < level_m) & ~wall)
    out = set(np.unique(parts[binary_dilation(rim)]).tolist())
    beside = set(np.unique(parts[binary_dilation(wall)]).tolist())
    return parts, [part for part in range(1, count + 1) if part in beside and part not in out]


def _largest(
    ground: NDArray[np.float64], parts: NDArray[np.int32], held: list[int], level_m: float
) -> BoolGrid:
    """Mark the water that holds most; none where there is none."""
    best = max(held, key=lambda part: float((level_m - ground[parts == part]).sum()), default=-1)
    found: BoolGrid = parts == best
    return found


def _distance_m(grid: Grid, line: shapely.LineString) -> NDArray[np.float64]:
    points = shapely.points(*_middles(grid))
    found: NDArray[np.float64] = shapely.distance(points, line).reshape(grid.shape)
    return found


def _middles(grid: Grid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coordinates of the middles of all cells, row after row [m]."""
    rows, cols = np.indices(grid.shape)
    return grid.xy(rows.ravel(), cols.ravel())


def _outline(wet: BoolGrid, grid: Grid) -> shapely.Polygon:
    """Outline the largest part of what is wet, without islands."""
    drawn = [
        shapely.Polygon(shape["coordinates"][0])
        for shape, value in shapes(wet.astype(np.uint8), mask=wet)
        if value
    ]
    largest = max(drawn, key=lambda part: part.area)
    col, row = shapely.get_coordinates(largest).T
    x, y = grid.west_m + grid.cell_m * col, grid.north_m - grid.cell_m * row
    outline = shapely.Polygon(np.column_stack([x, y]))
    tidy = shapely.simplify(outline, 0.75 * grid.cell_m)  # corners of cells are taken off
    return tidy if tidy.geom_type == "Polygon" and tidy.is_valid and tidy.area > 0 else outline


def spillway_past(
    ground: LevelsAt,
    bank: shapely.LineString,
    water: shapely.Polygon,
    spill_m: float,
    crest_m: float,
    section: tuple[float, float, float],
) -> shapely.LineString:
    """Lay the axis of a spillway: from the water past a bank's last point to lower ground.

    It passes so far out that its inner side comes up to the crest in ground as it lies, and leaves
    by the shortest way that ends below the spill level and clear of the bank's toe; straight on
    where there is none within 40 m.

    Parameters
    ----------
    ground : levels at points.
    section : width of the bank's crest, batter of its dry side, width of the spillway.
    """
    top_m, downstream, width_m = section
    corners = shapely.get_coordinates(bank)
    chord = corners[-1] - corners[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-9)
    place = corners[-1] + chord * (width_m / 2 + _CUT_SIDE * (crest_m - spill_m))
    away = np.array([-chord[1], chord[0]])
    if away @ (shapely.get_coordinates(water.centroid)[0] - corners.mean(axis=0)) > 0:
        away = -away
    steps = np.arange(1.0, _SPILLWAY_M + 0.5, 0.5)
    best, far_m = place + away * steps[-1], np.inf
    for turn in np.radians(np.arange(-75.0, 76.0, 15.0)):
        way = np.cos(turn) * away + np.sin(turn) * chord
        places = place + steps[:, None] * way
        levels = ground(*places.T)
        toe_m = top_m / 2 + downstream * np.maximum(crest_m - levels, 0.0)
        clear = shapely.distance(shapely.points(places), bank) > toe_m
        low = np.flatnonzero((levels <= spill_m - SPILLWAY_FALL * steps) & clear)
        if low.size and steps[low[0]] < far_m:
            best, far_m = places[low[0]], float(steps[low[0]])
    near = shapely.get_coordinates(shapely.shortest_line(shapely.Point(place), water))[-1]
    into = (near - place) / max(float(np.hypot(*(near - place))), 1e-9)
    return shapely.LineString([near + _INTO_M * into, place, best])
