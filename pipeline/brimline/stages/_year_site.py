"""The site of the year: its planting with the ground beneath, its stores, and its weather."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.balance.cases import YearSite
from brimline.balance.collectors import fed_zones, over_beds, rings_told, under_stores
from brimline.balance.evapotranspiration import how_told
from brimline.balance.planted import planted_zones, zones_off
from brimline.balance.rows import bare_beds
from brimline.balance.surface import surface_told
from brimline.config import PlantingPlan, Site, Works
from brimline.design import Design, collectors_of, covered_ground
from brimline.errors import Problem, Severity
from brimline.inputs.rules import usual_water
from brimline.inputs.year import (
    place_of,
    plantings_of,
    position_of,
    reference_of,
    rows_grown,
    textures_of,
    zone_rows,
)
from brimline.stages._plan import covers_of, soils_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from brimline.balance.evapotranspiration import ReferenceEt
    from brimline.config import Year
    from brimline.engine.stage import Given
    from brimline.rainfall.daily import DailyWeather

NEEDS: Final = (
    "grid", "elevation", "surfaces", "soils", "planting_zones", "elements", "design", "weather",
    "zone_kc",
)  # fmt: skip


def site_of(
    given: Given, params: Year, weather: DailyWeather, tell: Callable[[Iterable[Problem]], None]
) -> tuple[YearSite, ReferenceEt, dict[str, float]]:
    """Read the layers `NEEDS`, and tell what was found in them."""
    design, grid, dem = given.value("design", Design), given.grid, given.raster("elevation")
    elements = collectors_of(design)
    left_out = [name for name in design.names if name not in design.network.index]
    stores = [*(element.element_id for element in elements), *left_out]
    age_y = round(given.params("planting", PlantingPlan).age_y)
    grown = plantings_of(given.table("zone_kc"), age_y)
    rules = params.rules()
    rules = replace(rules, plantings=(*rules.plantings, *grown.values()))
    rows = rows_grown(zone_rows(given.frame("planting_zones")), grown)
    found = planted_zones(rows, textures_of(given.frame("soils")), stores, rules)
    tell([*found.problems, *zones_off(found.zones, grid), *rings_told(elements)])
    usual = usual_water(given.params("works", Works)).ground
    covered = covered_ground(covers_of(given), soils_of(given), grid, usual)
    outlines = {zone.zone_id: zone.shape for zone in found.zones}
    labels, grounds = covered.by_shapes(list(outlines.values()))
    latitude, height_m = position_of(dem, grid, labels > 0, params, given.params("site", Site))
    et0 = reference_of(weather, latitude, height_m, params)
    told = [how_told(et0), *design.arrivals.storms_only_told()]
    told += [surface_told(weather)] if rules.coefficients == "dual" else []
    tell(Problem(Severity.NOTICE, one, "", "year") for one in told)
    drawn = given.frame("elements")
    shapes = dict(zip(drawn["element_id"], drawn.geometry, strict=True))
    site = YearSite(
        found.zones, dict(zip(outlines, grounds, strict=True)), elements,
        fed_zones(elements, shapes, labels, list(outlines), dem, grid, rules),
        under_stores(elements, shapes, outlines), weather, et0.et0_mm, latitude < 0, rules,
        design.feeds, over_beds(elements, shapes, outlines),
    )  # fmt: skip
    tell(bare_beds(site))
    return site, et0, {"latitude_deg": latitude, "elevation_m": height_m}


def latitude_and_height(given: Given) -> tuple[float | None, float]:
    """Latitude [°] and mean height [m] of the site; no latitude where nothing says it."""
    stated = given.params("site", Site).latitude_deg
    return place_of(given.raster("elevation"), given.grid, stated)
