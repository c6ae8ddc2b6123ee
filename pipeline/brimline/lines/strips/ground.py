"""What sheds to each row, and how far it is up the slope to the next one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.drainage.flow import flow_directions
from brimline.grid import OUTLET
from brimline.grid.neighbours import D_COL, D_ROW
from brimline.lines.sample import along_all
from brimline.lines.strips import _kernels
from brimline.terrain.conditioning.filling import fill, fill_shallow

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation, Grid, Labels


_EVERY_CELLS: Final = 4.0  # between the points of a line from which the way up is walked


def sheet_directions(surface: Elevation, *, hollow_depth_m: float) -> Directions:
    """Flow directions of a surface whose deeper hollows keep their water.

    Water that a hill sheds into a hollow does not cross it: rows beyond its rim get none of it.
    Hollows up to `hollow_depth_m` are filled: on a smoothed survey they are noise.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the survey smoothed, NaN is nodata.
    hollow_depth_m : depth above which a hollow keeps its water [m].

    Returns
    -------
    uint8 (rows, cols), codes of `brimline.grid.neighbours`.

    Raises
    ------
    GridError
        If `surface` is no elevation array.
    """
    shallow = fill_shallow(surface, depth_m=hollow_depth_m)
    if shallow is None:  # the cells beside enclosed nodata in which water ends have to be found
        depth = fill(surface) - surface
        sinks = (flow_directions(surface) == OUTLET) & (depth > hollow_depth_m)
        shallow = fill(surface, sinks=sinks), sinks
    filled, sinks = shallow
    return flow_directions(filled, sinks=sinks)


def cells_of_lines(
    lines: Sequence[Any] | NDArray[Any], grid: Grid, number: NDArray[np.int32] | None = None
) -> Labels:
    """Mark the cells of each line with its number, from 1 if none are given; 0 none.

    No step to a neighbour, diagonal ones among them, gets across a line without entering its cells.
    """
    points, index = along_all(lines, grid.cell_m * 64)
    row, col = grid.position(points[:, 0], points[:, 1])
    if number is None:
        number = np.arange(1, len(lines) + 1, dtype=np.int32)
    marked: Labels = _kernels.crossed_cells(row + 0.5, col + 0.5, index, number, grid.shape)
    return marked


def sheds_to(marked: Labels, directions: Directions) -> Labels:
    """Return the number of the first line that each cell's water reaches; 0 where there is none."""
    reached: Labels = _kernels.first_reached(directions, marked)
    return reached


def strip_areas_m2(
    marked: Labels,
    sheds: Labels,
    directions: Directions,
    level_m: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
) -> NDArray[np.float64]:
    """Area that sheds to each line [m²].

    Of a cell on a line the part above its level counts to it, and the rest to the line that water
    from there reaches next.

    Parameters
    ----------
    marked : int32 (rows, cols), the line on each cell, from 1.
    sheds : int32 (rows, cols), the line that each cell sheds to.
    directions : uint8 (rows, cols), codes of `brimline.grid.neighbours`.
    level_m : (lines,) level of each line [m].
    surface : float32 (rows, cols) [m]
    """
    cells = _kernels.counted(sheds, len(level_m) + 1)
    return _areas_m2(cells, marked, sheds, directions, level_m, surface, grid)


def _areas_m2(
    cells: NDArray[np.int64],
    marked: Labels,
    sheds: Labels,
    directions: Directions,
    level_m: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
) -> NDArray[np.float64]:
    """Work out `strip_areas_m2` from the number of cells that shed to each line."""
    levels = np.concatenate(([np.nan], np.asarray(level_m, dtype=np.float64)))
    more = _kernels.moved_on(directions, marked, sheds, surface, levels)
    return np.asarray((cells + more)[1:] * grid.cell_area_m2)


@dataclass(frozen=True, slots=True, eq=False)
class Strips:
    """What sheds to lines, and where they lead.

    Parameters
    ----------
    stays : bool (lines,).
    area_m2 : float64 (lines,), area that sheds to each line that stays [m²].
    spacing_m : float64 (lines,), mean distance over the ground, up the slope, from each that stays
        to the next or the divide [m].
    to : int64 (lines,), place of the line below that water from most of the length of each reaches,
        of those further on; -1 where it reaches none.
    """

    stays: NDArray[np.bool_]
    area_m2: NDArray[np.float64]
    spacing_m: NDArray[np.float64]
    to: NDArray[np.int64]


def strips_of(
    lines: NDArray[Any],
    level_m: NDArray[np.float64],
    surface: Elevation,
    directions: Directions,
    grid: Grid,
    stays: Callable[[NDArray[np.float64]], NDArray[np.bool_]],
) -> Strips:
    """Measure the strip above each line, once more where lines have to go.

    What is left takes the water of those that go.

    Parameters
    ----------
    lines : (lines,) LineStrings.
    level_m : (lines,) level of each, from the highest down for `Strips.to` [m].
    surface : float32 (rows, cols) [m]; the survey smoothed.
    directions : uint8 (rows, cols), codes of `brimline.grid.neighbours`.
    stays : tells from the mean distance up the slope of each line [m] whether it stays.
    """
    number = np.arange(1, len(lines) + 1, dtype=np.int32)
    marked = cells_of_lines(lines, grid)
    sheds = sheds_to(marked, directions)
    cells = _kernels.counted(sheds, len(lines) + 1)
    area = _areas_m2(cells, marked, sheds, directions, level_m, surface, grid)
    far, ends_at = _ways_up(lines, number, level_m, surface, grid, marked, sheds)
    left = stays(far)
    if left.all():
        return Strips(left, area, far, _leads_to(marked, sheds, directions, len(lines)))
    gone = np.concatenate(([False], ~left))
    marked = cells_of_lines(lines[left], grid, number[left])
    cells += _kernels.reach_without(directions, marked, gone, sheds)
    before, area = area, _areas_m2(cells, marked, sheds, directions, level_m, surface, grid)
    # ways up change where they led to a line that went, or over ground that shed to it
    anew = left & (area != before)
    anew[ends_at[gone[1:][ends_at[:, 1] - 1], 0] - 1] = True
    anew &= left
    far[anew], _ = _ways_up(lines[anew], number[anew], level_m, surface, grid, marked, sheds)
    return Strips(left, area, far, _leads_to(marked, sheds, directions, len(lines)))


def _leads_to(
    marked: Labels, sheds: Labels, directions: Directions, count: int
) -> NDArray[np.int64]:
    """Place of the line, of those further on, that most cells of each line shed to; -1 for none."""
    cell = np.flatnonzero(marked)
    code = directions.ravel()[cell]
    cell, code = cell[code < OUTLET], code[code < OUTLET].astype(np.int64)
    step = D_ROW[code] * marked.shape[1] + D_COL[code]
    line = marked.ravel()[cell].astype(np.int64) - 1
    below = sheds.ravel()[cell + step].astype(np.int64) - 1
    on = below > line
    pair, cells = np.unique(line[on] * count + below[on], return_counts=True)
    to = np.full(count, -1, dtype=np.int64)
    rising = pair[np.lexsort((-pair, cells))]  # of equals the higher line takes it
    to[rising // count] = rising % count  # the last written stays
    return to


def _ways_up(
    lines: NDArray[Any],
    number: NDArray[np.int32],
    level_m: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
    marked: Labels,
    sheds: Labels,
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Mean distance up the slope from each line [m], and the pairs (line, next line up) met."""
    points, index = along_all(lines, _EVERY_CELLS * grid.cell_m)
    row, col = grid.position(points[:, 0], points[:, 1])
    owner = number[index]
    level = np.concatenate(([np.nan], level_m))
    far, met = _kernels.ways_up_slope(surface, row, col, owner, level, marked, sheds, grid.cell_m)
    known = np.isfinite(far)
    total = np.bincount(index[known], far[known], minlength=len(lines))
    count = np.bincount(index[known], minlength=len(lines)).astype(np.float64)
    pairs = np.column_stack((owner, met))
    with np.errstate(invalid="ignore"):
        return total / count, pairs[met > 0]
