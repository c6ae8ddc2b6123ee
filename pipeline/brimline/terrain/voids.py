"""Small holes in the survey, spanned; large ones and the outside left as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.errors import GridError
from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_ROOK = ((0, 1), (1, 0), (0, -1), (-1, 0))


@dataclass(frozen=True, slots=True)
class Spanned:
    """A surface after its small holes were spanned."""

    surface: Elevation
    spanned_cells: int  # cells that were given a level
    holes: int  # holes that were spanned
    left_cells: int  # nodata cells inside the data that were left


def span_voids(dem: Elevation, *, cell_m: float, max_area_m2: float) -> Spanned:
    """Give levels to nodata holes up to an area, as a membrane over their rims.

    A hole is a rook-connected group of nodata cells that does not reach the raster's edge. The
    membrane (Laplace's equation) is exact on a plane and never passes above or below the rim.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    max_area_m2 : largest hole to span [m²]; 0 spans none.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell, or a number is out of range.
    """
    surface = checked_elevation(dem).copy()
    if not cell_m > 0 or max_area_m2 < 0:
        raise GridError(
            f"cell_m must be above 0 m, max_area_m2 not negative: {cell_m}, {max_area_m2}"
        )
    void = np.isnan(surface)
    labels, _ = ndimage.label(void)
    size = np.bincount(labels.ravel())
    size[0] = 0
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    size[np.unique(rim)] = 0  # outside the data rather than inside it
    small = (size > 0) & (size * cell_m**2 <= max_area_m2)
    holes = small[labels]
    if holes.any():
        surface[holes] = _membrane(surface, holes)
    return Spanned(
        surface=surface,
        spanned_cells=int(holes.sum()),
        holes=int(small.sum()),
        left_cells=int(size.sum() - size[small].sum()),
    )


def _membrane(surface: Elevation, holes: BoolGrid) -> NDArray[np.float32]:
    """Solve Laplace's equation on the hole cells with their rims held."""
    from scipy import sparse
    from scipy.sparse import linalg

    row, col = np.nonzero(holes)
    count = row.size
    number = np.full(surface.shape, -1, dtype=np.int64)
    number[row, col] = np.arange(count)
    held = np.zeros(count)
    pairs: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    for d_row, d_col in _ROOK:  # a hole never touches the raster's edge, so neighbours exist
        other = number[row + d_row, col + d_col]
        free = other >= 0
        pairs.append((np.flatnonzero(free), other[free]))
        held[~free] += surface[row + d_row, col + d_col][~free]
    i = np.concatenate([pair[0] for pair in pairs])
    j = np.concatenate([pair[1] for pair in pairs])
    system = sparse.csc_matrix((np.full(i.size, -1.0), (i, j)), shape=(count, count))
    system += sparse.diags(np.full(count, 4.0), format="csc")
    solved: NDArray[np.float64] = linalg.spsolve(system, held)
    return solved.astype(np.float32)
