"""Dams: a bank across a valley, and the ground behind it that it floods."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from shapely import affinity

from brimline.elements.element import Element, Kind
from brimline.elements.soak import SEALED, Soak
from brimline.elements.storage import STAGES, FloatArray, StageTable

if TYPE_CHECKING:
    from shapely import LineString, Polygon

SPILLWAY_FALL: Final = 0.02  # of a spillway below its sill (common practice, no source)
_ABOVE_M: Final = 0.25  # over the crest, that the storage is told


@dataclass(frozen=True, eq=False)
class Dam:
    """A pond behind a bank across a valley; nothing is dug for its water.

    Parameters
    ----------
    bank : axis of the bank's crest; it spills round its last point, over ground as it lies.
    outline : of the water when full.
    bed_m : float64 (cells,), levels of the ground, and of the bank's water side, under the water
        as high as the crest [m].
    cell_m2 : area of each of them [m²].
    spill_level_m : level of its spillway, the waterline when full [m].
    toe_level_m : lowest ground under the bank [m].
    spillway : from the water past the bank's last point to ground below the spill level; its
        second corner is beside that point.
    spillway_m : width that it was laid for [m].
    crest_over_spill_m : settled crest over the spill level [m].
    top_m : width of the crest [m].
    upstream, downstream : batters of the bank, run per rise.
    freeboard_m : height that must stay dry below the crest [m].
    soak : seepage through the wetted area.
    start_share : share of the volume that is full before a storm.
    ground_slope_pct : slope of the ground under the bank [%].

    Raises
    ------
    ValueError
        If no ground lies below the spill level, or a size is out of range.
    """

    element_id: str
    bank: LineString
    outline: Polygon
    bed_m: FloatArray
    cell_m2: float
    spill_level_m: float
    toe_level_m: float
    spillway: LineString
    spillway_m: float = 3.0
    crest_over_spill_m: float = 0.6
    top_m: float = 3.0
    upstream: float = 3.0
    downstream: float = 2.0
    freeboard_m: float = 0.3
    soak: Soak = SEALED
    start_share: float = 1.0
    ground_slope_pct: float = 0.0

    def __post_init__(self) -> None:
        if not (self.bed_m < self.spill_level_m).any():
            raise ValueError(f"{self.element_id}: no ground lies below {self.spill_level_m} m")
        if not (self.crest_over_spill_m > 0 and min(self.top_m, self.upstream) >= 0):
            raise ValueError(
                f"{self.element_id}: the crest of a dam must stand above its spill level"
            )

    @property
    def crest_level_m(self) -> float:
        """Level of the settled crest [m]."""
        return self.spill_level_m + self.crest_over_spill_m

    @cached_property
    def stages(self) -> StageTable:
        """Storage and surface over the ground, from the lowest of it to above the crest."""
        floor_m, top_m = float(self.bed_m.min()), self.crest_level_m + _ABOVE_M
        steps = np.linspace(floor_m, top_m, STAGES)
        levels = np.unique(np.append(steps, [self.spill_level_m, self.crest_level_m]))
        levels = levels[np.concatenate([[True], np.diff(levels) > 1e-6])]
        depth = np.maximum(levels[:, None] - self.bed_m[None, :], 0.0)
        storage = self.cell_m2 * depth.sum(axis=1)
        area = self.cell_m2 * (depth > 0).sum(axis=1).astype(np.float64)
        return StageTable(levels, storage, area, area)

    @property
    def volume_m3(self) -> float:
        """Volume to the spill level [m³]."""
        return float(self.stages.storage_at(self.spill_level_m))

    def element(self) -> Element:
        """Work out storage and levels."""
        stages, start_m = self.stages, self.spill_level_m
        if self.start_share < 1:
            start_m = float(stages.level_at(max(self.start_share, 0.0) * self.volume_m3))
        return Element(
            self.element_id,
            Kind.POND,
            stages,
            self.spill_level_m,
            self.crest_level_m,
            float(self.bank.length),
            self.freeboard_m,
            float(self.outline.area),
            self.soak,
            start_m,
            empties=False,
            embankment_height_m=max(self.crest_level_m - self.toe_level_m, 0.0),
            held_above_ground_m3=float(stages.storage_at(self.crest_level_m)),
            ground_slope_pct=self.ground_slope_pct,
            form="dam",
            shape=self,
        )

    def spillway_for(self, width_m: float) -> LineString:
        """Return the axis of its spillway, moved out from the bank's end for a width."""
        along = np.asarray(self.bank.coords)[[0, -1], :2]
        chord = (along[1] - along[0]) / max(math.hypot(*(along[1] - along[0])), 1e-9)
        out = chord * max(width_m - self.spillway_m, 0.0) / 2
        return affinity.translate(self.spillway, float(out[0]), float(out[1]))
