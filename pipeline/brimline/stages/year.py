"""Water through the year: how much of the planting lives without the mains."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from brimline.balance.cases import AS_DRAWN, YearSite, cases
from brimline.balance.collectors import fed_zones, over_beds, rings_told, under_stores
from brimline.balance.evapotranspiration import how_told
from brimline.balance.periods import calendar
from brimline.balance.planted import planted_zones, zones_off
from brimline.balance.sizing import curves_of, size_answer
from brimline.balance.surface import surface_told
from brimline.balance.yearly import YearRun, joined
from brimline.config import PlantingPlan, Year
from brimline.design import Design, collectors_of
from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity
from brimline.inputs.year import plantings_of, textures_of, zone_rows
from brimline.io.frames import conformed, empty
from brimline.layers import table
from brimline.planting import AGES_Y
from brimline.stages._frames import frame_of, table_of
from brimline.stages._year_site import ground_of_zones, position_of, reference_of
from brimline.stages.weather import WeatherRecord
from brimline.units import counted

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.balance.evapotranspiration import ReferenceEt
    from brimline.balance.periods import Calendar
    from brimline.balance.yearly import Columns
    from brimline.design import Arrivals
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

NEEDS: Final = (
    "grid", "elevation", "surfaces", "soils", "planting_zones", "elements", "design", "weather",
    "zone_kc",
)  # fmt: skip
_AGED: Final = (
    "demand_m3",
    "mains_m3",
    "deficit_m3",
    "share_without_mains",
    "share_without_mains_worst",
)


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("year", Year)
    weather, drawn = given.value("weather", WeatherRecord).days, given.frame("planting_zones")
    if weather is None or not (len(drawn) or params.uses):
        _tell_what_lacks(weather is not None, len(drawn), report)
        tables = {name: pd.DataFrame(empty(table(name))) for name in _TABLES}
        none = {"zone_ages": table_of([], "zone_ages"), "year": {}}
        return {"zones": frame_of([], [], "zones", given.grid), **tables, **none}
    site, et0, facts = site_of(given, params, weather, report)
    report.advanced(0.3, "running every day of the record")
    when = calendar(site.weather.dates, site.weather.precipitation_mm)
    ran = {case: YearRun.of(site.system(case), when) for case in cases(site.rules)}
    now = ran[AS_DRAWN]
    report.advanced(0.7, "trying sizes of tanks and ponds")
    curves = curves_of(now.system, site.elements, site.rules)
    kinds = {element.element_id: element.kind for element in site.elements}
    answers = [size_answer(one, now.system, kinds[one.store_id], site.rules) for one in curves]
    columns: dict[str, Columns] = {
        **now.tables(),
        "size_curves": joined([curve.columns() for curve in curves]),
        "size_answers": _columns([asdict(answer) for answer in answers]),
        "year_sensitivity": _columns([one.case_row(case) for case, one in ran.items()]),
    }
    origin = site.weather.origin
    return {
        "zones": _zones(site, now, given),
        **{name: _rows(name, columns[name], origin) for name in _TABLES},
        "zone_ages": table_of(_ages(site, when, given), "zone_ages"),
        "year": {
            "headline": now.headline() | {"weather_of_the_year": origin},
            "method": et0.method,
            "substitutes": list(et0.substitutes),
            "made_up": site.weather.made_up,
            "residual_ratio": now.residual_ratio,
            **facts,
        },
    }


def site_of(
    given: Given, params: Year, weather: DailyWeather, report: Reporter
) -> tuple[YearSite, ReferenceEt, dict[str, float]]:
    """Read the layers `NEEDS`, and tell what was found in them."""
    design, rules, grid = given.value("design", Design), params.rules(), given.grid
    elements = collectors_of(design)
    left_out = [name for name in design.names if name not in design.network.index]
    stores = [*(element.element_id for element in elements), *left_out]
    grown = plantings_of(
        given.table("zone_kc"), round(given.params("planting", PlantingPlan).age_y)
    )
    rules = replace(rules, plantings=(*rules.plantings, *grown.values()))
    rows = [
        replace(row, planting=grown[row.name].name, root_depth_m=grown[row.name].root_depth_m)
        if not row.planting and row.name in grown
        else row
        for row in zone_rows(given.frame("planting_zones"))
    ]
    found = planted_zones(rows, textures_of(given.frame("soils")), stores, rules)
    problems = [*found.problems, *zones_off(found.zones, grid), *rings_told(elements)]
    if any(problem.severity is Severity.ERROR for problem in problems):
        raise InputError(p for p in problems if p.severity is Severity.ERROR)
    labels, grounds = ground_of_zones(found.zones, given)
    latitude, elevation = position_of(given, labels, params)
    et0 = reference_of(weather, latitude, elevation, params)
    told = [
        how_told(et0),
        *_outside_told(_storms_only(design.arrivals)),
    ]
    told += [surface_told(weather)] if rules.coefficients == "dual" else []
    for problem in (*problems, *(Problem(Severity.NOTICE, one, "", "year") for one in told)):
        report.problem(problem)
    drawn = given.frame("elements")
    shapes = dict(zip(drawn["element_id"], drawn.geometry, strict=True))
    outlines = {zone.zone_id: zone.shape for zone in found.zones}
    feeds = fed_zones(
        elements, shapes, labels, list(outlines), given.raster("elevation"), grid, rules
    )
    site = YearSite(
        found.zones, grounds, elements, feeds, under_stores(elements, shapes, outlines), weather,
        et0.et0_mm, latitude < 0, rules, design.feeds, over_beds(elements, shapes, outlines),
    )  # fmt: skip
    for problem in _bare_beds(site):
        report.problem(problem)
    return site, et0, {"latitude_deg": latitude, "elevation_m": elevation}


def _bare_beds(site: YearSite) -> list[Problem]:
    """Say which beds have no zone over them, through which rain would reach their reservoir."""
    over = {bed for shares in site.over_beds.values() for bed in shares}
    bare = [one.element_id for one in site.elements if one.own_use and one.element_id not in over]
    if not bare:
        return []
    return [
        Problem(
            Severity.NOTICE,
            f"no planting zone lies over {', '.join(bare)}: through the year no rain reaches the"
            " reservoir beneath",
            "draw a planting zone over the bed, with the bed in its draws_on",
            "plan, planting_zones",
        )
    ]


def _ages(site: YearSite, when: Calendar, given: Given) -> list[dict[str, Any]]:
    """Rows of the zones whose plants are set out, at each age."""
    found = []
    for age in AGES_Y:
        grown = plantings_of(given.table("zone_kc"), age)
        if not grown:
            continue
        zones = [
            replace(zone, planting=grown[zone.zone_id]) if zone.zone_id in grown else zone
            for zone in site.zones
        ]
        ran = YearRun.of(replace(site, zones=zones).system(AS_DRAWN), when)
        for place, zone in enumerate(zones):
            if zone.zone_id in grown:
                row = ran.zone_row(place)
                shares: list[Any] = [row["share_without_mains"], row["share_without_mains_worst"]]
                goal = site.rules.goal_share
                lives = all(share is not None and share >= goal for share in shares)
                told = {name: row[name] for name in _AGED}
                found.append({"zone_id": zone.zone_id, "age_y": age, **told, "lives": lives})
    return found


def _columns(rows: list[dict[str, object]]) -> Columns:
    return joined([{name: [value] for name, value in row.items()} for row in rows])


def _rows(name: str, columns: Columns, origin: str) -> pd.DataFrame:
    """Return rows of the catalogue's table; columns that it does not declare are left out."""
    declared = table(name)
    if not columns:
        return pd.DataFrame(empty(declared))
    known = [one.name for one in declared.columns if one.name in columns]
    frame = pd.DataFrame({one: columns[one] for one in known}).assign(weather=origin)
    return pd.DataFrame(conformed(frame, declared))


def _tell_what_lacks(has_weather: bool, zones: int, report: Reporter) -> None:  # noqa: FBT001
    """Say why there is no year where one half of it was given."""
    if zones and not has_weather:
        message = f"{zones} planting zones are drawn, but there is no weather to run them through"
        mend = "give inputs.weather, or monthly normals in [weather]"
    elif has_weather:
        message = "there is weather, but no planting zone is drawn: the year was left out"
        mend = "draw planting_zones in the plan"
    else:
        return
    report.problem(Problem(Severity.NOTICE, message, mend, "year"))


def _storms_only(arrivals: Arrivals) -> int:
    """Count inflows whose hydrographs are all that is known of them."""
    known = [one for ground in arrivals.beyond.values() for one in ground if not one.in_storm]
    return sum(len(flows) for flows in arrivals.outside.values()) - len(known)


def _outside_told(count: int) -> list[str]:
    if not count:
        return []
    inflows = counted(count, "inflow")
    return [f"{inflows} from outside without area_m2, known for storms only: none comes of it here"]


def _zones(site: YearSite, ran: YearRun, given: Given) -> GeoDataFrame:
    records: list[dict[str, Any]] = []
    for place, (zone, simulated) in enumerate(zip(site.zones, ran.system.zones, strict=True)):
        fed_by = [store for store, zones in site.feeds.items() if zone.zone_id in zones]
        records.append(
            {
                "zone_id": zone.zone_id,
                "planting": zone.planting.name,
                "texture": zone.texture_text,
                "area_m2": simulated.area_m2,
                "root_depth_m": zone.root_depth_m,
                "available_mm": simulated.available_mm,
                "curve_number": site.grounds[zone.zone_id].curve_number,
                "mulch_share": zone.mulch_share,
                "irrigated": zone.irrigated,
                "draws_on": "; ".join(simulated.draws_on) if zone.irrigated else None,
                "fed_by": "; ".join(fed_by) or None,
                **ran.zone_row(place),
                "weather": site.weather.origin,
                "flag": "assumed" if zone.assumed else "",
                "notes": "; ".join(zone.assumed) or None,
            }
        )
    return frame_of(records, [zone.shape for zone in site.zones], "zones", given.grid)


STAGE = Stage(
    name="year",
    version=2,
    title="water through the year: soils, stores, and how much the mains must give",
    needs=NEEDS,
    makes=("zones", *_TABLES, "zone_ages", "year"),
    run=_run,
    tables=("year", "works", "site", "planting"),
)
