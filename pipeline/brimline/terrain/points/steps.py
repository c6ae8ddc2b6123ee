"""Steps between flight lines, or files, that have points on the same ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from brimline.terrain.spread import middle_and_spread

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.grid import Grid

_ONE_IN: Final = 32  # cells that are looked at: enough to tell a median, whatever the cloud's size
_SPREAD: Final = np.uint64(0x9E3779B97F4A7C15)  # Fibonacci hashing: neighbours fall far apart
_LEAST_CELLS: Final = 20
# between swaths: USGS Lidar Base Specification 2.1, quality levels 1 and 2 (value from memory)
STEP_LIMIT_M: Final = 0.08
_LEAST_SCATTER_M: Final = 0.005  # of what is exactly alike; weights stay finite


class LevelStep(NamedTuple):
    """How one strip of points lies on another.

    Parameters
    ----------
    one, other : numbers of the strips.
    cells : cells in which both have points, of those looked at.
    step_m : median of the other less the one [m].
    scatter_m : 1.4826 times the median absolute deviation around it [m].
    """

    one: int
    other: int
    cells: int
    step_m: float
    scatter_m: float


class StepsBetween:
    """Levels of strips in a sample of cells, gathered piece by piece in little memory."""

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self._held: list[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]] = []

    def add(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        level_m: NDArray[np.float64],
        strip: NDArray[np.integer],
    ) -> None:
        """Gather points, float64 (points,) [m], and the strip of each; off the grid none counts."""
        row, col = self._grid.cell(x, y)
        cell = row * self._grid.cols + col
        looked_at = (cell.astype(np.uint64) * _SPREAD) >> np.uint64(40)
        chosen = self._grid.holds(row, col) & (looked_at % np.uint64(_ONE_IN) == 0)
        self._held.append((cell[chosen], strip[chosen].astype(np.int64), level_m[chosen]))

    def found(
        self, of: Callable[[NDArray[np.int64]], NDArray[np.int64]] = lambda strip: strip
    ) -> tuple[LevelStep, ...]:
        """Return the steps between all strips that share enough cells, the largest first.

        Parameters
        ----------
        of : the strips that are meant, where several of those gathered make one.
        """
        if not self._held:
            return ()
        cell, strip, level_m = (np.concatenate(part) for part in zip(*self._held, strict=True))
        strip = of(strip)
        order = np.lexsort((strip, cell))
        cell, strip, level_m = cell[order], strip[order], level_m[order]
        new = np.ones(cell.size, dtype=np.bool_)
        new[1:] = (cell[1:] != cell[:-1]) | (strip[1:] != strip[:-1])
        start = np.flatnonzero(new)
        if not start.size:
            return ()
        mean = np.add.reduceat(level_m, start) / np.diff(np.append(start, cell.size))
        cell, strip = cell[start], strip[start]
        pairs: dict[tuple[int, int], list[NDArray[np.float64]]] = {}
        for apart in range(1, 4):  # few cells lie under more than four strips
            same = np.flatnonzero(cell[apart:] == cell[:-apart])
            one, other = strip[same], strip[same + apart]
            step = mean[same + apart] - mean[same]
            for pair in np.unique(np.column_stack((one, other)), axis=0).tolist():
                here = (one == pair[0]) & (other == pair[1])
                pairs.setdefault((pair[0], pair[1]), []).append(step[here])
        steps = []
        for (one_id, other_id), parts in pairs.items():
            differences = np.concatenate(parts)
            if differences.size < _LEAST_CELLS:
                continue
            found = middle_and_spread(differences)
            steps.append(LevelStep(one_id, other_id, int(differences.size), *found))
        return tuple(sorted(steps, key=lambda step: -abs(step.step_m)))


def levelled(steps: Sequence[LevelStep], points: Mapping[int, int]) -> dict[int, float]:
    """Return what to add to each strip so that steps between strips vanish as far as they can.

    Least squares over all pairs, each weighed by its cells and its scatter, as levelling nets are
    adjusted; the mean level of the points of strips that hang together stays as it was.

    Parameters
    ----------
    steps : between strips.
    points : of each strip, how many.

    Returns
    -------
    by strip that has a step to another, the correction [m].
    """
    strips = sorted({number for step in steps for number in step[:2]})
    if not strips:
        return {}
    place = {number: at for at, number in enumerate(strips)}
    design, wanted = np.zeros((len(steps), len(strips))), np.zeros(len(steps))
    for at, step in enumerate(steps):
        weight = np.sqrt(step.cells) / max(step.scatter_m, _LEAST_SCATTER_M)
        design[at, place[step.one]], design[at, place[step.other]] = -weight, weight
        wanted[at] = -weight * step.step_m
    added = np.linalg.lstsq(design, wanted, rcond=None)[0]
    pairs = np.array([(place[step.one], place[step.other]) for step in steps])
    linked = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(strips), len(strips)))
    _, group = connected_components(linked, directed=False)
    weight = np.array([points[number] for number in strips], dtype=np.float64)
    mean = np.bincount(group, weight * added) / np.bincount(group, weight)
    return dict(zip(strips, (added - mean[group]).tolist(), strict=True))
