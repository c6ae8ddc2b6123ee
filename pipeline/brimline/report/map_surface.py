"""The surface that the map page reads levels and sections from, packed small."""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Grid

MOST_CELLS: Final = 1_000_000
_STEP_M: Final = 0.01  # levels are kept to this
_NO_LEVEL: Final = 65_535


@dataclass(frozen=True, slots=True)
class MapSurface:
    """The surface as the page carries it.

    Parameters
    ----------
    levels : uint16 (rows, cols); level = low_m + step_m × value; 65535 is nodata.
    thinned : every how many cells of the survey one is kept, each way.
    worst_m : largest departure of the page's surface from the survey's, at cell centres [m].
    """

    levels: NDArray[np.uint16]
    grid: Grid
    low_m: float
    step_m: float
    thinned: int
    worst_m: float


def quantised(dem: NDArray[np.float32], grid: Grid) -> MapSurface:
    """Return the surface in whole steps of a centimetre, on every so many cells.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    """
    thin = max(1, int(np.ceil(np.sqrt(dem.size / MOST_CELLS))))
    offset = (thin - 1) // 2
    kept = dem[offset::thin, offset::thin].astype(np.float64)
    known = np.isfinite(kept)
    low_m = float(np.floor(kept[known].min())) if known.any() else 0.0
    high_m = float(kept[known].max()) if known.any() else 0.0
    step_m = max(_STEP_M, (high_m - low_m) / (_NO_LEVEL - 1))
    levels = np.full(kept.shape, _NO_LEVEL, dtype=np.uint16)
    levels[known] = np.round((kept[known] - low_m) / step_m).astype(np.uint16)
    x, y = grid.xy(offset, offset)
    cell_m = grid.cell_m * thin
    coarse = type(grid)(
        kept.shape[0], kept.shape[1], cell_m, float(x) - cell_m / 2, float(y) + cell_m / 2, grid.crs
    )
    surface = MapSurface(levels, coarse, low_m, step_m, thin, 0.0)
    return replace(surface, worst_m=_worst(dem, grid, surface))


def level_at(surface: MapSurface, x: NDArray[Any], y: NDArray[Any]) -> NDArray[np.float64]:
    """Return levels between cell centres as the page interpolates them (bilinear); NaN is none."""
    return _between(_levels_m(surface), surface.grid, x, y)


def _levels_m(surface: MapSurface) -> NDArray[np.float64]:
    raw = surface.levels
    levels = surface.low_m + surface.step_m * raw.astype(np.float64)
    return np.where(raw == _NO_LEVEL, np.nan, levels)


def _between(
    z: NDArray[np.float64], grid: Grid, x: NDArray[Any], y: NDArray[Any]
) -> NDArray[np.float64]:
    row, col = grid.position(x, y)
    row, col = np.clip(row, 0, grid.rows - 1), np.clip(col, 0, grid.cols - 1)
    r = np.minimum(row.astype(np.int64), max(grid.rows - 2, 0))
    c = np.minimum(col.astype(np.int64), max(grid.cols - 2, 0))
    r1, c1 = np.minimum(r + 1, grid.rows - 1), np.minimum(c + 1, grid.cols - 1)
    v, u = row - r, col - c
    upper = z[r, c] * (1 - u) + z[r, c1] * u
    lower = z[r1, c] * (1 - u) + z[r1, c1] * u
    level: NDArray[np.float64] = upper * (1 - v) + lower * v
    return level


def _worst(dem: NDArray[np.float32], grid: Grid, surface: MapSurface) -> float:
    if surface.thinned == 1:
        return surface.step_m / 2
    z, worst = _levels_m(surface), 0.0
    for row in range(grid.rows):
        x, y = grid.xy(np.full(grid.cols, row), np.arange(grid.cols))
        off = np.abs(_between(z, surface.grid, x, y) - dem[row])
        worst = max(worst, float(np.nan_to_num(off, nan=0.0).max()))
    return worst


def packed(surface: MapSurface, origin: tuple[float, float]) -> dict[str, Any]:
    """Return the surface as plain values, from an origin on the map.

    Levels are packed as differences along each row, deflated: neighbours differ
    little.
    """
    levels = surface.levels
    change = np.diff(levels, axis=1, prepend=np.uint16(0))  # wraps, and the page wraps back
    planes = np.stack([change & 0xFF, change >> 8]).astype(np.uint8)
    grid = surface.grid
    return {
        "rows": grid.rows,
        "cols": grid.cols,
        "cell": grid.cell_m,
        "west": grid.west_m - origin[0],
        "north": grid.north_m - origin[1],
        "low": surface.low_m,
        "step": surface.step_m,
        "none": _NO_LEVEL,
        "thinned": surface.thinned,
        "worst": surface.worst_m,
        "data": base64.b64encode(zlib.compress(planes.tobytes(), 6)).decode(),
    }
