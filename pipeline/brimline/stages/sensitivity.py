"""What the design does where rain, soakage, ground, survey or prices are not as taken."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from brimline.balance.cases import Variant
from brimline.balance.periods import calendar
from brimline.balance.yearly import YearRun
from brimline.choose.sensitivity import (
    WORST_YEAR,
    OtherWorld,
    Priced,
    Ranges,
    figure_swings,
    together,
    year_swing,
)
from brimline.config import Sensitivity, Year
from brimline.design import Design
from brimline.engine.stage import Stage
from brimline.layers import table
from brimline.stages._frames import table_of, values_of
from brimline.stages._plan import range_factors, storms_of
from brimline.stages._year_site import NEEDS, site_of
from brimline.stages.weather import WeatherRecord

if TYPE_CHECKING:
    from brimline.choose.sensitivity import FigureSwing
    from brimline.engine.stage import Given, Made, Reporter

_TABLES: Final = ("design_sensitivity", "sensitivity_draws")


def _run(given: Given, report: Reporter) -> Made:
    params, design = given.params("sensitivity", Sensitivity), given.value("design", Design)
    if not design.placed:
        return {name: table_of([], name) for name in _TABLES}
    world = OtherWorld(design, storms_of(given).design, _priced(given), _ranges(given, params))
    effects = world.one_at_a_time()
    report.advanced(0.3, "everything at once")
    drawn = world.drawn(params.draws, params.seed)
    swings = figure_swings([*effects, together(drawn)], world.base)
    report.advanced(0.8, "the year with more rain and less")
    draws = [
        values_of(one, table("sensitivity_draws")) | {"draw": place}
        for place, one in enumerate(drawn, start=1)
    ]
    return {
        "design_sensitivity": table_of([*swings, *_of_year(given, world)], "design_sensitivity"),
        "sensitivity_draws": table_of(draws, "sensitivity_draws"),
    }


def _ranges(given: Given, params: Sensitivity) -> Ranges:
    earth = given.table("earth_volumes")
    cut, fill = (math.sqrt(float((earth[f"{one}_error_m3"] ** 2).sum())) for one in ("cut", "fill"))
    return Ranges(
        params.rain_pct / 100, params.soakage_factor, params.curve_number,
        range_factors(given.value("design", Design), given.frame("intakes")),
        (cut, fill), params.price_pct / 100,
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


def _of_year(given: Given, world: OtherWorld) -> list[FigureSwing]:
    """Run the year's days with less rain and with more."""
    weather, params = given.value("weather", WeatherRecord).days, given.params("year", Year)
    if weather is None or not (len(given.frame("planting_zones")) or params.uses):
        return []
    site, _, _ = site_of(given, params, weather, lambda _: None)  # the stage of the year has told
    when = calendar(site.weather.dates, site.weather.precipitation_mm)

    def worst_year(rain: float) -> float | str | None:
        return YearRun.of(site.system(Variant("", "", rain=rain)), when).headline().get(WORST_YEAR)

    return year_swing(world, worst_year)


STAGE = Stage(
    name="sensitivity",
    version=2,
    title="the design where rain, soakage, ground, survey and prices are not as taken",
    needs=(*NEEDS, "storms", "earth_volumes", "bill", "intakes"),
    makes=("design_sensitivity", "sensitivity_draws"),
    run=_run,
    tables=("sensitivity", "year", "works", "site", "planting"),
)
