"""A surface as triangles that follow its cell centres to a stated error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.errors import GridError
from brimline.terrain.triangles import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Grid

_TIGHTER: Final = 0.7  # of the allowed error, where halvings on top of each other went past it
_ROUNDING_M: Final = 1e-9  # of the middle of two levels; no detail to keep
_TRIES: Final = 12


@dataclass(frozen=True, slots=True, eq=False)
class Triangles:
    """A surface of triangles.

    Parameters
    ----------
    x, y, z : float64 (points,), map coordinates and levels [m].
    faces : int32 (faces, 3), places in the three, counter-clockwise as seen from above.
    error_m : largest departure from a level of the grid [m].
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    faces: NDArray[np.int32]
    error_m: float


def triangulated(level_m: NDArray[np.floating], grid: Grid, error_m: float) -> Triangles:
    """Triangulate a surface with few triangles where it is even and small ones where it is not.

    Parameters
    ----------
    level_m : float (rows, cols) [m]; NaN is nodata, which no triangle touches.
    error_m : no level of the grid departs farther from the triangles; 0 keeps all that bends [m].

    Raises
    ------
    GridError
        If the array does not lie on the grid, no three cells make a triangle, or the error is
        negative.

    References
    ----------
    Evans, Kirkpatrick & Townsend (2001), Right-triangulated irregular networks, Algorithmica 30
    """
    if level_m.shape != grid.shape:
        raise GridError(f"level_m {level_m.shape} does not lie on the grid of shape {grid.shape}")
    if not error_m >= 0:
        raise GridError(f"error_m must be 0 m or more, got {error_m}")
    size = 1 << max(max(grid.shape) - 2, 0).bit_length()
    level = np.full((size + 1, size + 1), np.nan)
    level[: grid.rows, : grid.cols] = level_m
    allowed_m = limit = max(error_m, _ROUNDING_M)
    error = _kernels.errors(level)
    for _ in range(_TRIES):
        corners = _kernels.triangles(level, error, limit)
        found_m = float(_kernels.worst_miss(level, corners))
        if found_m <= allowed_m:
            break
        limit *= _TIGHTER
    if not len(corners):
        raise GridError("no three neighbouring cells of the surface make a triangle")
    places = corners.reshape(-1, 2).astype(np.int64)
    keys, faces = np.unique(places[:, 0] * (size + 1) + places[:, 1], return_inverse=True)
    row, col = np.divmod(keys, size + 1)
    x, y = grid.xy(row, col)
    return Triangles(x, y, level[row, col], faces.reshape(-1, 3).astype(np.int32), found_m)
