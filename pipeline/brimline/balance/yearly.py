"""A site's year that was run: how zones, stores and the whole fare by year and by month."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from brimline.balance.answers import (
    mains_m3,
    residual_ratio,
    site_days,
    together,
    use_days,
    zone_days,
)
from brimline.balance.periods import least, means, sums
from brimline.balance.simulate import STORE_COLUMNS, ZONE_COLUMNS, columns, simulate, warmed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.answers import DailyMet
    from brimline.balance.cases import Variant
    from brimline.balance.periods import Calendar, Period
    from brimline.balance.simulate import DailySeries
    from brimline.balance.system import System

Days: TypeAlias = "Mapping[str, NDArray[np.float64]]"
# a value a row under each name of a column
Columns: TypeAlias = "dict[str, Sequence[object] | NDArray[np.float64]]"

_MET: Final = ("demand_m3", "rain_m3", "harvested_m3", "mains_m3", "deficit_m3")
_EMPTY_M3: Final = 1e-6


@dataclass(frozen=True)
class YearRun:
    """A system that was run, every day kept.

    Parameters
    ----------
    bare_mains_m3 : (days,) what the mains would give the same planting without any store [m³/d].
    """

    system: System
    series: DailySeries
    calendar: Calendar
    bare_mains_m3: NDArray[np.float64]

    @classmethod
    def of(cls, system: System, calendar: Calendar) -> YearRun:
        """Run a system, and the same planting without stores."""
        bare = warmed(system.without_stores())
        return cls(system, simulate(system), calendar, mains_m3(bare, simulate(bare)))

    @cached_property
    def by_zone(self) -> tuple[DailyMet, ...]:
        """How each zone's demand was met."""
        return tuple(zone_days(self.system, self.series, i) for i in range(len(self.system.zones)))

    @cached_property
    def by_use(self) -> tuple[DailyMet, ...]:
        """How each use's demand was met."""
        return tuple(use_days(self.series, place) for place in range(len(self.system.uses)))

    @cached_property
    def site(self) -> DailyMet:
        """How the demand of all zones and uses was met."""
        return site_days(self.system, self.series)

    @cached_property
    def watered(self) -> DailyMet:
        """How the demand of irrigated zones and of uses was met."""
        zones = zip(self.system.zones, self.by_zone, strict=True)
        parts = [*(met for zone, met in zones if zone.irrigated), *self.by_use]
        return together(parts, self.system.days)

    @cached_property
    def rain_fed(self) -> DailyMet:
        """How the demand of zones that nobody waters was met: by rain, and by soakage of stores."""
        zones = zip(self.system.zones, self.by_zone, strict=True)
        return together([met for zone, met in zones if not zone.irrigated], self.system.days)

    @cached_property
    def worst(self) -> Period | None:
        """The whole year in which the least share of the planting's demand is met without mains.

        Of the uses' demand, where nothing is planted. None where the record has no whole year.
        """
        planting = together(self.by_zone or self.by_use, self.system.days)
        whole = (period for period in self.calendar.years if period.whole)
        return min(whole, key=lambda one: planting.over(one).share_without_mains, default=None)

    @property
    def by_year(self) -> tuple[Period, ...]:
        """Every year, then the average year."""
        return (*self.calendar.years, self.calendar.average)

    @property
    def by_month(self) -> tuple[Period, ...]:
        """Months of the average year, then of the worst."""
        months = self.calendar.months
        return (*months(self.calendar.average), *(months(self.worst) if self.worst else ()))

    @cached_property
    def residual_ratio(self) -> float:
        """The worst of all daily residuals over the throughput of its zone or store."""
        return residual_ratio(self.system, self.series)

    def tables(self) -> dict[str, Columns]:
        """Return the tables by year and by month of zones, stores and the site."""
        found: dict[str, Columns] = {}
        for ending, periods in (("years", self.by_year), ("months", self.by_month)):
            found[f"zone_{ending}"] = joined(
                [_met_rows(periods, met, parts, {"zone_id": name})
                 for name, met, parts in self._zones_and_uses()]
            )  # fmt: skip
            found[f"store_{ending}"] = joined(
                [self._store_rows(place, periods) for place in range(len(self.system.stores))]
            )
            site = self._site_rows(periods)
            for word, one in (("driest", self.calendar.driest), ("worst", self.worst)):
                site[word] = [one is not None and period.year == one.year for period in periods]
            found[f"site_{ending}"] = site
        return found

    def case_row(self, case: Variant) -> dict[str, object]:
        """Return the average year of a case, and the share met in its worst, as a row."""
        average = self._site_rows([self.calendar.average])
        return {
            **{name: values[0] for name, values in average.items()},
            "case": case.name,
            "text": case.text,
            "share_without_mains_worst": self.worst_share(self.site),
        }

    def zone_row(self, place: int) -> dict[str, object]:
        """Return how a zone fares in the average year, and in the site's worst."""
        met = self.by_zone[place].over(self.calendar.average)
        return {
            "demand_m3": met.demand_m3,
            "rain_m3": met.rain_m3,
            "harvested_m3": met.harvested_m3,
            "mains_m3": met.mains_m3,
            "deficit_m3": met.deficit_m3,
            "share_without_mains": met.share_without_mains,
            "share_without_mains_worst": self.worst_share(self.by_zone[place]),
        }

    def worst_share(self, met: DailyMet) -> float | None:
        """Share of a demand met without mains in the site's worst year; None without one."""
        return met.over(self.worst).share_without_mains if self.worst else None

    def headline(self) -> dict[str, float | str]:
        """Return the figures that the whole year comes down to, as `docs/year.md` defines them."""
        average, worst = self.calendar.average, self.worst
        watered = self.watered.over(average)
        found: dict[str, float | str] = {
            "without_mains_average_pct": 100 * self.site.over(average).share_without_mains,
            "mains_avoided_a_year_m3": self._avoided(average),
        }
        if watered.demand_m3 > 0:
            found["watering_need_a_year_m3"] = watered.need_m3
            found["harvested_of_need_average_pct"] = 100 * watered.share_harvested
        if any(not zone.irrigated for zone in self.system.zones):
            rain_fed = self.rain_fed.over(average)
            found["rain_fed_met_average_pct"] = 100 * rain_fed.share_without_mains
        if worst is not None and self.calendar.driest is not None:
            found["without_mains_worst_pct"] = 100 * self.site.over(worst).share_without_mains
            if watered.demand_m3 > 0:
                then = self.watered.over(worst)
                found["harvested_of_need_worst_pct"] = 100 * then.share_harvested
            found["worst_year"] = str(worst.year)
            found["year_of_least_rain"] = str(self.calendar.driest.year)
        return found

    def _avoided(self, period: Period) -> float:
        return period.sum(self.bare_mains_m3) - period.sum(mains_m3(self.system, self.series))

    def _zones_and_uses(self) -> list[tuple[str, DailyMet, Days]]:
        found: list[tuple[str, DailyMet, Days]] = []
        for place, (zone, met) in enumerate(zip(self.system.zones, self.by_zone, strict=True)):
            cubic = zone.area_m2 / 1000
            values = columns(self.series.zones[:, place], ZONE_COLUMNS)
            parts = {
                "irrigation_harvested_m3": values["irrigation_harvested_m3"],
                "irrigation_mains_m3": values["irrigation_mains_m3"],
                "fed_m3": values["fed_mm"] * cubic,
                "drained_m3": values["drained_mm"] * cubic,
                "evaporated_m3": (
                    np.full(self.system.days, np.nan)
                    if zone.surface is None
                    else values["evaporated_mm"] * cubic
                ),
            }
            found.append((zone.zone_id, met, parts))
        none = np.zeros(self.system.days)
        for use, met in zip(self.system.uses, self.by_use, strict=True):
            parts = {
                "irrigation_harvested_m3": met.harvested,
                "irrigation_mains_m3": met.mains,
                "fed_m3": none,
                "drained_m3": none,
                "evaporated_m3": none + np.nan,
            }
            found.append((use.use_id, met, parts))
        return found

    def _site_rows(self, periods: Sequence[Period]) -> Columns:
        mains = mains_m3(self.system, self.series)
        stores = columns(self.series.stores.sum(axis=1), STORE_COLUMNS)
        parts = {
            "rain_mm": self.system.rain_mm,
            "et0_mm": self.system.et0_mm,
            "drawn_from_mains_m3": mains,
            "mains_avoided_m3": self.bare_mains_m3 - mains,
            "watered_demand_m3": self.watered.demand,
            "watered_rain_m3": self.watered.rain,
            "watered_harvested_m3": self.watered.harvested,
            "watered_mains_m3": self.watered.mains,
            "watered_deficit_m3": self.watered.deficit,
            "caught_m3": stores["runoff_in_m3"],
            "passed_on_m3": np.maximum(stores["spilled_m3"] - stores["overflow_in_m3"], 0.0),
        }
        rows = _met_rows(periods, self.site, parts, {})
        met = [self.watered.over(period) for period in periods]
        rain_fed = [self.rain_fed.over(period) for period in periods]
        rows["share_harvested_of_need"] = [one.share_harvested for one in met]
        rows["share_rain_fed_met"] = [
            one.share_without_mains if one.demand_m3 > 0 else np.nan for one in rain_fed
        ]
        return rows

    def _store_rows(self, place: int, periods: Sequence[Period]) -> Columns:
        store, values = self.system.stores[place], self.series.stores[:, place]
        held = values[:, -1:]
        usable = held > store.reserve_share * store.capacity_m3 + _EMPTY_M3
        empty = np.clip(1 - means(periods, usable.astype(np.float64))[:, 0], 0, 1)
        return {
            "element_id": [store.store_id] * len(periods),
            **dict(zip(STORE_COLUMNS[:-1], sums(periods, values[:, :-1]).T, strict=True)),
            "held_mean_m3": means(periods, held)[:, 0],
            "held_least_m3": least(periods, held)[:, 0],
            "share_of_days_empty": empty,
            **_named(periods),
        }


def _met_rows(
    periods: Sequence[Period], met: DailyMet, parts: Days, names: Mapping[str, str]
) -> Columns:
    daily = (met.demand, met.rain, met.harvested, met.mains, met.deficit)
    summed = sums(periods, np.column_stack([*daily, *parts.values()])).T
    demand, rain, harvested = summed[:3]
    without = np.minimum(rain + harvested, demand)
    share = np.divide(without, demand, out=np.ones_like(demand), where=demand > 0)
    return {
        **{name: [value] * len(periods) for name, value in names.items()},
        **dict(zip((*_MET, *parts), summed, strict=True)),
        "share_without_mains": share,
        "share_of_days": means(periods, met.days_met.astype(np.float64)[:, None])[:, 0],
        **_named(periods),
    }


def _named(periods: Sequence[Period]) -> Columns:
    return {
        "year": [period.year for period in periods],
        "month": [period.month for period in periods],
        "whole": [period.whole for period in periods],
    }


def joined(parts: Sequence[Columns]) -> Columns:
    """Put rows of the same columns one after the other; no columns where there are no parts."""
    if not parts:
        return {}
    return {name: [value for part in parts for value in part[name]] for name in parts[0]}
