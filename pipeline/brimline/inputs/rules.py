"""Tables of the configuration, as what the domain rooms keep to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from brimline.cascade import CascadeLimits, Free, Goals, Pace
from brimline.choose.ponds.rules import BankRules
from brimline.choose.pricing import Prices
from brimline.config import USUAL_RAIN_2Y_24H_MM, AsBuilt, Hazard, Staking
from brimline.design import DesignRules, SizingRules, UsualGround, UsualWater
from brimline.design.banks import BankLimits
from brimline.elements.building import ITEMS, Building
from brimline.errors import Problem, Severity
from brimline.lines.keyline import Ploughing, Useful
from brimline.lines.staking import BuildLimits
from brimline.lines.staking.levelling import Instrument
from brimline.terrain.earthwork import Soil

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.config import Cultivation, Earthworks, Rates, Works
    from brimline.config.choosing import Ponds
    from brimline.config.works import FreeDimension
    from brimline.grid import Elevation, Grid


def usual_water(works: Works, rain_2y_24h_mm: float | None = None) -> UsualWater:
    """Return what is taken for ground where the inputs say nothing.

    Parameters
    ----------
    rain_2y_24h_mm : of the rainfall table; None where it does not tell.
    """
    return UsualWater(
        UsualGround(works.usual_cover, works.condition, works.usual_soil_group),
        works.usual_soak_mm_per_h,
        works.soak_safety_factor,
        works.infiltration,
        works.soil_saturation,
        works.rain_2y_24h_mm or rain_2y_24h_mm or USUAL_RAIN_2Y_24H_MM,
        works.concentration,
        works.roof_coefficient,
    )


def sheet_flow_told(works: Works, rain_2y_24h_mm: float | None) -> list[Problem]:
    """Say which rain sheet flow is reckoned with where nothing tells it."""
    if rain_2y_24h_mm is not None or works.rain_2y_24h_mm is not None:
        return []
    if works.concentration != "segments":
        return []
    return [
        Problem(
            Severity.NOTICE,
            "no two-year rain of 24 h is known for sheet flow;"
            f" {USUAL_RAIN_2Y_24H_MM:g} mm is taken",
            "give a rainfall table that reaches 24 h and 2 years, or set works.rain_2y_24h_mm",
            "works",
        )
    ]


def design_rules(
    works: Works,
    level_tolerance_m: float,
    rain_2y_24h_mm: float | None = None,
    building: Building = Building(),  # noqa: B008 - frozen
    hazard: Hazard = Hazard(),  # noqa: B008 - frozen
) -> DesignRules:
    """Return what a design keeps to, as the configuration has it.

    Parameters
    ----------
    rain_2y_24h_mm : of the rainfall table; None where it does not tell.
    """
    share, hours = works.goal_capture_share, works.goal_drawdown_h
    asked = share > 0 or hours is not None
    sizing = SizingRules(
        Goals(share, hours or math.inf) if asked else None,
        works.goal_storm,
        works.goal_applied,
        free_of(works.free),
        works.pond_depth_range_m,
        works.swale_depth_range_m,
        works.basin_depth_range_m,
        works.tank_volume_range_m3,
    )
    limits = CascadeLimits(
        min_drop_m=works.min_drop_m,
        drawdown_h=works.drawdown_h,
        engineer_height_m=works.engineer_height_m,
        engineer_volume_m3=works.engineer_volume_m3,
        steep_slope_pct=works.max_slope_pct,
        fence_depth_m=hazard.fence_depth_m,
        embankment_water_m=hazard.embankment_water_m,
    )
    return DesignRules(
        usual_water(works, rain_2y_24h_mm),
        sizing,
        works.sill_head_m,
        works.near_building_m,
        level_tolerance_m,
        works.mended,
        limits,
        Pace(after_h=works.after_h),
        building,
    )


def building_of(params: Earthworks) -> Building:
    """Return how banks and sills are built."""
    return Building(
        params.bank_top_m, params.bank_outer, params.settlement, returns_m=params.wing_m
    )


def soil_as_dug(params: Earthworks) -> Soil:
    """Return how soil swells and settles, and how much of it is topsoil."""
    return Soil(
        params.loose_per_bank, params.compacted_per_bank, params.topsoil_m, params.respread_m
    )


def free_of(dimensions: Sequence[FreeDimension]) -> tuple[Free, ...]:
    """Return what may be chosen, and within which bounds."""
    return tuple(
        Free(one.element, one.dimension, one.low, one.high, one.step) for one in dimensions
    )


def prices_of(rates: Rates) -> dict[str, float | None]:
    """Return the price of one unit of each item of the bill; None where it is not stated."""
    return {key: getattr(rates, item.rate_key(key)) for key, item in ITEMS.items()}


def dug_prices(dem: Elevation, grid: Grid, how: Earthworks, rates: Rates) -> Prices:
    """Return what an element costs that is dug by itself on the survey."""
    stated = {key: price for key, price in prices_of(rates).items() if price is not None}
    return Prices(
        dem, grid, building_of(how), how.batter_limit_m, soil_as_dug(how), stated,
        how.sill_stone_m, how.sill_apron_m,
    )  # fmt: skip


def build_limits(params: AsBuilt) -> BuildLimits:
    """Return what building must keep to."""
    return BuildLimits(
        params.sill_m, params.floor_m, params.crest_m, params.edge_m, params.storage_pct
    )


def instrument_of(params: Staking) -> Instrument | None:
    """Return the instrument as it is set up; None where no benchmark is given."""
    if params.benchmark_level_m is None:
        return None
    return Instrument(
        params.benchmark or "benchmark",
        params.benchmark_level_m,
        params.sight_above_m,
        params.rod_m,
    )


def bank_limits(hazard: Hazard) -> BankLimits:
    """Return the thresholds for water that is held above ground."""
    return BankLimits(
        hazard.engineer_height_volume_m4,
        hazard.embankment_water_m,
        hazard.danger_rating_m2_s,
        hazard.spread_m,
        hazard.follow_m,
    )


def ploughing_of(params: Cultivation, min_length_m: float) -> Ploughing:
    """Return how cultivation lines are drawn beside keylines."""
    return Ploughing(
        params.width_m,
        params.reach_m,
        params.turning_radius_m,
        min_length_m,
        Useful(most_fall_pct=params.most_fall_pct, shortest_m=params.shortest_m),
        params.guides_apart_m,
        params.guide_least_m,
        params.most_guides,
    )


def bank_rules(params: Ponds) -> BankRules:
    """Return the rules of the search for places of ponds."""
    return BankRules(
        depths_m=params.depths_m,
        over_m=params.freeboard_m,
        top_m=params.top_m,
        upstream=params.upstream_side,
        downstream=params.downstream_side,
        half_lengths_m=params.half_lengths_m,
        wing_m=params.wing_m,
        reach_m=params.reach_m,
        path_area_m2=params.path_area_m2,
        least_m3=params.least_m3,
        most=params.most,
    )
