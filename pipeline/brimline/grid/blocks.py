"""Coarser cells of a grid, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray


def block_means(ground: NDArray[np.floating], factor: int) -> NDArray[np.float32]:
    """Return means of square blocks of so many cells a side, NaN where a block holds none."""
    rows, cols = (-(-size // factor) * factor for size in ground.shape)
    padded = np.full((rows, cols), np.nan, dtype=np.float32)
    padded[: ground.shape[0], : ground.shape[1]] = ground
    blocks = padded.reshape(rows // factor, factor, cols // factor, factor)
    known = np.isfinite(blocks).sum(axis=(1, 3))
    total = np.nansum(blocks, axis=(1, 3), dtype=np.float64)
    with np.errstate(invalid="ignore"):
        return np.where(known, total / np.maximum(known, 1), np.nan).astype(np.float32)


def refined(
    coarse: NDArray[np.float32], factor: int, shape: tuple[int, int]
) -> NDArray[np.float32]:
    """Bring values of blocks back to cells, straight between their middles.

    Beyond the known blocks the nearest one counts.
    """
    known = np.isfinite(coarse)
    if not known.all():  # the nearest known value stands in beyond the data
        nearest = ndimage.distance_transform_edt(
            ~known, return_distances=False, return_indices=True
        )
        coarse = coarse[tuple(nearest)]
    row, col = (
        np.clip((np.arange(size) + 0.5) / factor - 0.5, 0, top - 1)
        for size, top in zip(shape, coarse.shape, strict=True)
    )
    lower = np.minimum(row.astype(np.int64), max(coarse.shape[0] - 2, 0))
    upper = np.minimum(lower + 1, coarse.shape[0] - 1)
    left = np.minimum(col.astype(np.int64), max(coarse.shape[1] - 2, 0))
    right = np.minimum(left + 1, coarse.shape[1] - 1)
    down, across = (row - lower)[:, None], (col - left)[None, :]
    by_row = coarse[lower] * (1 - down) + coarse[upper] * down
    fine: NDArray[np.float32] = (by_row[:, left] * (1 - across) + by_row[:, right] * across).astype(
        np.float32
    )
    return fine
