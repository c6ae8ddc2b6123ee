"""Ponds: from a drawn outline, its sides and its depth to storage by level.

The outline is the waterline when full. Below it the sides run inwards; an edge shelf, where
there is one, runs gently out to its width before the ground drops. Areas come from offsetting
the outline inwards, volumes from the prismoidal formula between levels:

    V = (A + 4B + C)/6 × D     (USDA Agriculture Handbook 590, 1997; exact where the area is
                                quadratic in depth, as it is until the offset loses a corner)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.soak import SEALED, Soak
from brimline.elements.storage import FloatArray, StageTable
from brimline.units import FOOT_M

if TYPE_CHECKING:
    from shapely import Polygon

_STAGES: Final = 33
_SHELF_FALL: Final = 0.1  # an edge shelf falls at 1 in 10, so that no one stands in deep water
_MITRE_LIMIT: Final = 5.0


@dataclass(frozen=True)
class Pond:
    """A pond's dimensions.

    Parameters
    ----------
    outline : polygon of the waterline when full, in metres.
    spill_level_m : level of its sill, the waterline when full [m].
    depth_m : from the spill level down to the floor [m].
    side : batter of the sides, run per rise; 3 is usual on the water side (AH-590).
    shelf_width_m, shelf_depth_m : an edge shelf of that width which begins at that depth below
        the spill level and falls at 1 in 10; width 0 is none [m].
    freeboard_m : height that must stay dry below the crest; `freeboard_for_m` where None [m].
    crest_over_spill_m : settled crest over the spill level; the freeboard and a sill head of
        0.30 m where None [m].
    soak : seepage through the wetted area.
    holds_water : whether water is meant to stay after a storm.
    start_level_m : water level before the storm; by `start_share` where left out [m].
    start_share : share of the volume that is full before the storm, if it holds water.
    ground_levels_m : levels of the ground along the outline, for what a bank holds back [m].
    toe_level_m : lowest ground under its bank; NaN: the lowest of `ground_levels_m` [m].
    ground_slope_pct : slope of the ground that it stands on [%].
    lining : "sheet", "clay" or empty.
    sheet_m : width that the sheet comes in [m].
    sunken : dug into the ground without a bank; its crest is only how high water may stand.
    """

    element_id: str
    outline: Polygon
    spill_level_m: float
    depth_m: float = 2.0
    side: float = 3.0
    shelf_width_m: float = 0.0
    shelf_depth_m: float = 0.3
    freeboard_m: float | None = None
    crest_over_spill_m: float | None = None
    soak: Soak = SEALED
    holds_water: bool = True
    start_level_m: float | None = None
    start_share: float = 1.0
    ground_levels_m: tuple[float, ...] = ()
    toe_level_m: float = math.nan
    ground_slope_pct: float = 0.0
    lining: str = ""
    sheet_m: float = 6.0
    sunken: bool = False

    def __post_init__(self) -> None:
        if self.outline.geom_type != "Polygon" or not self.outline.is_valid or self._area() <= 0:
            raise ValueError(f"{self.element_id}: the outline must be a valid polygon with an area")
        if not (self.depth_m > 0 and self.side >= 0 and self.shelf_width_m >= 0):
            raise ValueError(
                f"{self.element_id}: a pond needs a depth above 0 m, got {self.depth_m} m, sides "
                f"of {self.side} to 1 and a shelf of {self.shelf_width_m} m"
            )

    def _area(self) -> float:
        return float(self.outline.area)

    @property
    def freeboard(self) -> float:
        """Freeboard, as given or by the pond's length [m]."""
        if self.freeboard_m is not None:
            return self.freeboard_m
        return freeboard_for_m(longest_side_m(self.outline))

    @property
    def crest_level_m(self) -> float:
        """Level of the settled crest [m]."""
        over = self.crest_over_spill_m
        return self.spill_level_m + (self.freeboard + 0.30 if over is None else over)

    def offset_m(self, below_m: float) -> float:
        """How far inside the waterline the side lies at a depth below it [m]."""
        if self.shelf_width_m <= 0 or below_m <= self.shelf_depth_m:
            return self.side * below_m
        shelf_fall_m = self.shelf_width_m * _SHELF_FALL
        on_shelf_m = min(below_m - self.shelf_depth_m, shelf_fall_m)
        deeper_m = max(below_m - self.shelf_depth_m - shelf_fall_m, 0.0)
        return self.side * (self.shelf_depth_m + deeper_m) + on_shelf_m / _SHELF_FALL

    def area_at_m2(self, below_m: float) -> float:
        """Area inside the sides at a depth below the spill level; above it where negative [m²]."""
        offset = self._in_m(below_m)
        if offset == 0:
            return self._area()
        inside = self.outline.buffer(-offset, join_style="mitre", mitre_limit=_MITRE_LIMIT)
        return float(inside.area)

    @cached_property
    def dug_depth_m(self) -> float:
        """Depth that the sides allow inside the outline, up to `depth_m` [m]."""
        if self.area_at_m2(self.depth_m) > 0:
            return self.depth_m
        low, high = 0.0, self.depth_m
        for _ in range(50):
            middle = 0.5 * (low + high)
            if self.area_at_m2(middle) > 0:
                low = middle
            else:
                high = middle
        return low

    @cached_property
    def stages(self) -> StageTable:
        """Storage, surface and soaking area from the floor to above the crest."""
        levels = self._levels()
        below = self.spill_level_m - levels
        areas = np.array([self.area_at_m2(float(depth)) for depth in below])
        middles = np.array([self.area_at_m2(float(d)) for d in (below[:-1] + below[1:]) / 2])
        slices = prismoid_volumes_m3(areas, middles, np.diff(levels))
        storage = np.concatenate([[0.0], np.cumsum(slices)])
        return StageTable(levels, storage, areas, areas)

    def _levels(self) -> FloatArray:
        floor_m = self.spill_level_m - self.dug_depth_m
        top_m = self.crest_level_m + 0.25
        marks = [floor_m, self.spill_level_m, self.crest_level_m, top_m]
        if self.shelf_width_m > 0:
            shelf_m = self.spill_level_m - self.shelf_depth_m
            marks += [shelf_m, shelf_m - self.shelf_width_m * _SHELF_FALL]
        steps = np.linspace(floor_m, top_m, _STAGES)
        levels = np.unique(np.concatenate([steps, [m for m in marks if floor_m <= m <= top_m]]))
        keep = np.concatenate([[True], np.diff(levels) > 1e-6])
        return np.asarray(levels[keep])

    @property
    def shelf_m2(self) -> float:
        """Planting area of the edge shelf, in plan [m²]."""
        if self.shelf_width_m <= 0:
            return 0.0
        foot_m = self.shelf_depth_m + self.shelf_width_m * _SHELF_FALL
        return self.area_at_m2(min(self.shelf_depth_m, self.dug_depth_m)) - self.area_at_m2(
            min(foot_m, self.dug_depth_m)
        )

    @property
    def lined_m2(self) -> float:
        """Surface of floor, shelf and sides up to the crest, along their slopes [m²]."""
        foot_m = self.shelf_depth_m + self.shelf_width_m * _SHELF_FALL
        marks = [self.spill_level_m - self.crest_level_m, self.shelf_depth_m, foot_m]
        depths = sorted({*(m for m in marks if m < self.dug_depth_m), self.dug_depth_m})
        total = self.area_at_m2(self.dug_depth_m)
        for upper, lower in pairwise(depths):
            fall_m = lower - upper
            run_m = self._in_m(lower) - self._in_m(upper)
            plan_m2 = self.area_at_m2(upper) - self.area_at_m2(lower)
            if run_m > 0:
                total += plan_m2 * math.hypot(1, fall_m / run_m)
            else:
                total += float(self.outline.length) * fall_m
        return total

    def _in_m(self, below_m: float) -> float:
        return self.side * below_m if below_m < 0 else self.offset_m(below_m)

    @property
    def volume_m3(self) -> float:
        """Volume to the spill level [m³]."""
        return float(self.stages.storage_at(self.spill_level_m))

    @property
    def embankment_height_m(self) -> float:
        """Crest over the lowest ground under its bank; 0 where no ground is given [m]."""
        if not self.ground_levels_m:
            return 0.0
        lowest_m = np.nanmin([*self.ground_levels_m, self.toe_level_m])
        return max(self.crest_level_m - float(lowest_m), 0.0)

    def level_after_m(
        self, days: float, *, evaporation_mm_per_day: float, seepage_mm_per_day: float
    ) -> float:
        """Level that a full pond falls to without rain [m]; not below the floor."""
        loss_m = days * (evaporation_mm_per_day + seepage_mm_per_day) / 1000
        return max(self.spill_level_m - loss_m, self.stages.floor_m)

    def element(self) -> Element:
        """Work out storage and levels."""
        stages = self.stages
        start_m = self.start_level_m
        if start_m is None:
            start_m = self._start_m(stages) if self.holds_water else -math.inf
        crest_ring = self.outline.buffer(self.side * (self.crest_level_m - self.spill_level_m))
        return Element(
            self.element_id,
            Kind.POND,
            stages,
            self.spill_level_m,
            self.crest_level_m,
            float(self.outline.length),
            self.freeboard,
            float(crest_ring.area),
            self.soak,
            start_m,
            empties=not self.holds_water,
            embankment_height_m=self.embankment_height_m,
            held_above_ground_m3=self._held_above_ground_m3(),
            ground_slope_pct=self.ground_slope_pct,
            form="pond",
            cautions=self._cautions(),
            shape=self,
        )

    def _start_m(self, stages: StageTable) -> float:
        if self.start_share >= 1:
            return self.spill_level_m
        return float(stages.level_at(max(self.start_share, 0.0) * self.volume_m3))

    def _held_above_ground_m3(self) -> float:
        """Volume to the crest above the lowest ground along it [m³]."""
        if not self.ground_levels_m:
            return 0.0
        ground_m = max(min(self.ground_levels_m), self.stages.floor_m)
        held = self.stages.storage_at(self.crest_level_m) - self.stages.storage_at(ground_m)
        return max(float(held), 0.0)

    def _cautions(self) -> tuple[Caution, ...]:
        if self.dug_depth_m >= self.depth_m:
            return ()
        text = (
            f"sides of {self.side:g} to 1 meet at {self.dug_depth_m:.2f} m, short of the asked "
            f"{self.depth_m:.2f} m"
        )
        return (Caution("shape-limit", text),)


def prismoid_volumes_m3(
    areas_m2: FloatArray, middles_m2: FloatArray, steps_m: FloatArray
) -> FloatArray:
    """Volumes between successive levels, from the areas at them and half-way between [m³]."""
    return np.asarray((areas_m2[:-1] + 4 * middles_m2 + areas_m2[1:]) / 6 * steps_m)


def longest_side_m(outline: Polygon) -> float:
    """Longest side of the smallest rectangle around an outline [m]."""
    corners = np.asarray(outline.minimum_rotated_rectangle.exterior.coords)
    return float(np.hypot(*np.diff(corners, axis=0).T).max())


def freeboard_for_m(length_m: float) -> float:
    """Least freeboard by the length of a pond [m].

    1 ft to 660 ft of length, 1.5 ft to 1320 ft, 2 ft beyond (USDA Agriculture Handbook 590,
    "Freeboard"; value from memory). Beyond half a mile the handbook asks for an engineer.
    """
    length_ft = length_m / FOOT_M
    if length_ft <= 660:
        return 1.0 * FOOT_M
    return 1.5 * FOOT_M if length_ft <= 1320 else 2.0 * FOOT_M
