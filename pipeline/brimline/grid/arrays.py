"""Names for the arrays that pass between rooms, and the checks at their doors."""

from __future__ import annotations

from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from brimline.errors import GridError

Elevation: TypeAlias = NDArray[np.float32]  # (rows, cols) [m]; NaN is nodata
Directions: TypeAlias = NDArray[np.uint8]  # (rows, cols); codes of `grid.neighbours`
Accumulation: TypeAlias = NDArray[np.float64]  # (rows, cols); NaN is nodata
Labels: TypeAlias = NDArray[np.int32]  # (rows, cols); `LABEL_NONE` where there is none
BoolGrid: TypeAlias = NDArray[np.bool_]  # (rows, cols)

LABEL_NONE: Final = 0
_STEPS_M: Final = 2048.0  # in a metre; float32 holds each of them up to 8192 m


def checked_elevation(dem: NDArray[Any], name: str = "dem") -> Elevation:
    """Return `dem` as C-contiguous float32 with NaN for every non-finite cell, read-only.

    Copies only where it must; never writes to its argument.

    Raises
    ------
    GridError
        If `dem` is not a two-dimensional floating-point array or holds no finite cell.
    """
    if dem.ndim != 2 or not np.issubdtype(dem.dtype, np.floating):
        raise GridError(f"{name} must be a 2-D float array, got {dem.ndim}-D {dem.dtype}")
    surface = np.ascontiguousarray(dem, dtype=np.float32)
    with np.errstate(over="ignore", invalid="ignore"):
        if surface.size and np.isfinite(surface.sum()):  # then every cell is, without looking twice
            return read_only(surface)
    finite = np.isfinite(surface)
    if not finite.any():
        raise GridError(f"{name} {dem.shape} holds no finite cell")
    if finite.all():  # so high that their sum is not
        return read_only(surface)
    infinite = ~(finite | np.isnan(surface))
    if infinite.any():
        surface = np.where(infinite, np.float32(np.nan), surface)
    return read_only(surface)


def held_levels(level_m: NDArray[Any]) -> Elevation:
    """Round levels to the nearest 1/2048 m, the finest step that float32 holds up to 8192 m.

    The same ground a whole number of metres higher is then the same steps, so that its water runs
    and its errors are drawn alike; half a millimetre is finer than any survey.

    Parameters
    ----------
    level_m : float (any shape) [m]; NaN stays.
    """
    return (np.rint(level_m * _STEPS_M) / _STEPS_M).astype(np.float32)


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return a view that may not be written to.

    What goes into kernels is one kind of array then, whether it comes from a file or from another
    kernel: they are compiled once.
    """
    view = array.view()
    view.flags.writeable = False
    return view


def checked_same_shape(**arrays: NDArray[Any]) -> tuple[int, int]:
    """Return the common shape of two-dimensional arrays, named for the message.

    Raises
    ------
    GridError
        If an array is not two-dimensional or the shapes differ.
    """
    shapes = {name: array.shape for name, array in arrays.items()}
    if len(set(shapes.values())) != 1 or any(len(shape) != 2 for shape in shapes.values()):
        found = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise GridError(f"arrays must be 2-D and share one shape, got {found}")
    rows, cols = next(iter(shapes.values()))
    return int(rows), int(cols)
