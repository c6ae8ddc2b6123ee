"""The error that a surface shows by itself: noise from cell to cell, and rounded levels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation

_BLOCK: Final = 24  # cells; large enough for a median, small enough for calm ground between rough
_CALM_PCT: Final = 25.0
_CALM_OF_NOISE: Final = 0.950  # what the calm quarter of blocks of white noise 1 shows; measured
_NORMAL: Final = 0.6745  # median of the size of a normal number of standard deviation 1
_HELD_M: Final = 1.05 / 4096  # what `held_levels` may move a level by
_STEPS_M: Final = (10.0, 5.0, 2.0, 1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01)


@dataclass(frozen=True, slots=True)
class ShownNoise:
    """What a surface tells of its own error.

    Parameters
    ----------
    noise_m : standard deviation of what differs from cell to cell where the ground is calmest
        [m]. Error that stays alike over several cells does not show here: the survey's error may
        be larger, not smaller, unless even the calmest ground is rough at the size of a cell.
        NaN where no block of 24 cells is without gaps.
    step_m : the largest usual step that all levels are multiples of [m]; 0 where there is none.
    """

    noise_m: float
    step_m: float


def shown_noise(dem: Elevation) -> ShownNoise:
    """Estimate the noise of a surface from the surface alone.

    The mixed second difference over three by three cells is blind to planes, to curvature along
    rows and along columns, and to their twist; for white noise its standard deviation is six
    times the noise's. Blocks of 24 cells are measured by their medians, and the calm quarter
    speaks.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.

    References
    ----------
    Immerkær (1996), Fast noise variance estimation, doi:10.1006/cviu.1996.0060 (the kernel;
    citation from memory)
    """
    surface = checked_elevation(dem)
    return ShownNoise(noise_m=_noise_m(surface), step_m=_step_m(surface))


def _noise_m(surface: Elevation) -> float:
    if min(surface.shape) < _BLOCK + 2:
        return float("nan")
    level = surface.astype(np.float64)
    across = level[:, :-2] - 2.0 * level[:, 1:-1] + level[:, 2:]
    mixed = across[:-2] - 2.0 * across[1:-1] + across[2:]
    rows, cols = (side // _BLOCK for side in mixed.shape)
    blocks: NDArray[np.float64] = (
        np.abs(mixed[: rows * _BLOCK, : cols * _BLOCK])
        .reshape(rows, _BLOCK, cols, _BLOCK)
        .swapaxes(1, 2)
        .reshape(rows * cols, -1)
    )
    whole = blocks[~np.isnan(blocks).any(axis=1)]
    if whole.size == 0:
        return float("nan")
    shown = np.median(whole, axis=1) / (_NORMAL * 6.0)
    calm = _CALM_OF_NOISE if len(shown) > 3 else 1.0
    return float(np.percentile(shown, _CALM_PCT) / calm)


def _step_m(surface: Elevation) -> float:
    levels = surface[~np.isnan(surface)].astype(np.float64)
    # levels are held to 1/2048 m, and a number this large to its own spacing
    slack = max(_HELD_M, float(np.spacing(np.float32(np.abs(levels).max()))))
    for step_m in _STEPS_M:
        # so fine that any number of this size is a multiple: nothing can be told
        if step_m < 20.0 * slack:
            break
        if np.abs(levels - step_m * np.round(levels / step_m)).max() <= slack:
            return step_m
    return 0.0
