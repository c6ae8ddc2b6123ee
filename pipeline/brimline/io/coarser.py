"""Coarser elevation outside a fine survey, read on the fine grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.errors import RasterioError
from rasterio.vrt import WarpedVRT

from brimline.errors import InputError, Problem, Severity
from brimline.grid import Grid, held_levels
from brimline.grid.tiles import Window
from brimline.io import metric
from brimline.io._raster_source import HIGHEST_M, LOWEST_M, Header, damaged
from brimline.io.formats import open_raster
from brimline.terrain.spread import middle_and_spread

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from brimline.grid import Elevation

_BLOCK: Final = 256  # cells a side of each place where the two are held against each other
_PLACES: Final = 48
_LEAST_CELLS: Final = 100


@dataclass(frozen=True, slots=True)
class Seam:
    """How coarser elevation differs from the fine where both have ground.

    Parameters
    ----------
    offset_m : median of coarser less fine; taken off, so that no step crosses the water's way.
    error_m : 1.4826 times the median absolute deviation around it.
    cells : how many were held against each other.
    """

    offset_m: float
    error_m: float
    cells: int


@dataclass(frozen=True, slots=True)
class Coarser:
    """Coarser files, with what the fine survey takes off them."""

    headers: tuple[Header, ...]
    seam: Seam = Seam(0.0, math.nan, 0)

    def read(self, grid: Grid) -> Elevation:
        """Read the levels at the cells of a grid, bilinear between the centres of coarser cells.

        Each fine cell counts once, so that areas are those of the ground.

        Raises
        ------
        InputError
            If a file is gone or damaged.
        """
        levels = np.full(grid.shape, np.nan, dtype=np.float32)
        for header in self.headers:
            found = _warped(header, grid)
            np.copyto(levels, found, where=np.isnan(levels))
        return held_levels(levels - np.float32(self.seam.offset_m))

    def versions(self) -> tuple[str, ...]:
        """Return what tells whether files are still the same."""
        told = [(header, header.path.stat()) for header in self.headers]
        return tuple(
            f"{header.path} {found.st_size} {found.st_mtime_ns} {header.unit.metres}"
            f" {self.seam.offset_m}"
            for header, found in told
        )

    def box(self, crs: str) -> metric.Box:
        """Bounds of all files in a reference system."""
        boxes = []
        for header in self.headers:
            ends = [header.transform @ at for at in ((0, 0), (header.cols, header.rows))]
            own = metric.box_of([x for x, _ in ends], [y for _, y in ends])
            across = Transformer.from_crs(header.crs, crs, always_xy=True)
            boxes.append(across.transform_bounds(*own, densify_pts=21))
        west, south, east, north = zip(*boxes, strict=True)
        return min(west), min(south), max(east), max(north)


def measured(
    coarser: Coarser, grid: Grid, blocks: Sequence[Window], read: Callable[[Window], Elevation]
) -> Seam:
    """Hold coarser elevation against the fine one.

    Parameters
    ----------
    blocks : where the fine files lie on `grid`.
    read : gives the fine levels of a block.

    Raises
    ------
    InputError
        If the two have too little ground in common.
    """
    step = max(1, len(blocks) // _PLACES)
    apart: list[Any] = []
    for at in blocks[::step]:
        rows, cols = min(at.rows, _BLOCK), min(at.cols, _BLOCK)
        middle = Window(at.row + (at.rows - rows) // 2, at.col + (at.cols - cols) // 2, rows, cols)
        both = coarser.read(grid.window(*middle)) - read(middle)
        apart.append(both[np.isfinite(both)])
    found = np.concatenate(apart)
    if found.size < _LEAST_CELLS:
        raise InputError.of(
            "has no ground in common with the finer elevation, so that how the two meet is not"
            " known",
            mend="take coarser elevation that overlaps the finer.",
            source=str(coarser.headers[0].path),
        )
    return Seam(*middle_and_spread(found), int(found.size))


def told(coarser: Coarser) -> Problem:
    """Say how well coarser elevation meets the fine one."""
    seam = coarser.seam
    return Problem(
        Severity.WARNING,
        f"was joined outside the finer elevation: it lay {seam.offset_m:+.2f} m off it, which was"
        f" taken off, and differs by {seam.error_m:.2f} m beside ({seam.cells} cells held against"
        " each other); divides and flow paths out there are that uncertain",
        "survey the ground above the site finer, where an area turns on it.",
        str(coarser.headers[0].path),
    )


def extended(grid: Grid, box: metric.Box) -> tuple[Grid, int, int]:
    """Return a grid that covers a box as well, and the rows and columns put before the old one."""
    west, south, east, north = grid.bounds
    up, left = (max(0, math.ceil(size / grid.cell_m)) for size in (box[3] - north, west - box[0]))
    down, right = (
        max(0, math.ceil(size / grid.cell_m)) for size in (south - box[1], box[2] - east)
    )
    wide = grid.window(-up, -left, grid.rows + up + down, grid.cols + left + right)
    return wide, up, left


def _warped(header: Header, grid: Grid) -> Elevation:
    try:
        with (
            open_raster(header.path) as file,
            WarpedVRT(
                file,
                src_crs=header.crs.to_wkt(),
                crs=grid.crs,
                transform=grid.transform,
                width=grid.cols,
                height=grid.rows,
                resampling=Resampling.bilinear,
                dtype="float32",
                nodata=np.nan,
            ) as vrt,
        ):
            raw = vrt.read(1)
            scale, offset = float(file.scales[0]), float(file.offsets[0])
    except RasterioError as fault:
        raise damaged(header.path, fault) from fault
    levels: Elevation = ((raw * scale + offset) * header.unit.metres).astype(np.float32)
    levels[~((levels >= LOWEST_M) & (levels <= HIGHEST_M))] = np.nan
    return levels
