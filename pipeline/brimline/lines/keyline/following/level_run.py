"""The stretch of one level line around a place, as plain points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.keyline.following import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid


@dataclass(frozen=True, slots=True, eq=False)
class LevelRun:
    """A level line with the higher ground on its right, measured from a place on it.

    Parameters
    ----------
    xy : float64 (n, 2); no two points that follow each other are the same [m].
    chainage_m : float64 (n,); length along it, 0 at the place and negative before it [m].
    """

    xy: NDArray[np.float64]
    chainage_m: NDArray[np.float64]

    def at(self, chainage_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the coordinates at chainages; float64 (n, 2)."""
        return np.column_stack(
            [np.interp(chainage_m, self.chainage_m, self.xy[:, k]) for k in (0, 1)]
        )

    def between(self, first_m: float, last_m: float) -> LevelRun:
        """Return the stretch between two chainages, both on the line."""
        inner = (self.chainage_m > first_m) & (self.chainage_m < last_m)
        ends = self.at(np.array([first_m, last_m]))
        return LevelRun(
            np.concatenate((ends[:1], self.xy[inner], ends[1:])),
            np.concatenate(([first_m], self.chainage_m[inner], [last_m])),
        )


def level_run(
    surface: Elevation,
    grid: Grid,
    point: tuple[float, float],
    level_m: float,
    *,
    reach_m: float,
    aside_m: float,
) -> LevelRun | None:
    """Follow the level line beside a point as far as it is wanted to either side.

    It is the line that `contours` traces; only the cells that it passes are looked at. A ring that
    comes round within the reach is opened opposite to the point.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata. Checked already.
    point : x, y [m].
    reach_m : length to either side; the line ends sooner where the data do [m].
    aside_m : how far from the point it may pass at most [m].

    Returns
    -------
    None where no line of this level passes so near.
    """
    row, col = (float(place) for place in grid.position(*point))
    square, row, col = _kernels.nearest(surface, level_m, row, col, aside_m / grid.cell_m)
    if square[0] < 0:
        return None
    reach = reach_m / grid.cell_m
    # as far as both reaches together: a ring that is longer has no need to be opened
    ahead, closed = _kernels.followed(surface, level_m, square, row, col, 1, 2 * reach)
    if closed:
        once = np.concatenate((ahead, ahead[:1]))
        twice = _run(np.concatenate((once[:-1], once)), len(ahead), grid)
        end_m = min(reach_m, 0.5 * float(twice.chainage_m[-1]))
        return twice.between(-end_m, end_m)
    behind, _ = _kernels.followed(surface, level_m, square, row, col, -1, reach)
    run = _run(np.concatenate((behind[:0:-1], ahead)), len(behind) - 1, grid)
    first_m, last_m = run.chainage_m[[0, -1]]
    return run.between(max(float(first_m), -reach_m), min(float(last_m), reach_m))


def _run(points: NDArray[np.float64], place: int, grid: Grid) -> LevelRun:
    """Measure points (row, col) from one of them, and leave out what repeats the one before."""
    steps = np.hypot(*np.diff(points, axis=0).T) * grid.cell_m
    along = np.concatenate(([0.0], np.cumsum(steps)))
    new = np.insert(steps > 0, 0, values=True)
    xy = np.column_stack(grid.xy(points[new, 0], points[new, 1]))
    return LevelRun(xy, along[new] - along[place])
