"""What a design keeps to, whoever asks for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brimline.cascade import CascadeLimits, Free, Goals, Pace
    from brimline.design.cover import UsualGround
    from brimline.elements.building import Building

ROUTING_STEP_S = 60.0


@dataclass(frozen=True, slots=True)
class UsualWater:
    """What is taken for ground where the inputs say nothing, and how its runoff is timed.

    Parameters
    ----------
    ground : cover and soil that the inputs leave open.
    soak_mm_per_h : tested soakage rate [mm/h].
    soak_safety_factor : divides tested rates for design.
    infiltration : ``constant`` or ``Green-Ampt``.
    soil_saturation : how full the drainable pores are before a storm, for Green and Ampt.
    rain_2y_24h_mm : two-year rain of 24 h, for sheet flow [mm].
    concentration : ``segments`` (TR-55) or ``Kirpich``.
    roof_coefficient : share of the rain on a roof that runs off.
    """

    ground: UsualGround
    soak_mm_per_h: float
    soak_safety_factor: float
    infiltration: str
    soil_saturation: float
    rain_2y_24h_mm: float
    concentration: str
    roof_coefficient: float


@dataclass(frozen=True, slots=True)
class SizingRules:
    """What the design aid sizes for.

    Parameters
    ----------
    goals : None where none are set, so that nothing but outlets is sized.
    storm : name of the storm to size for; empty is the design storm.
    applied : build what was sized; False only lists it.
    free : dimensions to size, in place of those that were left empty.
    pond_depth_m, swale_depth_m, basin_depth_m, tank_volume_m3 : bounds of what was left empty.
    """

    goals: Goals | None
    storm: str
    applied: bool
    free: tuple[Free, ...]
    pond_depth_m: tuple[float, float]
    swale_depth_m: tuple[float, float]
    basin_depth_m: tuple[float, float]
    tank_volume_m3: tuple[float, float]


@dataclass(frozen=True, slots=True)
class DesignRules:
    """All that a design keeps to.

    Parameters
    ----------
    sill_head_m : head that empty sill widths are sized for [m].
    near_building_m : distance to a building within which held water is flagged [m].
    level_tolerance_m : departure from level above which a drawn swale is flagged [m].
    mended : findings that mends are looked for, the worst first.
    building : how banks are built.
    """

    water: UsualWater
    sizing: SizingRules
    sill_head_m: float
    near_building_m: float
    level_tolerance_m: float
    mended: int
    limits: CascadeLimits
    pace: Pace
    building: Building
