"""How far water travels to its intake, and the longest way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import _kernels
from brimline.drainage.catchments.subcatchments import downstream_order
from brimline.drainage.flow.directions import checked_directions
from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.drainage.catchments.subcatchments import Subcatchments
    from brimline.grid import Directions


@dataclass(frozen=True, slots=True)
class LongestPaths:
    """The longest way of water to each intake, through intakes upstream.

    Parameters
    ----------
    length_m : float64 (intakes,) [m]
        Along the cells: 1 a side, sqrt(2) a corner; 0 where only the intake's cell drains to it.
    cells : for each intake, the linear indices of the way from its head to the intake, int64.
    """

    length_m: NDArray[np.float64]
    cells: tuple[NDArray[np.int64], ...]


def distance_to_intake(
    directions: Directions, catchments: Subcatchments, *, cell_m: float
) -> NDArray[np.float64]:
    """Measure the way of water from each cell to the first intake that it meets.

    Parameters
    ----------
    directions : uint8 (rows, cols); those that `catchments` came from.
    cell_m : side of a cell [m].

    Returns
    -------
    float64 (rows, cols) [m]
        Along the cells; NaN where no intake is met.

    Raises
    ------
    GridError
        If the shapes differ.
    """
    packed = _packed_steps(directions, catchments)
    distance = np.empty(packed.shape, dtype=np.float64)
    _kernels.unpack(packed, catchments.labels, cell_m, distance)
    return distance


def longest_paths(
    directions: Directions, catchments: Subcatchments, *, cell_m: float
) -> LongestPaths:
    """Find the longest way of water to each intake; of equally long ones the first head's.

    Parameters
    ----------
    directions : uint8 (rows, cols); those that `catchments` came from.
    cell_m : side of a cell [m].

    Raises
    ------
    GridError
        If the shapes differ.
    """
    packed = _packed_steps(directions, catchments)
    intakes = catchments.intake_cells
    found = np.full(intakes.size + 1, -1, dtype=np.int64)
    _kernels.farthest(catchments.labels, packed, found)
    heads = np.where(found[1:] >= 0, found[1:], intakes)  # none where another shares the cell
    steps = packed.ravel()[heads]
    for place in downstream_order(catchments.downstream_ids):
        down = int(catchments.downstream_ids[place]) - 1
        if down < 0:
            continue
        through = steps[place] + _steps_between(directions, packed, intakes[place], intakes[down])
        longer = _kernels.length(through) - _kernels.length(steps[down])
        if longer > 0 or (longer == 0 and heads[place] < heads[down]):
            steps[down], heads[down] = through, heads[place]
    codes = checked_directions(directions)
    return LongestPaths(
        length_m=np.array([cell_m * _kernels.length(count) for count in steps]),
        cells=tuple(
            _kernels.walk(codes, head, end) for head, end in zip(heads, intakes, strict=True)
        ),
    )


def _packed_steps(directions: Directions, catchments: Subcatchments) -> NDArray[np.int64]:
    """Count steps to the first intake, straight ones plus `DIAGONAL` times diagonal ones."""
    checked_same_shape(directions=directions, labels=catchments.labels)
    packed = np.full(directions.shape, -1, dtype=np.int64)
    packed.ravel()[catchments.intake_cells] = 0
    _kernels.pack_steps(checked_directions(directions), catchments.labels, packed)
    return packed


def _steps_between(
    directions: Directions, packed: NDArray[np.int64], upper: int, lower: int
) -> np.int64:
    """Packed steps from an intake to the next one down the slope."""
    if upper == lower:
        return np.int64(0)
    code = int(directions.ravel()[upper])
    receiver = _kernels.walk(checked_directions(directions), upper, lower)[1]
    return np.int64(packed.ravel()[receiver] + (_kernels.DIAGONAL if code & 1 else 1))
