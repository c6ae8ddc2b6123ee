"""Water through the year: how much of the planting lives without the mains."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from brimline.balance.answers import residual_ratio, site_days
from brimline.balance.evapotranspiration import DEFAULT_WIND_M_S
from brimline.balance.periods import calendar
from brimline.balance.simulate import warmed
from brimline.config import Year
from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity
from brimline.io.frames import empty
from brimline.layers import table
from brimline.stages._frames import frame_of
from brimline.stages._year_site import ground_of_zones, position_of, reference_of
from brimline.stages._year_sizes import answer_row, curves_of
from brimline.stages._year_stores import fed_zones, rings_told, under_stores
from brimline.stages._year_system import AS_DRAWN, YearInputs, cases
from brimline.stages._year_tables import Ran, case_row, curve_rows, rows_of, year_tables, zone_row
from brimline.stages._year_zones import read_zones
from brimline.stages.weather import from_frame
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from brimline.balance.evapotranspiration import ReferenceEt
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.rainfall.daily import DailyWeather

_TABLES: Final = (
    "zone_years",
    "zone_months",
    "store_years",
    "store_months",
    "site_years",
    "site_months",
    "size_curves",
    "size_answers",
    "year_sensitivity",
)


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("year", Year)
    days = given.facts("weather")["days"]
    drawn = given.frame("planting_zones")
    if not days or not (len(drawn) or params.uses):
        _tell_what_lacks(days, len(drawn), report)
        return _nothing(given)
    water = given.facts("works_water")
    stores = [element["element_id"] for element in water["elements"]]
    found = read_zones(drawn, given.frame("soils"), (*stores, *water["left_out"]), params)
    problems = [*found.problems, *rings_told(water["elements"])]
    if any(problem.severity is Severity.ERROR for problem in problems):
        raise InputError(p for p in problems if p.severity is Severity.ERROR)
    for problem in problems:
        report.problem(problem)
    weather = from_frame(given.table("weather_days"), is_made_up=given.facts("weather")["made_up"])
    labels, curve_numbers = ground_of_zones(found.zones, water, given)
    latitude, elevation = position_of(given, labels, params)
    et0 = reference_of(weather, latitude, elevation, params)
    _tell_how(et0, water, report)
    if params.coefficients == "dual":
        _tell_surface(weather, report)
    shapes = dict(
        zip(given.frame("elements")["element_id"], given.frame("elements").geometry, strict=True)
    )
    names = [zone.zone_id for zone in found.zones]
    feeds = fed_zones(
        water["elements"], shapes, labels, names, given.raster("elevation"), given.grid, params
    )
    outlines = {zone.zone_id: zone.shape for zone in found.zones}
    under = under_stores(water["elements"], shapes, outlines)
    inputs = YearInputs(
        found.zones, curve_numbers, water["elements"], feeds, under, weather, et0.et0_mm,
        latitude < 0, params,
    )  # fmt: skip
    report.advanced(0.3, "running every day of the record")
    return _results(inputs, et0, latitude, elevation, given, report)


def _results(
    inputs: YearInputs,
    et0: ReferenceEt,
    latitude_deg: float,
    elevation_m: float,
    given: Given,
    report: Reporter,
) -> Mapping[str, Any]:
    weather = inputs.weather
    when = calendar(weather.dates, weather.precipitation_mm)
    rows, ran = [], {}
    for case in cases(inputs.params):
        system = inputs.system(case)
        one = Ran.of(system, warmed(system.without_stores()), when, weather.origin)
        rows.append(case_row(case, one))
        ran[case.name] = one
    now = ran[AS_DRAWN.name]
    report.advanced(0.7, "trying sizes of tanks and ponds")
    curves = curves_of(now.system, inputs.elements, inputs.params)
    answers = [answer_row(curve, now.system, inputs) for curve in curves]
    tables = {
        **{name: pd.DataFrame(empty(table(name))) for name in _TABLES},
        **year_tables(now),
        **{
            name: rows_of(name, parts, weather.origin)
            for name, parts in (
                ("size_curves", [curve_rows(curve) for curve in curves]),
                ("size_answers", [pd.DataFrame(answers)] if answers else []),
                ("year_sensitivity", [pd.DataFrame(rows)]),
            )
        },
    }
    facts = _facts(now, et0, weather) | {
        "latitude_deg": latitude_deg,
        "elevation_m": elevation_m,
    }
    return {"zones": _zones(inputs, now, given), **tables, "year": facts}


def _tell_what_lacks(days: int, zones: int, report: Reporter) -> None:
    """Say why there is no year where one half of it was given."""
    if zones and not days:
        message = f"{zones} planting zones are drawn, but there is no weather to run them through"
        mend = "give inputs.weather, or monthly normals in [weather]"
    elif days:
        message = "there is weather, but no planting zone is drawn: the year was left out"
        mend = "draw planting_zones in the plan"
    else:
        return
    report.problem(Problem(Severity.NOTICE, message, mend, "year"))


def _nothing(given: Given) -> Mapping[str, Any]:
    tables = {name: pd.DataFrame(empty(table(name))) for name in _TABLES}
    return {"zones": frame_of([], [], "zones", given.grid), **tables, "year": {}}


def _tell_how(et0: ReferenceEt, water: Mapping[str, Any], report: Reporter) -> None:
    if et0.method == "hargreaves":
        how = "reference evapotranspiration by Hargreaves, from temperatures alone"
    else:
        how = "reference evapotranspiration by Penman-Monteith"
        if et0.substitutes:
            how += "; taken for what the record lacks: " + ", ".join(et0.substitutes)
    report.problem(Problem(Severity.NOTICE, how, "", "year"))
    count = water["inflows_left_out"]
    if count:
        report.problem(
            Problem(
                Severity.NOTICE,
                f"{counted(count, 'inflow')} from outside known for storms only: nothing comes of"
                " it here",
                "",
                "year",
            )
        )


def _tell_surface(weather: DailyWeather, report: Reporter) -> None:
    lacking = []
    if weather.wind_m_s is None:
        lacking.append(f"wind of {DEFAULT_WIND_M_S:g} m/s")
    if all(v is None for v in (weather.humidity_min_pct, weather.humidity_mean_pct,
                               weather.dewpoint_c)):  # fmt: skip
        lacking.append("the lowest temperature as dewpoint")
    how = "evaporation of the soil's surface by itself (dual crop coefficients)"
    if lacking:
        how += "; taken for what the record lacks: " + ", ".join(lacking)
    report.problem(Problem(Severity.NOTICE, how, "", "year"))


def _zones(inputs: YearInputs, ran: Ran, given: Given) -> GeoDataFrame:
    records = []
    for place, zone in enumerate(inputs.zones):
        simulated = ran.system.zones[place]
        fed_by = [store for store, zones in inputs.feeds.items() if zone.zone_id in zones]
        records.append(
            {
                "zone_id": zone.zone_id,
                "planting": zone.planting.name,
                "texture": zone.texture_text,
                "area_m2": simulated.area_m2,
                "root_depth_m": zone.root_depth_m,
                "available_mm": simulated.available_mm,
                "curve_number": inputs.curve_numbers[zone.zone_id],
                "mulch_share": zone.mulch_share,
                "irrigated": zone.irrigated,
                "draws_on": "; ".join(simulated.draws_on) if zone.irrigated else None,
                "fed_by": "; ".join(fed_by) or None,
                **zone_row(ran, place),
                "weather": ran.weather,
                "flag": "assumed" if zone.assumed else "",
                "notes": "; ".join(zone.assumed) or None,
            }
        )
    return frame_of(records, [zone.shape for zone in inputs.zones], "zones", given.grid)


def _facts(ran: Ran, et0: ReferenceEt, weather: DailyWeather) -> dict[str, Any]:
    days = site_days(ran.system, ran.series)
    average, driest = ran.calendar.average, ran.calendar.driest
    met = days.over(average)
    avoided = average.sum(ran.bare_mains_m3) - average.sum(ran.mains_m3)
    headline: dict[str, float | str] = {
        "without_mains_average_pct": 100 * met.share_without_mains,
        "mains_avoided_a_year_m3": avoided,
        "weather_of_the_year": weather.origin,
    }
    hardest = None
    if driest is not None:
        headline["without_mains_driest_pct"] = 100 * days.over(driest).share_without_mains
        headline["driest_year"] = str(driest.year)
        whole = [period for period in ran.calendar.years if period.whole]
        hardest = min(whole, key=lambda period: days.over(period).share_without_mains).year
    return {
        "headline": headline,
        "method": et0.method,
        "substitutes": list(et0.substitutes),
        "made_up": weather.made_up,
        "hardest_year": hardest,
        "residual_ratio": residual_ratio(ran.system, ran.series),
    }


STAGE = Stage(
    name="year",
    version=1,
    title="water through the year: soils, stores, and how much the mains must give",
    needs=(
        "grid",
        "elevation",
        "surfaces",
        "soils",
        "planting_zones",
        "elements",
        "works_water",
        "weather_days",
        "weather",
    ),
    makes=("zones", *_TABLES, "year"),
    run=_run,
    tables=("year",),
)
