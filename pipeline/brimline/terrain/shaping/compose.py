"""Many shapes on one ground: which of them decides at each point.

First pads, in the order given: they are the ground for all else. Then everything that is heaped up,
the highest deciding. Then everything that is dug, the deepest deciding: a ditch goes through
another element's mound where they meet, but not through its own (that its mound stands on the
prolonged batter of its ditch is no meeting), unless the shape is made to, as a sill is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.grid import LABEL_NONE
from brimline.terrain.shaping.areas import Pad

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.terrain.shaping.shapes import GroundShape

_A_HAIR_M: Final = 1e-9  # what differs by less is the same level


@dataclass(frozen=True, slots=True, eq=False)
class Composed:
    """What the shapes make of the ground at points.

    Parameters
    ----------
    level_m : float64 (points,), the designed surface [m].
    dug_by, heaped_by : int32 (points,), element that decided where the surface lies below, or
        above, the ground: 1 for the first of `elements`; 0 where it does not.
    """

    level_m: NDArray[np.float64]
    dug_by: NDArray[np.int32]
    heaped_by: NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A shape and how far from its core it has a say.

    Parameters
    ----------
    label : number of its element, from 1.
    """

    shape: GroundShape
    label: int
    reach_m: float


def elements_of(shapes: Sequence[GroundShape]) -> tuple[str, ...]:
    """Return the elements that shapes belong to, each once, in the order of first mention."""
    return tuple(dict.fromkeys(shape.element_id for shape in shapes))


def composed(
    placed: Sequence[Placed],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    ground_m: NDArray[np.float64],
    *,
    built: bool = False,
) -> Composed:
    """Work out the designed surface at points.

    Parameters
    ----------
    x, y, ground_m : float64 (points,) [m]; NaN ground stays NaN.
    built : True adds what heaps will settle by: the surface on the day that it is finished.
    """
    owners = _Owners(ground_m)
    base = ground_m
    for one in placed:
        if isinstance(one.shape, Pad):
            levels = one.shape.levels(x, y, one.reach_m)
            base = owners.set(base, np.fmin(np.fmax(base, levels.heaped), levels.dug), one.label)
    base = np.where(np.isnan(ground_m), np.nan, base)  # a pad brings no ground where there is none
    owners.heap[:] = LABEL_NONE  # pads are ground
    level, digs = base, []
    for one in placed:
        if isinstance(one.shape, Pad):
            continue
        levels = one.shape.levels(x, y, one.reach_m)
        digs.append((one, levels.dug))
        height = levels.heaped - base
        if built and one.shape.settlement:
            height = np.where(height > 0, height * (1 + one.shape.settlement), height)
        level = owners.set(level, np.fmax(level, base + height), one.label)
    for one, dug in digs:
        may = (dug < base) | (owners.heap != one.label) | one.shape.through
        level = owners.set(level, np.where(may, np.fmin(level, dug), level), one.label)
    level = np.where(np.isnan(ground_m), np.nan, level)
    return Composed(
        level,
        np.where(level < ground_m - _A_HAIR_M, owners.lowered, LABEL_NONE).astype(np.int32),
        np.where(level > ground_m + _A_HAIR_M, owners.raised, LABEL_NONE).astype(np.int32),
    )


class _Owners:
    """Who lowered and who raised each point last, and whose heap lies there."""

    def __init__(self, ground_m: NDArray[np.float64]) -> None:
        self.lowered, self.raised, self.heap = (
            np.full(ground_m.shape, LABEL_NONE, dtype=np.int32) for _ in range(3)
        )

    def set(
        self, before: NDArray[np.float64], after: NDArray[np.float64], label: int
    ) -> NDArray[np.float64]:
        """Note who changed what; return the surface after it."""
        self.lowered[after < before - _A_HAIR_M] = label
        up = after > before + _A_HAIR_M
        self.raised[up] = label
        self.heap[up] = label
        return after
