"""Tanks: what a roof sends them, the first flush that is led away, and the overflow pipe."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.pipe import Orifice
from brimline.elements.soak import SEALED
from brimline.elements.storage import FloatArray, vertical
from brimline.errors import GridError
from brimline.units import FOOT_M, US_GALLON_M3

# First flush of 10 gallons per 1000 ft² of roof, the low end of 10 to 20 (Texas Manual on
# Rainwater Harvesting, 2005; value from memory): 0.41 mm of rain.
FIRST_FLUSH_MM: Final = 10 * US_GALLON_M3 / (1000 * FOOT_M**2) * 1000


_SOIL_T_M3: Final = 1.6  # bulk density of loosely placed ground, over that of water
_DEEP_M: Final = 1.2  # a dig from which sides are battered or shored (common practice)
_WORK_M: Final = 0.3  # room to work round a tank in its pit (common practice, no source)


@dataclass(frozen=True, slots=True)
class Pit:
    """What a tank is buried in.

    Parameters
    ----------
    depth_m : from the ground to beneath the bedding [m].
    bedding_m : thickness of the bed beneath the tank [m].
    side : batter of its sides, run per rise.

    Raises
    ------
    ValueError
        If it is not dug, or a size is negative.
    """

    depth_m: float
    bedding_m: float
    side: float

    def __post_init__(self) -> None:
        if not (self.depth_m > self.bedding_m >= 0 and self.side >= 0):
            raise ValueError(
                f"a buried tank needs its floor below the ground: its pit is {self.depth_m:.2f} m"
                f" deep, {self.bedding_m} m of it bedding"
            )


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank's dimensions.

    Parameters
    ----------
    base_level_m : level of its floor [m].
    volume_m3 : volume to the overflow [m³].
    height_m : from the floor to the overflow's invert [m].
    overflow_diameter_m : inside diameter of the overflow pipe [m].
    rim_m : from the overflow's invert to the rim, from where it spills anyhow [m].
    start_share : share of the volume that is full before the storm; 1 is on the safe side.
    pit : of a buried tank; None stands it on the ground.
    """

    element_id: str
    base_level_m: float
    volume_m3: float
    height_m: float = 2.0
    overflow_diameter_m: float = 0.1
    rim_m: float = 0.3
    start_share: float = 1.0
    pit: Pit | None = None

    def __post_init__(self) -> None:
        if not (self.volume_m3 > 0 and self.height_m > 0 and self.rim_m > 0):
            raise ValueError(
                f"{self.element_id}: a tank needs a volume, a height and a rim above 0, got "
                f"{self.volume_m3} m³, {self.height_m} m and {self.rim_m} m"
            )
        if not 0 <= self.start_share <= 1:
            raise ValueError(
                f"{self.element_id}: the share full at the start lies between 0 and 1, got "
                f"{self.start_share}"
            )

    @property
    def plan_area_m2(self) -> float:
        """Area of its floor [m²]."""
        return self.volume_m3 / self.height_m

    @property
    def pit_side_m(self) -> float:
        """Side of the square bottom of its pit [m]."""
        return math.sqrt(self.plan_area_m2) + 2 * _WORK_M

    def _cautions(self) -> tuple[Caution, ...]:
        if self.pit is None:
            return ()
        found = [Caution("floats", self._floats())]
        if self.pit.depth_m > _DEEP_M:
            text = f"its pit is {self.pit.depth_m:.2f} m deep, with sides of {self.pit.side:g} to 1"
            found.append(Caution("deep-dig", text))
        return tuple(found)

    def _floats(self) -> str:
        """Say at which groundwater the empty tank would float, were it and its lid weightless."""
        if self.pit is None:
            return ""
        buried_m = self.pit.depth_m - self.pit.bedding_m
        cover_m = max(buried_m - self.height_m - self.rim_m, 0.0)
        wet_m = cover_m * _SOIL_T_M3
        return (
            f"empty, it floats once groundwater stands {wet_m:.2f} m over its floor: the ground on"
            f" its lid, {cover_m:.2f} m, is all that was counted as weight"
        )

    @property
    def spill_level_m(self) -> float:
        """Level of the overflow's invert [m]."""
        return self.base_level_m + self.height_m

    def overflow(self) -> Orifice:
        """Give its overflow pipe, short enough to count as an orifice."""
        return Orifice(self.spill_level_m, self.overflow_diameter_m)

    def element(self) -> Element:
        """Work out storage and levels; nothing soaks away."""
        crest_m = self.spill_level_m + self.rim_m
        side_m = self.plan_area_m2**0.5
        return Element(
            self.element_id,
            Kind.TANK,
            vertical(self.base_level_m, crest_m + 0.25, self.plan_area_m2),
            self.spill_level_m,
            crest_m,
            4 * side_m,
            0.0,
            self.plan_area_m2,
            SEALED,
            self.base_level_m + self.start_share * self.height_m,
            empties=False,
            form="tank" if self.pit is None else "buried tank",
            cautions=self._cautions(),
            shape=self,
        )


def after_first_flush(edges_s: FloatArray, mean_m3_s: FloatArray, flush_m3: float) -> FloatArray:
    """Take the first flush off a roof's runoff.

    Parameters
    ----------
    edges_s : float64 (steps + 1,), strictly rising [s].
    mean_m3_s : float64 (steps,), mean runoff of each step [m³/s].
    flush_m3 : volume led away before the tank gets any [m³].

    Returns
    -------
    float64 (steps,)
        Mean inflow of each step; its volume is that of the runoff less the flush, or nothing.

    Raises
    ------
    GridError
        If the arrays do not fit together.
    """
    edges, mean = np.asarray(edges_s, np.float64), np.asarray(mean_m3_s, np.float64)
    if edges.ndim != 1 or edges.size != mean.size + 1 or not (np.diff(edges) > 0).all():
        raise GridError(f"{mean.size} steps need {mean.size + 1} rising edges, got {edges.shape}")
    gone = np.concatenate([[0.0], np.cumsum(mean * np.diff(edges))])
    return np.asarray(np.diff(np.maximum(gone - flush_m3, 0.0)) / np.diff(edges))


def flush_m3(roof_m2: float, flush_mm: float = FIRST_FLUSH_MM) -> float:
    """First flush of a roof: 1 mm on 1 m² is 1 litre [m³]."""
    return roof_m2 * flush_mm / 1000
