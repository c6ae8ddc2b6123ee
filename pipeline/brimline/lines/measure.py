"""How far a drawn line is from what it claims: level, or falling at a stated grade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.lines import _kernels
from brimline.lines.sample import checked_on_grid, frame_of, vertices_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import shapely
    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Elevation, Grid

_STEPS_PER_CELL = 4  # between two samples a bilinear surface bends too little to matter


@dataclass(frozen=True, slots=True)
class Departure:
    """How far the surface along each line is from the level that the line claims there.

    Parameters
    ----------
    largest_m : float64 (lines,), largest departure either way [m]; NaN without any data.
    rms_m : float64 (lines,), root mean square of it [m].
    bias_m : float64 (lines,), mean of surface less claim [m]; positive where ground is higher.
    """

    largest_m: NDArray[np.float64]
    rms_m: NDArray[np.float64]
    bias_m: NDArray[np.float64]


def departures(
    lines: Sequence[shapely.LineString] | NDArray[Any],
    from_level_m: ArrayLike,
    dem: Elevation,
    grid: Grid,
    *,
    fall: ArrayLike = 0.0,
    step_m: float | None = None,
) -> Departure:
    """Measure lines against a surface, densely along the drawn line.

    Parameters
    ----------
    lines : (lines,)
    from_level_m : level claimed at the start of each line [m].
    dem : float32 (rows, cols) [m]; the surface to measure against; NaN is nodata.
    fall : fall claimed per metre along each line [m/m]; 0 for level lines.
    step_m : distance between samples [m]; a quarter of a cell if left out. Vertices are always
        sampled. Points without data are passed over.

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    ValueError
        If `step_m` is not positive.
    """
    dem = checked_on_grid(dem, grid)
    return departures_from(dem, lines, from_level_m, grid, fall=fall, step_m=step_m)


def departures_from(
    surface: Elevation,
    lines: Sequence[shapely.LineString] | NDArray[Any],
    from_level_m: ArrayLike,
    grid: Grid,
    *,
    fall: ArrayLike = 0.0,
    step_m: float | None = None,
) -> Departure:
    """Measure `departures` from a surface that was checked."""
    step = grid.cell_m / _STEPS_PER_CELL if step_m is None else float(step_m)
    if not step > 0:
        raise ValueError(f"step_m must be above 0 m, got {step}")
    count = len(lines)
    level = np.array(np.broadcast_to(np.asarray(from_level_m, dtype=np.float64), (count,)))
    per_m = np.array(np.broadcast_to(np.asarray(fall, dtype=np.float64), (count,)))
    found = _kernels.departed(
        surface,
        frame_of(grid),
        *vertices_of(lines),
        level,
        per_m,
        step,
    )
    number = found[:, 0]
    largest = np.where(number > 0, found[:, 1], np.nan)
    with np.errstate(invalid="ignore"):
        return Departure(largest, np.sqrt(found[:, 3] / number), found[:, 2] / number)


def level_error(
    line: shapely.LineString,
    level_m: float,
    dem: Elevation,
    grid: Grid,
    *,
    step_m: float | None = None,
) -> float:
    """Largest departure of one drawn line from its level on a surface [m]; see `departures`."""
    found = departures([line], level_m, dem, grid, step_m=step_m)
    return float(found.largest_m[0])


def mean_slope_pct(
    lines: Sequence[shapely.LineString] | NDArray[Any], dem: Elevation, grid: Grid
) -> NDArray[np.float64]:
    """Mean steepness of the ground along each line [%]; NaN without any data.

    Parameters
    ----------
    lines : (lines,)
    dem : float32 (rows, cols) [m]; a smoothed surface, or noise counts as steepness.
    """
    surface = checked_on_grid(dem, grid)
    found = _kernels.steepness(
        surface, frame_of(grid), *vertices_of(lines), len(lines), float(grid.cell_m)
    )
    with np.errstate(invalid="ignore"):
        return np.asarray(100.0 * found[:, 1] / found[:, 0])
