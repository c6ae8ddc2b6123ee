"""Raised beds over a reservoir: a sealed trough of gravel beneath soil that draws the water up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.pipe import Orifice
from brimline.elements.soak import SEALED
from brimline.elements.storage import vertical

if TYPE_CHECKING:
    from shapely import Polygon

_RIM_M = 0.05  # of lining over the overflow


@dataclass(frozen=True, slots=True)
class RaisedBed:
    """A raised bed's dimensions. Its reservoir holds plan area x depth x pores of the gravel.

    Parameters
    ----------
    outline : polygon of its inner edge, in metres.
    base_level_m : level of its floor [m].
    reservoir_m : from the floor to the overflow's invert [m].
    soil_m : soil over the gravel [m].
    wall_m : height of its wall over the ground [m].
    void : pores over volume of the gravel, above 0 to 1.
    overflow_diameter_m : inside diameter of the overflow pipe [m].
    void_assumed : whether the pores were assumed, not measured; then it is said.

    Raises
    ------
    ValueError
        If a size is outside its range.
    """

    element_id: str
    outline: Polygon
    base_level_m: float
    reservoir_m: float
    soil_m: float
    wall_m: float
    void: float
    overflow_diameter_m: float
    start_share: float = 1.0
    void_assumed: bool = False

    def __post_init__(self) -> None:
        if not (self.reservoir_m > 0 and self.soil_m > 0 and 0 < self.void <= 1):
            raise ValueError(
                f"{self.element_id}: a bed needs a reservoir and soil above 0 m and pores above 0"
                f" to 1, got {self.reservoir_m} m, {self.soil_m} m and {self.void}"
            )
        if not 0 <= self.start_share <= 1:
            raise ValueError(f"{self.element_id}: start_share lies between 0 and 1")

    @property
    def spill_level_m(self) -> float:
        """Level of the overflow's invert [m]."""
        return self.base_level_m + self.reservoir_m

    @property
    def volume_m3(self) -> float:
        """Water that the reservoir holds [m³]."""
        return float(self.outline.area) * self.reservoir_m * self.void

    @property
    def gravel_m3(self) -> float:
        """Gravel of the reservoir [m³]."""
        return float(self.outline.area) * self.reservoir_m

    @property
    def soil_m3(self) -> float:
        """Soil over it [m³]."""
        return float(self.outline.area) * self.soil_m

    @property
    def lined_m2(self) -> float:
        """Sheet of floor and sides, up to a rim over the overflow [m²]."""
        rise_m = self.reservoir_m + _RIM_M
        return float(self.outline.area + self.outline.length * rise_m)

    @property
    def wall_m2(self) -> float:
        """Face of its wall [m²]."""
        return float(self.outline.length) * self.wall_m

    def overflow(self) -> Orifice:
        """Give its overflow pipe, short enough to count as an orifice."""
        return Orifice(self.spill_level_m, self.overflow_diameter_m)

    def element(self) -> Element:
        """Work out storage and levels; nothing soaks away, and soil keeps the sun off."""
        pores_m2 = float(self.outline.area) * self.void
        crest_m = self.spill_level_m + _RIM_M
        assumed = Caution("assumed", f"void ratio of the gravel taken as {self.void:g}")
        return Element(
            self.element_id,
            Kind.TANK,
            vertical(self.base_level_m, crest_m + self.soil_m, pores_m2),
            self.spill_level_m,
            crest_m,
            float(self.outline.length),
            0.0,
            float(self.outline.area),
            SEALED,
            self.base_level_m + self.start_share * self.reservoir_m
            if self.start_share > 0
            else -math.inf,
            empties=False,
            form="raised bed",
            cautions=(assumed,) if self.void_assumed else (),
            shape=self,
        )
