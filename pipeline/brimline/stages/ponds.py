"""Places where a bank would hold much water for little earth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.choose.ponds import pond_sites
from brimline.choose.ponds.around import Neighbourhood
from brimline.choose.ponds.place import PondPlace, outline_of
from brimline.config import Ponds, Works
from brimline.design import BUILDING
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.inputs.rows import main_texture
from brimline.inputs.rules import bank_rules, usual_water
from brimline.layers import layer, table
from brimline.rainfall.daily import yearly_runoff_mm
from brimline.stages._frames import frame_of, table_of, values_of
from brimline.stages._survey_error import SUPPORT, withheld
from brimline.stages.weather import WeatherRecord

if TYPE_CHECKING:
    from brimline.choose.ponds import BankStage
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.layers import Layer, Table


def _run(given: Given, report: Reporter) -> Made:
    params, works, grid = given.params("ponds", Ponds), given.params("works", Works), given.grid
    number = usual_water(works).ground.curve_number
    yearly_mm = yearly_runoff_mm(given.value("weather", WeatherRecord).days, number)
    allowed = cells_inside(given.frame("boundary").geometry, grid)
    allowed &= ~cells_inside(given.frame("keep_out").geometry, grid)
    ground = (
        given.raster("elevation"), given.raster("near_direction"),
        given.raster("contributing_area_m2"),
    )  # fmt: skip
    least_m = params.depths_m[0], params.half_lengths_m[0]
    sites = [] if withheld(given, "places for ponds", *least_m, report) else pond_sites(
        *ground, grid, bank_rules(params), allowed=allowed,
        yearly_mm=float(yearly_mm.mean()) if yearly_mm.size else None,
    )  # fmt: skip
    report.advanced(0.8, "what lies around them")
    drawn, soils, declared = (
        given.frame("keep_out_drawn"), given.frame("soils"), layer("pond_sites"),
    )  # fmt: skip
    near = Neighbourhood(
        *ground, allowed, grid, params.path_area_m2,
        list(drawn.geometry[drawn["kind"] == BUILDING]),
    )  # fmt: skip
    shapes = [outline_of(site, grid) for site in sites]
    places = [
        PondPlace(f"p{number}", site, near.of(site), yearly_mm, main_texture(shape, soils),
                  works.engineer_height_m, works.engineer_volume_m3)
        for number, (site, shape) in enumerate(zip(sites, shapes, strict=True), start=1)
    ]  # fmt: skip
    rows = [
        values_of(one, declared, one.site, one.around)
        | _stage(one.site_id, one.site.best, declared)
        for one in places
    ]
    banks = [_stage(one.site_id, one.site.best, layer("pond_banks")) for one in places]
    curves = [
        _stage(one.site_id, stage, table("pond_curves"))
        for one in places
        for stage in one.site.stages
    ]
    return {
        "pond_sites": frame_of(rows, shapes, "pond_sites", grid),
        "pond_banks": frame_of(banks, [site.bank for site in sites], "pond_banks", grid),
        "pond_curves": table_of(curves, "pond_curves"),
    }


def _stage(name: str, stage: BankStage, declared: Layer | Table) -> dict[str, Any]:
    return values_of(stage, declared) | {
        "site_id": name, "bank_length_m": stage.length_m, "bank_height_m": stage.height_m,
    }  # fmt: skip


STAGE = Stage(
    name="ponds",
    version=2,
    title="places for ponds",
    needs=(
        "grid", "near", "elevation", "near_direction", "contributing_area_m2", "boundary",
        "keep_out", "keep_out_drawn", "soils", "weather", SUPPORT,
    ),
    makes=("pond_sites", "pond_banks", "pond_curves"),
    run=_run,
    tables=("ponds", "works"),
    near=True,
)  # fmt: skip
