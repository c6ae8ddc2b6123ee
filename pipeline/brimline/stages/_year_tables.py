"""The year's results as rows of the catalogue's tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.balance.answers import mains_m3, site_days, use_days, zone_days
from brimline.balance.periods import least, means, sums
from brimline.balance.simulate import STORE_COLUMNS, ZONE_COLUMNS, columns, simulate
from brimline.io.frames import conformed, empty
from brimline.layers import table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.answers import DailyMet
    from brimline.balance.periods import Calendar, Period
    from brimline.balance.simulate import Series
    from brimline.balance.sizing import SizeCurve
    from brimline.balance.system import System
    from brimline.stages._year_system import Case

    Columns = dict[str, NDArray[np.float64]]

_MET: Final = ("demand_m3", "rain_m3", "harvested_m3", "mains_m3", "deficit_m3")
_NOT_MET: Final = ("year", "month", "whole")
_EMPTY_M3: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Ran:
    """A system that was run, and what the mains give each day with and without its stores.

    `weather` says whether the days were measured or made up.
    """

    system: System
    series: Series
    calendar: Calendar
    mains_m3: NDArray[np.float64]
    bare_mains_m3: NDArray[np.float64]
    weather: str

    @classmethod
    def of(cls, system: System, bare: System, calendar: Calendar, weather: str) -> Ran:
        """Run a system, and the same planting without stores."""
        series = simulate(system)
        return cls(
            system,
            series,
            calendar,
            mains_m3(system, series),
            mains_m3(bare, simulate(bare)),
            weather,
        )

    @property
    def by_year(self) -> tuple[Period, ...]:
        """Every year, then the average year."""
        return (*self.calendar.years, self.calendar.average)

    @property
    def by_month(self) -> tuple[Period, ...]:
        """Months of the average year, then of the driest."""
        return (*self.calendar.average_months, *self.calendar.driest_months)


def year_tables(ran: Ran) -> dict[str, pd.DataFrame]:
    """Return the tables by year and by month of zones, stores and the site."""
    driest = ran.calendar.driest
    found: dict[str, list[pd.DataFrame]] = {}
    for ending, periods in (("years", ran.by_year), ("months", ran.by_month)):
        if not periods:
            continue
        found[f"zone_{ending}"] = [
            _met_rows(periods, days, parts).assign(zone_id=name)
            for name, days, parts in _zones_and_uses(ran)
        ]
        found[f"store_{ending}"] = list(_store_rows(ran, periods))
        site = _met_rows(periods, site_days(ran.system, ran.series), _site_parts(ran))
        site["driest"] = [driest is not None and period.year == driest.year for period in periods]
        found[f"site_{ending}"] = [site]
    return {name: rows_of(name, parts, ran.weather) for name, parts in found.items()}


def rows_of(name: str, parts: Sequence[pd.DataFrame], weather: str) -> pd.DataFrame:
    """Join rows into a table of the catalogue; columns that it does not declare are left out."""
    declared = table(name)
    if not parts:
        return pd.DataFrame(empty(declared))
    joined = pd.concat(parts, ignore_index=True).assign(weather=weather)
    known = [column.name for column in declared.columns if column.name in joined.columns]
    return pd.DataFrame(conformed(joined[known], declared))


def _zones_and_uses(ran: Ran) -> Iterator[tuple[str, DailyMet, Columns]]:
    for place, zone in enumerate(ran.system.zones):
        cubic = zone.area_m2 / 1000
        values = columns(ran.series.zones[:, place], ZONE_COLUMNS)
        parts = {
            "irrigation_harvested_m3": values["irrigation_harvested_m3"],
            "irrigation_mains_m3": values["irrigation_mains_m3"],
            "fed_m3": values["fed_mm"] * cubic,
            "drained_m3": values["drained_mm"] * cubic,
        }
        if zone.surface is not None:
            parts["evaporated_m3"] = values["evaporated_mm"] * cubic
        yield zone.zone_id, zone_days(ran.system, ran.series, place), parts
    for place, use in enumerate(ran.system.uses):
        days = use_days(ran.series, place)
        none = np.zeros(ran.system.days)
        parts = {
            "irrigation_harvested_m3": days.harvested,
            "irrigation_mains_m3": days.mains,
            "fed_m3": none,
            "drained_m3": none,
        }
        yield use.use_id, days, parts


def _site_parts(ran: Ran) -> Columns:
    return {
        "rain_mm": ran.system.rain_mm,
        "et0_mm": ran.system.et0_mm,
        "drawn_from_mains_m3": ran.mains_m3,
        "mains_avoided_m3": ran.bare_mains_m3 - ran.mains_m3,
    }


def _met_rows(periods: Sequence[Period], days: DailyMet, parts: Columns) -> pd.DataFrame:
    met = (days.demand, days.rain, days.harvested, days.mains, days.deficit)
    summed = {**dict(zip(_MET, met, strict=True)), **parts}
    rows = pd.DataFrame(sums(periods, np.column_stack(list(summed.values()))), columns=list(summed))
    without = np.minimum(rows["rain_m3"] + rows["harvested_m3"], rows["demand_m3"])
    rows["share_without_mains"] = np.where(
        rows["demand_m3"] > 0, without / rows["demand_m3"].where(rows["demand_m3"] > 0, 1.0), 1.0
    )
    rows["share_of_days"] = means(periods, days.days_met.astype(np.float64)[:, None])[:, 0]
    return _named(periods, rows)


def _store_rows(ran: Ran, periods: Sequence[Period]) -> Iterator[pd.DataFrame]:
    flows = STORE_COLUMNS[:-1]
    for place, store in enumerate(ran.system.stores):
        values = ran.series.stores[:, place]
        held = values[:, -1:]
        usable = held > store.reserve_share * store.capacity_m3 + _EMPTY_M3
        rows = pd.DataFrame(sums(periods, values[:, :-1]), columns=list(flows))
        rows["held_mean_m3"] = means(periods, held)[:, 0]
        rows["held_least_m3"] = least(periods, held)[:, 0]
        rows["share_of_days_empty"] = 1 - means(periods, usable.astype(np.float64))[:, 0]
        rows["share_of_days_empty"] = rows["share_of_days_empty"].clip(0, 1)
        yield _named(periods, rows).assign(element_id=store.store_id)


def _named(periods: Sequence[Period], rows: pd.DataFrame) -> pd.DataFrame:
    rows["year"] = pd.array([period.year for period in periods], dtype="Int64")
    rows["month"] = pd.array([period.month for period in periods], dtype="Int64")
    rows["whole"] = [period.whole for period in periods]
    return rows


def curve_rows(curve: SizeCurve) -> pd.DataFrame:
    """Return a curve's sizes as rows."""
    return pd.DataFrame(
        {
            "element_id": curve.store_id,
            "capacity_m3": curve.capacity_m3,
            "share_without_mains": curve.share_of_volume.clip(0, 1),
            "share_of_days": curve.share_of_days,
            "met_m3_per_y": curve.met_m3_per_y,
            "mains_m3_per_y": curve.mains_m3_per_y,
        }
    )


def case_row(case: Case, ran: Ran) -> dict[str, Any]:
    """Return the average year of a case, and its driest, as a row."""
    days = site_days(ran.system, ran.series)
    calendar = ran.calendar
    average = _met_rows([calendar.average], days, _site_parts(ran)).iloc[0]
    driest = calendar.driest
    return {
        "case": case.name,
        "text": case.text,
        **{str(name): value for name, value in average.items() if name not in _NOT_MET},
        "share_without_mains_driest": (
            days.over(driest).share_without_mains if driest is not None else None
        ),
    }


def zone_row(ran: Ran, place: int) -> Mapping[str, Any]:
    """Return how a zone fares in the average year, and in the driest."""
    days = zone_days(ran.system, ran.series, place)
    average, driest = ran.calendar.average, ran.calendar.driest
    met = days.over(average)
    return {
        "demand_m3": met.demand_m3,
        "mains_m3": met.mains_m3,
        "deficit_m3": met.deficit_m3,
        "share_without_mains": met.share_without_mains,
        "share_without_mains_driest": (
            days.over(driest).share_without_mains if driest is not None else None
        ),
    }
