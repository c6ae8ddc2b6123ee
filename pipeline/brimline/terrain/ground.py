"""Which of the lowest points are ground, where a survey does not say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_OUTLIER_M: Final = 3.0  # a point this far below all around it is a stray echo
_OUTLIER_CELLS: Final = 5
_GROWTH: Final = 1.25  # of the window from step to step, at least two cells


@dataclass(frozen=True, slots=True)
class GroundFilter:
    """How objects are told from ground.

    Parameters
    ----------
    slope_pct : bends of the ground up to twice this steep at a crest are kept.
    least_step_m : what stands this little above its surroundings is ground.
    largest_step_m : what stands this far above its surroundings never is.
    largest_window_m : the widest object that is taken off: the largest roof.
    """

    slope_pct: float = 30.0
    least_step_m: float = 0.3
    largest_step_m: float = 2.5
    largest_window_m: float = 30.0


def ground_cells(lowest: Elevation, *, cell_m: float, rule: GroundFilter | None = None) -> BoolGrid:
    """Tell in which cells the lowest point lies on the ground.

    A progressive morphological filter: the surface of lowest points is opened with windows that
    grow step by step; a cell that an opening lowers by more than the step's limit holds an
    object. The limit is the least step plus the slope times the growth of the window, and no
    more than the largest step.

    Parameters
    ----------
    lowest : float32 (rows, cols) [m]
        Lowest level in each cell; NaN where there is no point. Not modified.
    cell_m : side of a cell [m].

    Returns
    -------
    bool (rows, cols)
        False where there is no point.

    Raises
    ------
    GridError
        If `lowest` is not a 2-D float array with a finite cell.

    References
    ----------
    Zhang, K. et al. (2003), A progressive morphological filter for removing nonground
    measurements from airborne LIDAR data. IEEE TGRS 41(4), 872-882, equations 5 to 7
    (from memory).
    """
    surface = checked_elevation(lowest, "lowest")
    rule = rule or GroundFilter()
    known = np.isfinite(surface)
    filled = _nearest(surface, known)
    around = ndimage.median_filter(filled, size=_OUTLIER_CELLS, mode="nearest")
    stray = known & (filled < around - _OUTLIER_M)
    filled[stray] = around[stray]
    ground: BoolGrid = known & ~stray
    windows = _windows(rule.largest_window_m / cell_m)
    margin = windows[-1]
    inner = (slice(margin, -margin), slice(margin, -margin))
    # beyond the edge the ground goes on as it came, or a slope would end in a crest there
    wide = np.pad(around, margin, mode="reflect", reflect_type="odd")
    wide[inner] = filled
    before = 1
    for window in windows:
        opened = ndimage.grey_opening(wide, size=(window, window), mode="nearest")
        grown_m = (window - before) * cell_m
        limit_m = rule.least_step_m + rule.slope_pct / 100 * grown_m
        ground &= (wide - opened)[inner] <= min(limit_m, rule.largest_step_m)
        wide = opened
        before = window
    return ground


def _windows(largest: float) -> list[int]:
    """Odd window sizes in cells, up to the largest."""
    windows = [3]
    while True:
        window = max(windows[-1] + 2, int(windows[-1] * _GROWTH) // 2 * 2 + 1)
        if window > largest:
            return windows
        windows.append(window)


def _nearest(surface: Elevation, known: BoolGrid) -> NDArray[np.float32]:
    """Fill empty cells with the level of the nearest one that has one."""
    if known.all():
        return surface.copy()
    row, col = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    filled: NDArray[np.float32] = surface[row, col]
    return filled
