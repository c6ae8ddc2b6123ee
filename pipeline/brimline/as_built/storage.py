"""An element as it was really dug: its storage, floor and crest by what differs from the design."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.elements.storage import STAGES, StageTable

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.elements.drain import Drain
    from brimline.elements.element import Element

_THIN: Final = 1e-6  # of the area at the spill level: the least rise of storage with level
_FLOOR_M: Final = 0.02  # cells this near to the lowest are the floor
_LEAST_DEPTH_M: Final = 0.005  # an element silted to its sill still holds this much
_FLATTEST: Final = 1e-5  # fall of a drain whose floor does not fall any more


@dataclass(frozen=True, slots=True, eq=False)
class PoolCells:
    """The floor and sides of an element in cells, as designed and as built.

    Parameters
    ----------
    design_m, built_m : float64 (cells,), levels within its outline [m].
    cell_area_m2 : of each [m²].
    """

    design_m: NDArray[np.float64]
    built_m: NDArray[np.float64]
    cell_area_m2: float

    def more_m3(self, level_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Room as built less room as designed, below each level [m³]."""
        return self._room(self.built_m, level_m) - self._room(self.design_m, level_m)

    def more_m2(self, level_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Water surface as built less that as designed, at each level [m²]."""
        return self._surface(self.built_m, level_m) - self._surface(self.design_m, level_m)

    def built_m2(self, level_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Water surface as built at each level [m²]."""
        return self._surface(self.built_m, level_m)

    def floor_change_m(self) -> float:
        """How much higher the floor lies than designed [m].

        The lower quarter of the floor counts: water gathers in the lower part of one that was
        raised in places, and a survey's scatter does not dig it deeper.
        """
        floor = self.design_m <= self.design_m.min() + _FLOOR_M
        return float(np.quantile((self.built_m - self.design_m)[floor], 0.25))

    def _room(
        self, ground: NDArray[np.float64], level_m: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Sum of depths below each level, from levels in order: no cell is looked at twice."""
        order = np.sort(ground)
        below = np.searchsorted(order, level_m, side="left")
        total = np.concatenate([[0.0], np.cumsum(order)])
        return np.asarray((below * level_m - total[below]) * self.cell_area_m2, np.float64)

    def _surface(
        self, ground: NDArray[np.float64], level_m: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        below = np.searchsorted(np.sort(ground), level_m, side="left")
        return np.asarray(below * self.cell_area_m2, np.float64)


def stages_as_built(element: Element, ground: PoolCells, *, void: float = 1.0) -> StageTable:
    """Return storage by level, as designed and changed by what was built otherwise.

    The difference of two volumes measured in the same cells is added to the design's own table, so
    what cells cannot resolve of a steep side cancels out, and an element built as designed has the
    storage that it was designed with.

    Parameters
    ----------
    void : share of the room that water can take, for one that is filled with stone or mulch.
    """
    designed = element.stages
    floor = min(designed.floor_m + ground.floor_change_m(), element.spill_level_m - _LEAST_DEPTH_M)
    steps = np.linspace(floor, max(designed.top_m, floor + _LEAST_DEPTH_M), 2 * STAGES)
    own = designed.level_m[designed.level_m > floor]
    levels = np.unique(np.concatenate([steps, own, [element.spill_level_m]]))
    levels = levels[np.concatenate([[True], np.diff(levels) > 1e-6])]
    above = levels > designed.floor_m
    storage = np.asarray(designed.storage_at(levels)) + void * ground.more_m3(levels)
    more, wet = ground.more_m2(levels), ground.built_m2(levels)
    area = np.where(above, designed.area_at(levels), 0.0) + void * more
    soak = np.where(above, designed.soak_area_at(levels), 0.0) + more
    # near the floor the difference of two small areas is worth less than the area itself
    area = np.where(area < void * wet / 2, void * wet, area)
    soak = np.where(soak < wet / 2, wet, soak)
    storage = np.maximum.accumulate(np.maximum(storage, 0.0))
    storage[0] = 0.0
    thin = _THIN * max(float(designed.area_at(element.spill_level_m)), 1.0)
    storage += thin * (levels - levels[0])
    return StageTable(levels, storage, area, soak)


def element_as_built(
    element: Element,
    stages: StageTable,
    *,
    spill_level_m: float,
    crest_change_m: float = 0.0,
) -> Element:
    """Return an element with its levels and storage as built; its shape is no longer that drawn.

    Parameters
    ----------
    spill_level_m : of its lowest sill as built [m].
    crest_change_m : lowest place of its crest less the crest designed [m].
    """
    least = stages.floor_m + _LEAST_DEPTH_M / 2
    crest = max(element.crest_level_m + crest_change_m, least)
    spill = min(max(spill_level_m, least), crest)
    return replace(
        element, stages=stages, spill_level_m=spill, crest_level_m=crest, shape=None,
        freeboard_m=min(element.freeboard_m, max(crest - stages.floor_m, 0.0)),
    )  # fmt: skip


def drain_as_built(
    drain: Drain, chainage_m: NDArray[np.float64], change_m: NDArray[np.float64]
) -> Drain:
    """Return a drain whose bed follows the built levels as a straight grade.

    Parameters
    ----------
    chainage_m, change_m : float64 (n,), places along it from its upper end and what its bed is off
        there [m].
    """
    if chainage_m.size == 0:
        return drain
    if chainage_m.size == 1 or np.ptp(chainage_m) == 0:
        ends = np.full(2, float(change_m.mean()))
    else:
        slope, start = np.polyfit(chainage_m, change_m, 1)
        ends = np.array([start, start + slope * drain.length_m])
    upper, lower = drain.from_level_m + float(ends[0]), drain.to_level_m + float(ends[1])
    if not upper - lower > _FLATTEST * drain.length_m:
        lower = upper - _FLATTEST * drain.length_m
    return replace(drain, from_level_m=upper, to_level_m=lower)


def standing_water_m(
    chainage_m: NDArray[np.float64], level_m: NDArray[np.float64]
) -> tuple[float, float]:
    """Find the deepest water that a bed holds back between places, going down it.

    Parameters
    ----------
    chainage_m, level_m : float64 (n,), from the upper end [m].

    Returns
    -------
    depth [m], 0 where it falls all the way; and where along it is deepest [m].
    """
    if level_m.size < 2:
        return 0.0, math.nan
    order = np.argsort(chainage_m)
    bed = level_m[order]
    highest_ahead = np.maximum.accumulate(bed[::-1])[::-1]
    depth = highest_ahead - bed
    worst = int(np.argmax(depth))
    return float(depth[worst]), float(chainage_m[order][worst])
