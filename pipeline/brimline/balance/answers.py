"""How demand was met, day by day: per zone, per use and for the site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.simulate import SHORT_SHARE, STORE_COLUMNS, USE_COLUMNS, ZONE_COLUMNS, columns

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.periods import Period
    from brimline.balance.simulate import DailySeries
    from brimline.balance.system import System


@dataclass(frozen=True, slots=True)
class Met:
    """Demand over some days, and by what it was met; the five add up.

    Demand is what the planting would transpire and evaporate without stress, and what uses ask.
    """

    demand_m3: float
    rain_m3: float
    harvested_m3: float  # from stores: soaked in and reached by roots, or drawn
    mains_m3: float
    deficit_m3: float
    share_of_days: float  # days met (`simulate.SHORT_SHARE`) over days

    @property
    def share_without_mains(self) -> float:
        """Share of the demand met by rain and harvested water; 1 where nothing is asked."""
        if self.demand_m3 == 0:
            return 1.0
        return min((self.rain_m3 + self.harvested_m3) / self.demand_m3, 1.0)

    @property
    def need_m3(self) -> float:
        """What rain leaves to be met: by stores, by the mains, or by nothing [m³]."""
        return self.harvested_m3 + self.mains_m3 + self.deficit_m3

    @property
    def share_harvested(self) -> float:
        """Share of the need that stores meet; 1 where rain meets everything."""
        return self.harvested_m3 / self.need_m3 if self.need_m3 > 0 else 1.0


@dataclass(frozen=True, slots=True)
class DailyMet:
    """The parts of `Met` for every day: arrays (days,) [m³/d]."""

    demand: NDArray[np.float64]
    rain: NDArray[np.float64]
    harvested: NDArray[np.float64]
    mains: NDArray[np.float64]
    deficit: NDArray[np.float64]

    @property
    def days_met(self) -> NDArray[np.bool_]:
        """Days on which mains and deficit are at most `simulate.SHORT_SHARE` of the demand."""
        return np.asarray(self.mains + self.deficit <= SHORT_SHARE * self.demand)

    def over(self, period: Period) -> Met:
        """Add up a period; a mean over years where it is an average."""
        return Met(
            demand_m3=period.sum(self.demand),
            rain_m3=period.sum(self.rain),
            harvested_m3=period.sum(self.harvested),
            mains_m3=period.sum(self.mains),
            deficit_m3=period.sum(self.deficit),
            share_of_days=period.mean(self.days_met.astype(np.float64)),
        )


def together(parts: Sequence[DailyMet], days: int) -> DailyMet:
    """Add up how several zones and uses were met; nothing is asked where there are none."""
    zero = np.zeros(days)
    return DailyMet(
        demand=sum((part.demand for part in parts), zero),
        rain=sum((part.rain for part in parts), zero),
        harvested=sum((part.harvested for part in parts), zero),
        mains=sum((part.mains for part in parts), zero),
        deficit=sum((part.deficit for part in parts), zero),
    )


def zone_days(system: System, series: DailySeries, place: int) -> DailyMet:
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
    return DailyMet(
        demand=demand * cubic,
        rain=np.maximum(used - harvested - mains, 0) * cubic,
        harvested=harvested * cubic,
        mains=mains * cubic,
        deficit=deficit * cubic,
    )


def use_days(series: DailySeries, place: int) -> DailyMet:
    """How one use's demand was met, day by day; rain does not meet a use directly."""
    found = columns(series.uses[:, place], USE_COLUMNS)
    asked, harvested, mains = found["asked_m3"], found["harvested_m3"], found["mains_m3"]
    return DailyMet(
        demand=asked,
        rain=np.zeros_like(asked),
        harvested=harvested,
        mains=mains,
        deficit=np.maximum(asked - harvested - mains, 0),
    )


def site_days(system: System, series: DailySeries) -> DailyMet:
    """How the whole site's demand was met: all zones and uses together."""
    parts = [zone_days(system, series, place) for place in range(len(system.zones))]
    parts += [use_days(series, place) for place in range(len(system.uses))]
    return together(parts, system.days)


def mains_m3(system: System, series: DailySeries) -> NDArray[np.float64]:
    """Water drawn from the mains each day, irrigation losses included (days,) [m³/d]."""
    zones = columns(series.zones, ZONE_COLUMNS)["irrigation_mains_m3"].sum(axis=1)
    uses = columns(series.uses, USE_COLUMNS)["mains_m3"].sum(axis=1)
    total: NDArray[np.float64] = zones + uses + np.zeros(system.days)
    return total


def store_residual_m3(system: System, series: DailySeries, place: int) -> NDArray[np.float64]:
    """Return what a store's daily balance fails to close by (days,) [m³]; rounding only."""
    store = system.stores[place]
    found = columns(series.stores[:, place], STORE_COLUMNS)
    held = np.concatenate([[store.start_full * store.capacity_m3], found["held_m3"]])
    gains = found["runoff_in_m3"] + found["overflow_in_m3"] + found["brought_m3"]
    losses = _added(found, ("spilled_m3", "evaporated_m3", "soaked_m3", "drawn_m3"))
    residual: NDArray[np.float64] = np.diff(held) - gains + losses
    return residual


def zone_residual_mm(system: System, series: DailySeries, place: int) -> NDArray[np.float64]:
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


def residual_ratio(system: System, series: DailySeries) -> float:
    """Return the worst of all daily residuals over the throughput of its zone or store."""
    ratios = [0.0]
    for place, zone in enumerate(system.zones):
        through = float(system.rain_mm.sum()) + zone.available_mm
        ratios.append(float(np.abs(zone_residual_mm(system, series, place)).max()) / through)
    for place, store in enumerate(system.stores):
        taken = series.stores[:, place, [0, 1, STORE_COLUMNS.index("brought_m3")]].sum()
        through = float(taken) + store.start_full * store.capacity_m3
        if through > 0:
            ratios.append(float(np.abs(store_residual_m3(system, series, place)).max()) / through)
    return max(ratios)


def _added(found: Mapping[str, NDArray[np.float64]], names: tuple[str, ...]) -> NDArray[np.float64]:
    total: NDArray[np.float64] = np.sum([found[name] for name in names], axis=0)
    return total
