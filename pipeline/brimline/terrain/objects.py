"""What stands on the ground in a survey: roofs taken off, walls put on, the rest told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.errors import Problem, Severity
from brimline.grid import checked_elevation
from brimline.terrain.voids import span_voids
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Labels

ROOF_M: Final = 1.0  # over the ground around it, from which a roof is taken off
_RING_M: Final = 2.0  # of ground around a roof
_EAVES_M: Final = 0.5  # beyond its outline, where its edge is smeared
_JUMP_M: Final = 0.6  # from cell to cell, steeper than ground a cell of 1 m or less shows
_RAISED_M: Final = 1.5  # over the ground beside it: a roof, a hedge, a heap
_LEAST_M2: Final = 4.0
_GROUND_SHARE: Final = 0.25  # of the cells, in one piece, that is ground however high it lies


@dataclass(frozen=True, slots=True)
class Unroofed:
    """A surface without the roofs that stood in it.

    Parameters
    ----------
    heights_m : of each roof over the ground around it; NaN where there is none to tell by [m].
    taken : numbers, from 0, of the roofs that were taken off.
    left_cells : cells beneath them that could not be spanned, at the edge of the data.
    """

    surface: Elevation
    heights_m: tuple[float, ...]
    taken: tuple[int, ...]
    left_cells: int


def without_roofs(dem: Elevation, roofs: Sequence[BoolGrid], *, cell_m: float) -> Unroofed:
    """Take roofs out of a surface where they stand in it, and span the ground beneath.

    A roof stands in it where its cells lie, by their median, a metre or more over the lower
    quartile of the ring of 2 m around it: a survey of bare ground is left as it is.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    roofs : bool (rows, cols) each.
    cell_m : side of a cell [m].
    """
    surface = checked_elevation(dem)
    known = np.isfinite(surface)
    every = np.any(roofs, axis=0) if roofs else np.zeros(surface.shape, dtype=np.bool_)
    heights, cut = [], np.zeros(surface.shape, dtype=np.bool_)
    taken = []
    eaves = max(round(_EAVES_M / cell_m), 1)
    for number, roof in enumerate(roofs):
        near = _grown(roof, eaves)
        ring = _grown(near, max(round(_RING_M / cell_m), 1)) & ~near & ~every & known
        inside = roof & known
        height = np.nan
        if ring.any() and inside.any():
            height = float(np.median(surface[inside]) - np.percentile(surface[ring], 25))
        heights.append(height)
        if height >= ROOF_M:
            taken.append(number)
            cut |= near
    if not taken:
        return Unroofed(surface, tuple(heights), (), 0)
    opened = np.where(cut, np.float32(np.nan), surface).astype(np.float32)
    spanned = span_voids(opened, cell_m=cell_m, max_area_m2=np.inf).surface
    spanned[~known & ~cut] = np.nan  # other holes stay as they were
    left = int((cut & known & np.isnan(spanned)).sum())
    return Unroofed(spanned, tuple(heights), tuple(taken), left)


def roofs_told(bare: Unroofed) -> list[Problem]:
    """Warn of roofs that were taken off: what lies beneath them nobody has measured."""
    if not bare.taken:
        return []
    highest_m = max(bare.heights_m[number] for number in bare.taken)
    return [
        Problem(
            Severity.WARNING,
            f"{counted(len(bare.taken), 'roof stands', 'roofs stand')} in the elevation, up to"
            f" {highest_m:.1f} m over the ground: taken off, and the ground beneath spanned as"
            " a membrane; nobody has measured it",
            "hand over bare ground where levels beneath or beside buildings matter",
            "elevation",
        )
    ]


def wall_heights(
    shape: tuple[int, int], walls: Iterable[tuple[BoolGrid, float]]
) -> NDArray[np.float32]:
    """Height of walls and kerbs over the ground that they stand on.

    Parameters
    ----------
    shape : rows and columns.
    walls : cells that the line of each touches, and its height over the ground there [m].

    Returns
    -------
    float32 (rows, cols) [m]
        0 where none stands; of two the higher.
    """
    heights = np.zeros(shape, dtype=np.float32)
    for touched, height_m in walls:
        cells = _sealed(touched)
        heights[cells] = np.maximum(heights[cells], np.float32(height_m))
    return heights


def _sealed(cells: BoolGrid) -> BoolGrid:
    """Close the corners of a line of cells, between which water would slip through."""
    sealed = cells.copy()
    here, right = cells[:-1, :-1], cells[:-1, 1:]
    below, across = cells[1:, :-1], cells[1:, 1:]
    sealed[1:, :-1] |= here & across & ~right & ~below
    sealed[1:, 1:] |= right & below & ~here & ~across
    return sealed


@dataclass(frozen=True, slots=True)
class RaisedAreas:
    """What stands up from the ground.

    Parameters
    ----------
    labels : int32 (rows, cols), from 1; 0 is ground.
    heights_m : float64 (areas,), median height over the nearest ground [m].
    """

    labels: Labels
    heights_m: NDArray[np.float64]


def raised_areas(dem: Elevation, *, cell_m: float) -> RaisedAreas:
    """Find plateaus and thickets behind steep jumps, as roofs, hedges and trees are in a survey.

    Ground is the largest piece of the surface that no jump of 0.6 m from cell to cell parts, and
    every piece of a quarter of the cells. What lies 1.5 m or more over the nearest ground, over
    4 m² or more, stands on it. Common practice, no source.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    cell_m : side of a cell, at most 1 m: coarser cells jump on slopes [m].
    """
    known = np.isfinite(dem)
    none = RaisedAreas(np.zeros(dem.shape, dtype=np.int32), np.zeros(0))
    if not known.any() or cell_m > 1.0:
        return none
    surface = checked_elevation(dem)
    pieces, count = ndimage.label(known & ~_jumps(surface))
    if not count:
        return none
    sizes = np.bincount(pieces.ravel())
    sizes[0] = 0
    is_ground = sizes >= min(_GROUND_SHARE * int(known.sum()), int(sizes.max()))
    ground = is_ground[pieces]
    row, col = ndimage.distance_transform_edt(~ground, return_distances=False, return_indices=True)
    above = np.where(known & ~ground, surface - surface[row, col], 0.0)
    high = above >= _RAISED_M
    labels, count = ndimage.label(high, structure=np.ones((3, 3)))
    areas = np.bincount(labels.ravel(), minlength=count + 1)[1:] * cell_m**2
    keep = np.flatnonzero(areas >= _LEAST_M2) + 1
    number = np.zeros(count + 1, dtype=np.int32)
    number[keep] = np.arange(1, keep.size + 1)
    found: Labels = number[labels]
    heights = ndimage.median(above, found, np.arange(1, keep.size + 1)) if keep.size else []
    return RaisedAreas(found, np.asarray(heights, dtype=np.float64))


def _jumps(surface: Elevation) -> BoolGrid:
    """Cells that lie further from a neighbour than ground does."""
    jump = np.zeros(surface.shape, dtype=np.bool_)
    for axis in (0, 1):
        far = np.abs(np.diff(surface, axis=axis)) > _JUMP_M  # NaN is no jump
        one = [slice(None), slice(None)]
        other = [slice(None), slice(None)]
        one[axis], other[axis] = slice(None, -1), slice(1, None)
        jump[tuple(one)] |= far
        jump[tuple(other)] |= far
    return jump


def _grown(cells: BoolGrid, by: int) -> BoolGrid:
    grown: BoolGrid = ndimage.distance_transform_edt(~cells) <= by + 0.5 if cells.any() else cells
    return grown
