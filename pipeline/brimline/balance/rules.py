"""What a site's year rests on beside its ground, its weather and its planting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from brimline.balance.planting import Planting


@dataclass(frozen=True, slots=True)
class DailyUse:
    """Water drawn beside the planting [m³/d], in some months, from stores in order."""

    name: str
    m3_per_d: float
    months: tuple[int, ...] = tuple(range(1, 13))
    draws_on: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class YearRules:
    """Rules of watering, soaking and judging; what each means stands in `config.Year`.

    Parameters
    ----------
    plantings : the site's own types, which stand before those of `planting.PLANTINGS`.
    """

    coefficients: Literal["single", "dual"] = "single"
    wetted_share: float = 0.4
    usual_planting: str = "orchard, grassed floor"
    usual_texture: str = "loam"
    mulch_share: float = 0.0
    start_at: float = 1.0
    most_mm_per_d: float = 10.0
    irrigation_efficiency: float = 0.9
    draw_order: tuple[str, ...] = ()
    zone_order: tuple[str, ...] = ()
    mains_limit_m3_per_d: float | None = None
    pond_reserve_share: float = 0.1
    soak_reach_m: float = 5.0
    soak_share: float = 0.5
    goal_share: float = 0.9
    goal_by: Literal["volume", "days"] = "volume"
    tank_worth_m3_per_y: float = 2.0
    pond_worth_m3_per_y: float = 0.2
    drier_rain_pct: float = 20.0
    drier_et0_pct: float = 5.0
    uses: tuple[DailyUse, ...] = ()
    plantings: tuple[Planting, ...] = ()

    def worth_m3_per_y(self, kind: str) -> float:
        """Demand that a further m³ of a store must meet in a year."""
        return self.pond_worth_m3_per_y if kind == "pond" else self.tank_worth_m3_per_y
