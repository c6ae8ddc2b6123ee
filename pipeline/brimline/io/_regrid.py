"""From a file's own grid to the run's: north-up, square cells, metres, a projected CRS."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from affine import Affine
from pyproj import Transformer

from brimline.errors import InputError, Problem, Severity
from brimline.grid import Grid
from brimline.io import crs as crs_of
from brimline.io import metric
from brimline.io._mosaic import Mosaic, too_many_cells
from brimline.io._sampling import bilinear, block_mean, positions

if TYPE_CHECKING:
    from pyproj import CRS

    from brimline.grid import Elevation

_SQUARE: Final = 1e-4  # relative difference of a cell's sides that rounding explains
_COARSER: Final = 1.5  # cells this much larger are averages of samples rather than samples
_BLOCK_ROWS: Final = 256


@dataclass(frozen=True, slots=True)
class Regridded:
    """Levels on the run's grid, and what was done to bring them there."""

    dem: Elevation
    grid: Grid
    notices: tuple[Problem, ...]


def to_run_grid(mosaic: Mosaic, *, cell_m: float | None, max_cells: int, source: str) -> Regridded:
    """Bring levels to a north-up grid of square cells in metres.

    Cells are kept as they are where only the unit of the map or the order of rows differs.
    Everything else is resampled bilinearly, which puts no level above or below those that it is
    made from (a cubic does, beside walls and nodata); larger cells are averages of such samples.
    A plane stays the same plane, which GDAL's own warping does not keep to better than some
    hundredths of a metre where the two grids' cells differ in size.

    Parameters
    ----------
    cell_m : side of a cell that the person asks for [m]; None keeps the survey's.
    max_cells : largest grid that is made.

    Raises
    ------
    InputError
        If the grid would be too large or lies outside the map of its CRS.
    """
    upright = _upright(mosaic)
    notices = metric.off_its_area(upright.crs, extent(upright), source=source)
    crs, factor, why = metric.run_crs(upright.crs, extent(upright), source=source)
    if why:
        notices.append(Problem(Severity.NOTICE, why, "", source))
    if factor != 1.0:
        upright = replace(upright, transform=Affine.scale(factor) @ upright.transform, crs=crs)
    transform = upright.transform
    square = abs(transform.a + transform.e) <= _SQUARE * abs(transform.a)
    plain = not transform.b and not transform.d and square
    if crs_of.same(upright.crs, crs) and plain and _keeps(transform.a, cell_m):
        rows, cols = upright.levels.shape
        grid = Grid(rows, cols, transform.a, transform.c, transform.f, crs_of.canonical(crs))
        return Regridded(upright.levels, grid, tuple(notices))
    grid = _target_grid(upright, crs, cell_m, source)
    if grid.rows * grid.cols > max_cells:
        raise InputError(too_many_cells(grid.shape, max_cells, source))
    dem, averaged = _resampled(upright, crs, grid)
    notices.append(_resampled_notice(upright, crs, grid, source, plain=plain, averaged=averaged))
    return Regridded(dem, grid, tuple(notices))


def _upright(mosaic: Mosaic) -> Mosaic:
    """Turn rows or columns that run the other way, which changes no level."""
    levels, transform = mosaic.levels, mosaic.transform
    if transform.b or transform.d:
        return mosaic
    rows, cols = levels.shape
    if transform.e > 0:
        levels, transform = levels[::-1], transform @ Affine(1, 0, 0, 0, -1, rows)
    if transform.a < 0:
        levels, transform = levels[:, ::-1], transform @ Affine(-1, 0, cols, 0, 1, 0)
    return replace(mosaic, levels=np.ascontiguousarray(levels), transform=transform)


def extent(mosaic: Mosaic) -> metric.Box:
    """Outer bounds of the cells in the mosaic's CRS."""
    rows, cols = mosaic.levels.shape
    corners = [mosaic.transform @ corner for corner in ((0, 0), (cols, 0), (0, rows), (cols, rows))]
    return metric.box_of([x for x, _ in corners], [y for _, y in corners])


def _keeps(own_m: float, wanted_m: float | None) -> bool:
    return wanted_m is None or abs(own_m - wanted_m) <= _SQUARE * own_m


def _target_grid(mosaic: Mosaic, crs: CRS, cell_m: float | None, source: str) -> Grid:
    """Lay the run's grid over the data, its lines at whole multiples of the cell.

    So two surveys of one site fall on the same cells.
    """
    west, south, east, north = _bounds_in(mosaic, crs, source)
    if cell_m is None:
        cell_m = _neat(_own_cell_m(mosaic, (west, south, east, north)))
    left, top = math.floor(west / cell_m), math.ceil(north / cell_m)
    cols = max(1, math.ceil(east / cell_m) - left)
    rows = max(1, top - math.floor(south / cell_m))
    return Grid(rows, cols, cell_m, left * cell_m, top * cell_m, crs_of.canonical(crs))


def _bounds_in(mosaic: Mosaic, crs: CRS, source: str) -> metric.Box:
    box = extent(mosaic)
    if not crs_of.same(mosaic.crs, crs):
        across = Transformer.from_crs(mosaic.crs, crs, always_xy=True)
        box = across.transform_bounds(*box, densify_pts=21)
    if not all(math.isfinite(edge) for edge in box):
        raise InputError.of(
            f"lies outside the map of {crs_of.title(crs)}",
            mend="check the file's coordinate reference system.",
            source=source,
        )
    return box


def _own_cell_m(mosaic: Mosaic, box: metric.Box) -> float:
    """Side of a square as large as one of the survey's cells on the run's map [m]."""
    rows, cols = mosaic.levels.shape
    plane = mosaic.crs.is_projected or crs_of.is_local(mosaic.crs)
    if plane and metric.scale_error(mosaic.crs, extent(mosaic)) < 0.02:
        return math.sqrt(abs(mosaic.transform.determinant))
    return math.sqrt((box[2] - box[0]) * (box[3] - box[1]) / (rows * cols))


def _neat(cell_m: float) -> float:
    """Round to two significant digits: 3.0847 m becomes 3.1 m."""
    return float(f"{cell_m:.2g}")


def _resampled(mosaic: Mosaic, crs: CRS, grid: Grid) -> tuple[Elevation, bool]:
    """Sample the levels on the run's grid; tell whether cells are averages of finer samples."""
    own_m = _own_cell_m(mosaic, grid.bounds)
    factor = math.ceil(grid.cell_m / own_m) if grid.cell_m > _COARSER * own_m else 1
    source = None if crs_of.same(mosaic.crs, crs) else (crs, mosaic.crs)
    dem = np.full(grid.shape, np.nan, dtype=np.float32)
    for top in range(0, grid.rows, _BLOCK_ROWS):
        rows = min(_BLOCK_ROWS, grid.rows - top)
        fine = grid.window(top, 0, rows, grid.cols).finer(factor)
        row, col = positions(fine, mosaic.transform, source)
        sampled = bilinear(mosaic.levels, row, col)
        dem[top : top + rows] = block_mean(sampled, factor)
    return dem, factor > 1


def _resampled_notice(
    mosaic: Mosaic,
    crs: CRS,
    grid: Grid,
    source: str,
    *,
    plain: bool,
    averaged: bool,
) -> Problem:
    transform = mosaic.transform
    if not crs_of.same(mosaic.crs, crs):
        why = ""
    elif transform.b or transform.d:
        why = "its grid is turned from north; "
    elif not plain:
        why = f"its cells are not square ({transform.a:.6g} × {-transform.e:.6g} m); "
    else:
        why = f"its cells of {transform.a:.6g} m are not those asked for; "
    how = "averaged" if averaged else "resampled bilinearly"
    return Problem(
        Severity.NOTICE, f"{why}levels were {how} to square cells of {grid.cell_m:g} m", "", source
    )
