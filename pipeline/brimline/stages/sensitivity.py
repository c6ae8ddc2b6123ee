"""What the design does where rain, soakage, ground, survey or prices are not as taken."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.balance.cases import Variant
from brimline.balance.periods import calendar
from brimline.balance.yearly import YearRun
from brimline.choose.sensitivity import (
    FIGURES,
    NINE_IN_TEN,
    RAIN,
    OtherWorld,
    Priced,
    Ranges,
    together,
)
from brimline.config import Sensitivity, Year
from brimline.design import Design
from brimline.engine.stage import Stage
from brimline.stages._frames import table_of
from brimline.stages._plan import range_factors, storms_of
from brimline.stages._year_site import NEEDS, site_of
from brimline.stages.weather import WeatherRecord

if TYPE_CHECKING:
    from brimline.choose.sensitivity import Effect, WorldOutcome
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.errors import Problem

_YEAR: Final = "without_mains_worst_pct"


def _run(given: Given, report: Reporter) -> Made:
    params, design = given.params("sensitivity", Sensitivity), given.value("design", Design)
    if not design.placed:
        return {name: table_of([], name) for name in ("design_sensitivity", "sensitivity_draws")}
    world = OtherWorld(design, storms_of(given).design, _priced(given), _ranges(given, params))
    effects = world.one_at_a_time()
    report.advanced(0.3, "everything at once")
    drawn = world.drawn(params.draws, params.seed)
    rows = [
        row
        for effect in (*effects, together(drawn))
        for figure in FIGURES
        if (row := _row(figure, effect, world.base))
    ]
    report.advanced(0.8, "the year with more rain and less")
    rows += _of_year(given, world)
    draws = [{"draw": place} | _plain(one) for place, one in enumerate(drawn, start=1)]
    return {
        "design_sensitivity": table_of(rows, "design_sensitivity"),
        "sensitivity_draws": table_of(draws, "sensitivity_draws"),
    }


def _ranges(given: Given, params: Sensitivity) -> Ranges:
    earth = given.table("earth_volumes")
    errors = [
        math.sqrt(float((earth[name] ** 2).sum())) for name in ("cut_error_m3", "fill_error_m3")
    ]
    return Ranges(
        params.rain_pct / 100, params.soakage_factor, params.curve_number,
        range_factors(given.value("design", Design), given.frame("intakes")),
        (errors[0], errors[1]), params.price_pct / 100,
    )  # fmt: skip


def _priced(given: Given) -> Priced:
    bill, earth = given.table("bill"), given.table("earth_volumes")
    moved = float(earth["cut_m3"].sum() + earth["fill_m3"].sum())
    if not len(bill) or bill["cost"].isna().any():
        return Priced(None, moved)
    items = {
        str(item): (float(rows["amount"].sum()), float(rows["rate"].iloc[0]))
        for item, rows in bill.groupby("item", sort=False)
    }
    return Priced(items, moved)


def _plain(outcome: WorldOutcome) -> dict[str, float]:
    return asdict(outcome) | {"cost_per_kept": outcome.cost_per_kept}


def _row(figure: str, effect: Effect, base: WorldOutcome) -> dict[str, Any] | None:
    """Return what a factor does to one figure; None where it does nothing."""
    values = [getattr(one, figure) for one in (base, effect.low, effect.high)]
    swing = effect.swing(figure)
    if not np.isfinite(values).all() or not swing:
        return None
    return {
        "figure": figure,
        "factor": effect.factor,
        "low_at": effect.low_at,
        "high_at": effect.high_at,
        "base": values[0],
        "low": values[1],
        "high": values[2],
        "swing": swing,
        "outside": not min(values[1:]) <= values[0] <= max(values[1:]),
    }


def _of_year(given: Given, world: OtherWorld) -> list[dict[str, Any]]:
    """Run the year's days with less rain and with more."""
    weather, params = given.value("weather", WeatherRecord).days, given.params("year", Year)
    if weather is None or not (len(given.frame("planting_zones")) or params.uses):
        return []
    site, _, _ = site_of(given, params, weather, _Silent())
    when = calendar(site.weather.dates, site.weather.precipitation_mm)
    at = [world.value(RAIN, off) for off in (0.0, -NINE_IN_TEN, NINE_IN_TEN)]
    ran = [YearRun.of(site.system(Variant("", "", rain=one)), when).headline() for one in at]
    values = [float(one.get(_YEAR, math.nan)) for one in ran]
    if not np.isfinite(values).all():
        return []
    return [
        {
            "figure": _YEAR, "factor": RAIN, "low_at": at[1], "high_at": at[2], "base": values[0],
            "low": values[1], "high": values[2], "swing": abs(values[2] - values[1]),
            "outside": not min(values[1:]) <= values[0] <= max(values[1:]),
        }
    ]  # fmt: skip


class _Silent:
    """Hears what the stage of the year has said already."""

    def problem(self, problem: Problem) -> None:
        """Do nothing."""

    def tell(self, problems: object) -> None:
        """Do nothing."""

    def advanced(self, share: float, doing: str = "") -> None:
        """Do nothing."""


STAGE = Stage(
    name="sensitivity",
    version=2,
    title="the design where rain, soakage, ground, survey and prices are not as taken",
    needs=(*NEEDS, "storms", "earth_volumes", "bill", "intakes"),
    makes=("design_sensitivity", "sensitivity_draws"),
    run=_run,
    tables=("sensitivity", "year", "works", "site", "planting"),
)
