"""Places where a bank would hold much water for little earth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.choose.ponds import BankRules, pond_sites
from brimline.choose.ponds.around import Neighbourhood, fills_pct
from brimline.config import Ponds, Works
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside, outlines
from brimline.inputs.rules import usual_water
from brimline.layers.flags import joined
from brimline.rainfall import runoff_depth_mm
from brimline.stages._frames import frame_of, table_of
from brimline.stages.weather import WeatherRecord

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from brimline.choose.ponds import PondSite
    from brimline.choose.ponds.around import Surroundings
    from brimline.choose.ponds.sites import BankStage
    from brimline.engine.stage import Given, Made, Reporter

_SELDOM_PCT = 50.0


def _run(given: Given, report: Reporter) -> Made:
    params, works = given.params("ponds", Ponds), given.params("works", Works)
    grid = given.grid
    number = usual_water(works).ground.curve_number
    yearly_mm = yearly_runoff_mm(given.value("weather", WeatherRecord), number)
    allowed = cells_inside(given.frame("boundary").geometry, grid)
    allowed &= ~cells_inside(given.frame("keep_out").geometry, grid)
    ground = given.raster("elevation"), given.raster("near_direction")
    area_m2 = given.raster("contributing_area_m2")
    found = pond_sites(
        *ground,
        area_m2,
        grid,
        rules_of(params),
        allowed=allowed,
        yearly_mm=float(yearly_mm.mean()) if yearly_mm.size else None,
    )
    report.advanced(0.8, "what lies around them")
    drawn = given.frame("keep_out_drawn")
    near = Neighbourhood(
        *ground, area_m2, allowed, grid, params.path_area_m2,
        list(drawn.geometry[drawn["kind"] == "building"]),
    )  # fmt: skip
    names = [f"p{place}" for place in range(1, len(found) + 1)]
    shapes = [_outline(site, given) for site in found]
    rows = [
        _row(name, site, near.of(site), yearly_mm, _soil(shape, given), works)
        for name, site, shape in zip(names, found, shapes, strict=True)
    ]
    curves = [
        {"site_id": name, **_stage(stage)}
        for name, site in zip(names, found, strict=True)
        for stage in site.stages
    ]
    banks = [
        {"site_id": name, **_stage(site.best)} for name, site in zip(names, found, strict=True)
    ]
    return {
        "pond_sites": frame_of(rows, shapes, "pond_sites", grid),
        "pond_banks": frame_of(banks, [site.bank for site in found], "pond_banks", grid),
        "pond_curves": table_of(curves, "pond_curves"),
    }


def rules_of(params: Ponds) -> BankRules:
    """Return the rules of the search."""
    return BankRules(
        depths_m=params.depths_m,
        over_m=params.freeboard_m,
        top_m=params.top_m,
        upstream=params.upstream_side,
        downstream=params.downstream_side,
        half_lengths_m=params.half_lengths_m,
        wing_m=params.wing_m,
        reach_m=params.reach_m,
        path_area_m2=params.path_area_m2,
        least_m3=params.least_m3,
        most=params.most,
    )


def yearly_runoff_mm(record: WeatherRecord, curve_number: float) -> NDArray[np.float64]:
    """Runoff of each whole year of a record, day by day by the curve number [mm]."""
    days = record.days
    if days is None:
        return np.empty(0)
    runoff = runoff_depth_mm(days.precipitation_mm, curve_number)
    years = days.dates.astype("datetime64[Y]")
    each, where, count = np.unique(years, return_inverse=True, return_counts=True)
    sums = np.bincount(where, runoff, minlength=len(each))
    return np.asarray(sums[count >= 365])


def _outline(site: PondSite, given: Given) -> shapely.MultiPolygon:
    rows, cols = site.wet
    top, left = int(rows.min()), int(cols.min())
    labels = np.zeros((int(rows.max()) - top + 1, int(cols.max()) - left + 1), dtype=np.int32)
    labels[rows - top, cols - left] = 1
    return outlines(labels, given.grid, origin=(top, left))[1]


def _soil(shape: shapely.MultiPolygon, given: Given) -> str | None:
    soils = given.frame("soils")
    if not len(soils):
        return None
    share = soils.geometry.intersection(shape).area
    place = int(share.to_numpy().argmax())
    texture = soils["texture"].iloc[place]
    return str(texture) if share.iloc[place] > 0 and isinstance(texture, str) else None


def _row(
    name: str,
    site: PondSite,
    around: Surroundings,
    yearly_mm: NDArray[np.float64],
    soil: str | None,
    works: Works,
) -> dict[str, Any]:
    best, known = site.best, yearly_mm.size > 0
    fills = fills_pct(best.storage_m3, site.catchment_m2, yearly_mm) if known else None
    flags = set()
    if best.height_m > works.engineer_height_m or best.storage_m3 > works.engineer_volume_m3:
        flags.add("engineer")
    if not around.spill_side:
        flags.add("no-spill-way")
    if np.isfinite(around.building_m):
        flags.add("building-below")
    if fills is not None and fills < _SELDOM_PCT:
        flags.add("fills-seldom")
    return {
        "site_id": name,
        "kind": site.kind,
        "pays": site.pays,
        **_stage(best),
        "catchment_m2": site.catchment_m2,
        "yearly_m3": site.catchment_m2 * float(yearly_mm.mean()) / 1000 if known else None,
        "fills_pct": fills,
        "commands_m2": around.commands_m2,
        "spill_side": around.spill_side or None,
        "building_m": around.building_m if np.isfinite(around.building_m) else None,
        "soil": soil,
        "flag": joined(flags),
    }


def _stage(stage: BankStage) -> dict[str, Any]:
    return {
        "depth_m": stage.depth_m,
        "level_m": stage.level_m,
        "crest_m": stage.crest_m,
        "storage_m3": stage.storage_m3,
        "water_m2": stage.water_m2,
        "fill_m3": stage.fill_m3,
        "storage_per_earth": stage.storage_per_earth,
        "bank_length_m": stage.length_m,
        "bank_height_m": stage.height_m,
    }


STAGE = Stage(
    name="ponds",
    version=1,
    title="places for ponds",
    needs=(
        "grid", "near", "elevation", "near_direction", "contributing_area_m2", "boundary",
        "keep_out", "keep_out_drawn", "soils", "weather",
    ),
    makes=("pond_sites", "pond_banks", "pond_curves"),
    run=_run,
    tables=("ponds", "works"),
    near=True,
)  # fmt: skip
