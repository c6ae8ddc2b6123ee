"""Water through the year: how much of the planting lives without the mains."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from brimline.balance.cases import AS_DRAWN, cases
from brimline.balance.periods import calendar
from brimline.balance.rows import age_rows, what_lacks, zone_results
from brimline.balance.sizing import curves_of, size_answer
from brimline.balance.yearly import YearRun
from brimline.config import Year
from brimline.engine.stage import Stage
from brimline.inputs.year import plantings_of
from brimline.planting import AGES_Y
from brimline.stages._frames import frame_of, table_of, table_of_columns
from brimline.stages._year_site import NEEDS, site_of
from brimline.stages.weather import WeatherRecord

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine.stage import Given, Made, Reporter

_TABLES: Final = (
    "zone_years", "zone_months", "store_years", "store_months", "site_years", "site_months",
    "size_curves", "size_answers", "year_sensitivity", "zone_ages",
)  # fmt: skip


def _run(given: Given, report: Reporter) -> Made:
    params, weather = given.params("year", Year), given.value("weather", WeatherRecord).days
    drawn = len(given.frame("planting_zones"))
    if weather is None or not (drawn or params.uses):
        report.tell(what_lacks(drawn, has_weather=weather is not None))
        tables = {name: table_of([], name) for name in _TABLES}
        return {"zones": frame_of([], [], "zones", given.grid), **tables, "year": {}}
    site, et0, facts = site_of(given, params, weather, report.tell)
    report.advanced(0.3, "running every day of the record")
    when = calendar(site.weather.dates, site.weather.precipitation_mm)
    ran = {case: YearRun.of(site.system(case), when) for case in cases(site.rules)}
    now = ran[AS_DRAWN]
    report.advanced(0.7, "trying sizes of tanks and ponds")
    curves = curves_of(now.system, site.elements, site.rules)
    kinds = {element.element_id: element.kind for element in site.elements}
    answers = [size_answer(one, now.system, kinds[one.store_id], site.rules) for one in curves]
    grown = {age: plantings_of(given.table("zone_kc"), age) for age in AGES_Y}
    columns = {name: [part] for name, part in now.tables().items()}
    columns["size_curves"] = [curve.columns() for curve in curves]
    columns["size_answers"] = [_row(asdict(answer)) for answer in answers]
    columns["year_sensitivity"] = [_row(one.case_row(case)) for case, one in ran.items()]
    origin = site.weather.origin
    shapes = [zone.shape for zone in site.zones]
    return {
        "zones": frame_of(zone_results(site, now), shapes, "zones", given.grid),
        **{
            name: table_of_columns([part | {"weather": origin} for part in parts], name)
            for name, parts in columns.items()
        },
        "zone_ages": table_of(age_rows(site, when, grown), "zone_ages"),
        "year": {
            "headline": now.headline() | {"weather_of_the_year": origin},
            "method": et0.method,
            "substitutes": list(et0.substitutes),
            "made_up": site.weather.made_up,
            "residual_ratio": now.residual_ratio,
            **facts,
        },
    }


def _row(values: Mapping[str, object]) -> dict[str, Any]:
    return {name: [value] for name, value in values.items()}


STAGE = Stage(
    name="year",
    version=2,
    title="water through the year: soils, stores, and how much the mains must give",
    needs=NEEDS,
    makes=("zones", *_TABLES, "year"),
    run=_run,
    tables=("year", "works", "site", "planting"),
)
