"""An as-built survey read; refused where it lies elsewhere or in another unit, with the cause."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import CRS

from brimline.errors import InputError, Problem, Severity
from brimline.io.crs import same
from brimline.io.elevation import read_elevation
from brimline.io.surveyed import read_surveyed
from brimline.io.surveyed_place import misplaced, unit_problem, wrong_unit
from brimline.lines.sample import on_grid, surface_at

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.io.elevation import ElevationRead
    from brimline.io.surveyed import Surveyed
    from brimline.io.surveyed_place import Box
    from brimline.io.vectors import VectorSource

_FAR_OFF_M: Final = 10.0
_SURFACES: Final = frozenset({".tif", ".tiff", ".vrt", ".las", ".laz", ".img", ".asc"})


def is_surface(path: Path) -> bool:
    """Tell whether an as-built survey is a surface rather than points."""
    return path.suffix.casefold() in _SURFACES


def read_built_points(
    source: VectorSource,
    dem: Elevation,
    grid: Grid,
    box: Box,
    *,
    crs: str | None,
    vertical_unit: str,
) -> Surveyed:
    """Read surveyed points, and hold them against where the site is and how high its ground.

    Parameters
    ----------
    dem : float32 (rows, cols) on `grid`, the ground before anything was built [m].
    box : where points are expected [m].

    Raises
    ------
    InputError
        With every problem, if the points cannot be read, lie elsewhere or are in another unit.
    """
    points = read_surveyed(source, run_crs=grid.crs, crs=crs, vertical_unit=vertical_unit)
    if not points.errors and points.x.size:
        elsewhere = misplaced(points.x, points.y, box, grid.crs, str(source))
        points.problems.extend([elsewhere] if elsewhere else [])
    if points.errors:
        raise InputError(points.problems)
    ground_m = surface_at(dem, grid, points.x, points.y)
    _refuse_unit(points.level_m, ground_m, str(source))
    points.problems.extend(_far_off(points.level_m, ground_m, str(source)))
    return points


def read_built_surface(
    source: VectorSource,
    dem: Elevation,
    grid: Grid,
    box: Box,
    *,
    crs: str | None,
    vertical_unit: str,
) -> ElevationRead:
    """Read a surveyed surface, and hold it against where the site is and how high its ground.

    Parameters and errors are those of `read_built_points`.
    """
    read = read_elevation(source.path, vertical_unit=vertical_unit, crs=crs)
    if not same(CRS.from_user_input(read.grid.crs), CRS.from_user_input(grid.crs)):
        raise InputError.of(
            f"lies in {read.grid.crs}, the run in {grid.crs}",
            mend=f"project it to {grid.crs}, or set crs under [as_built] where the file is wrong",
            source=str(source),
        )
    west, south, east, north = read.grid.bounds
    if west > box[2] or east < box[0] or south > box[3] or north < box[1]:
        raise InputError.of(
            f"lies at {west:.0f} to {east:.0f} E, {south:.0f} to {north:.0f} N, off the works at"
            f" {box[0]:.0f} to {box[2]:.0f} E, {box[1]:.0f} to {box[3]:.0f} N",
            mend="name the survey of this site, or state its right crs under [as_built]",
            source=str(source),
        )
    _refuse_unit(read.dem.ravel(), on_grid(dem, grid, read.grid).ravel(), str(source))
    return read


def _far_off(level_m: NDArray[Any], ground_m: NDArray[Any], source: str) -> list[Problem]:
    """Warn of levels that no digging brings so far off the ground."""
    known = np.isfinite(level_m) & np.isfinite(ground_m)
    off_m = float(np.median(level_m[known] - ground_m[known])) if known.any() else 0.0
    if abs(off_m) < _FAR_OFF_M:
        return []
    side = "above" if off_m > 0 else "below"
    message = f"lies {abs(off_m):.1f} m {side} the ground as it was surveyed before, in the middle"
    mend = "check its height datum: a geoid's height or another benchmark looks like this."
    return [Problem(Severity.WARNING, message, mend, source)]


def _refuse_unit(level_m: NDArray[Any], ground_m: NDArray[Any], source: str) -> None:
    unit = wrong_unit(level_m.astype(np.float64), ground_m.astype(np.float64))
    if unit:
        middle, wanted = float(np.nanmedian(level_m)), float(np.nanmedian(ground_m))
        told = f": in the middle {middle:.2f} where the ground lay at {wanted:.2f} m"
        raise InputError([unit_problem(unit, source, told)])
