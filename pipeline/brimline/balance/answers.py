"""What the year's water comes to: per zone, store and site, by month and by year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.simulate import STORE_COLUMNS, USE_COLUMNS, ZONE_COLUMNS, columns

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.balance.simulate import Series
    from brimline.balance.system import System


@dataclass(frozen=True, slots=True)
class Met:
    """Demand over some days, and by what it was met; the five add up.

    Demand is what the planting would transpire and evaporate without stress, and what uses ask.
    """

    days: int
    demand_m3: float
    rain_m3: float
    harvested_m3: float  # from stores: soaked in and reached by roots, or drawn
    mains_m3: float
    deficit_m3: float
    days_met: int  # days without mains and without deficit

    @property
    def share_without_mains(self) -> float:
        """Share of the demand met by rain and harvested water; 1 where nothing is asked."""
        if self.demand_m3 == 0:
            return 1.0
        return (self.rain_m3 + self.harvested_m3) / self.demand_m3

    @property
    def share_of_days(self) -> float:
        """Share of days without mains and without deficit; 1 for no days."""
        return self.days_met / self.days if self.days else 1.0


@dataclass(frozen=True, slots=True)
class DailyMet:
    """The parts of `Met` for every day: arrays (days,) [m³/d], and whether the day was met."""

    demand: NDArray[np.float64]
    rain: NDArray[np.float64]
    harvested: NDArray[np.float64]
    mains: NDArray[np.float64]
    deficit: NDArray[np.float64]
    met: NDArray[np.bool_]

    def over(self, chosen: NDArray[np.bool_]) -> Met:
        """Add up the chosen days."""
        return Met(
            days=int(chosen.sum()),
            demand_m3=float(self.demand[chosen].sum()),
            rain_m3=float(self.rain[chosen].sum()),
            harvested_m3=float(self.harvested[chosen].sum()),
            mains_m3=float(self.mains[chosen].sum()),
            deficit_m3=float(self.deficit[chosen].sum()),
            days_met=int(self.met[chosen].sum()),
        )

    def by(self, groups: NDArray[np.int64]) -> dict[int, Met]:
        """Add up by group, such as the year or the month of every day."""
        return {int(group): self.over(groups == group) for group in np.unique(groups)}


def zone_days(system: System, series: Series, place: int) -> DailyMet:
    """How one zone's demand was met, day by day.

    Mains and harvested water count when roots take them, in proportion to what the soil holds of
    each; the rest of the soil's water is rain.
    """
    zone = system.zones[place]
    cubic = zone.area_m2 / 1000
    found = columns(series.zones[:, place], ZONE_COLUMNS)
    demand, used = found["demand_mm"], found["et_mm"]
    deficit = np.maximum(demand - used, 0)
    harvested, mains = found["et_harvested_mm"], found["et_mains_mm"]
    met = (found["irrigation_mains_m3"] == 0) & (deficit <= 1e-9 * demand)
    return DailyMet(
        demand=demand * cubic,
        rain=(used - harvested - mains) * cubic,
        harvested=harvested * cubic,
        mains=mains * cubic,
        deficit=deficit * cubic,
        met=met,
    )


def use_days(series: Series, place: int) -> DailyMet:
    """How one use's demand was met, day by day; rain does not meet a use directly."""
    found = columns(series.uses[:, place], USE_COLUMNS)
    asked, harvested, mains = found["asked_m3"], found["harvested_m3"], found["mains_m3"]
    return DailyMet(
        demand=asked,
        rain=np.zeros_like(asked),
        harvested=harvested,
        mains=mains,
        deficit=np.maximum(asked - harvested - mains, 0),
        met=harvested >= asked,
    )


def site_days(system: System, series: Series) -> DailyMet:
    """How the whole site's demand was met: all zones and uses together."""
    parts = [zone_days(system, series, place) for place in range(len(system.zones))]
    parts += [use_days(series, place) for place in range(len(system.uses))]
    zero = np.zeros(system.days)
    return DailyMet(
        demand=sum((part.demand for part in parts), zero),
        rain=sum((part.rain for part in parts), zero),
        harvested=sum((part.harvested for part in parts), zero),
        mains=sum((part.mains for part in parts), zero),
        deficit=sum((part.deficit for part in parts), zero),
        met=np.logical_and.reduce([np.ones(system.days, np.bool_), *(part.met for part in parts)]),
    )


def mains_m3(system: System, series: Series) -> NDArray[np.float64]:
    """Water drawn from the mains each day, irrigation losses included (days,) [m³/d]."""
    zones = columns(series.zones, ZONE_COLUMNS)["irrigation_mains_m3"].sum(axis=1)
    uses = columns(series.uses, USE_COLUMNS)["mains_m3"].sum(axis=1)
    total: NDArray[np.float64] = zones + uses + np.zeros(system.days)
    return total


def driest_year(rain_mm: NDArray[np.float64], years: NDArray[np.int64]) -> int:
    """Return the whole year with the least rain.

    Parameters
    ----------
    rain_mm : (days,) [mm/d].
    years : (days,) calendar year; years of fewer than 365 days are passed over.

    Raises
    ------
    ValueError
        If the record holds no whole year.
    """
    found, days = np.unique(years, return_counts=True)
    whole = found[days >= 365]
    if whole.size == 0:
        raise ValueError("the record holds no whole year")
    totals = [rain_mm[years == year].sum() for year in whole]
    return int(whole[int(np.argmin(totals))])


def store_residual_m3(system: System, series: Series, place: int) -> NDArray[np.float64]:
    """Return what a store's daily balance fails to close by (days,) [m³]; rounding only."""
    store = system.stores[place]
    found = columns(series.stores[:, place], STORE_COLUMNS)
    held = np.concatenate([[store.start_full * store.capacity_m3], found["held_m3"]])
    gains = found["runoff_in_m3"] + found["overflow_in_m3"]
    losses = _added(found, ("spilled_m3", "evaporated_m3", "soaked_m3", "drawn_m3"))
    residual: NDArray[np.float64] = np.diff(held) - gains + losses
    return residual


def zone_residual_mm(system: System, series: Series, place: int) -> NDArray[np.float64]:
    """Return what a zone's daily balance fails to close by (days,) [mm]; rounding only."""
    zone = system.zones[place]
    found = columns(series.zones[:, place], ZONE_COLUMNS)
    water = np.concatenate([[zone.start_full * zone.available_mm], found["soil_water_mm"]])
    given = _added(found, ("irrigation_harvested_m3", "irrigation_mains_m3"))
    gains = system.rain_mm - zone.runoff_mm + found["fed_mm"]
    gains = gains + given * zone.efficiency / zone.area_m2 * 1000
    losses = _added(found, ("et_mm", "drained_mm"))
    residual: NDArray[np.float64] = np.diff(water) - gains + losses
    return residual


def _added(found: Mapping[str, NDArray[np.float64]], names: tuple[str, ...]) -> NDArray[np.float64]:
    total: NDArray[np.float64] = np.sum([found[name] for name in names], axis=0)
    return total
