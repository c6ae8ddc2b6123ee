"""Elements dug and heaped up: the designed surface, the earth, and where the spoil goes."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import shapely

from brimline.config import Earthworks, Survey
from brimline.design import StandingWalls, dug, quantities_of, sized_downpipes
from brimline.elements.building import Quantities
from brimline.engine.stage import Stage
from brimline.inputs.rows import stockpiles_of
from brimline.inputs.rules import building_of, soil_as_dug
from brimline.layers import layer
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of, table_of, values_of
from brimline.stages._plan import BUILT, ground_of_design, storms_of
from brimline.stages._survey_error import SUPPORT, survey_error_m

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("earthworks", Earthworks)
    soil, site = soil_as_dug(params), ground_of_design(given)
    found = dug(
        site, soil, stockpiles_of(given.frame("stockpiles")),
        refine=params.refine, interval_m=params.section_interval_m,
        error_m=survey_error_m(given), correlation_m=given.params("survey", Survey).correlation_m,
    )  # fmt: skip
    report.tell(found.told())
    quantities = quantities_of(
        found, soil, building_of(params),
        sized_downpipes(site.design.arrivals.led, storms_of(given).design),
        stone_m=params.sill_stone_m, apron_m=params.sill_apron_m,
    )  # fmt: skip
    pads = [
        values_of(plane, layer("pads")) | {"element_id": name, "flag": joined(found.flags_of(name))}
        for name, (_, plane) in site.pads.items()
    ]
    outlines = [shapely.MultiPolygon([outline]) for outline, _ in site.pads.values()]
    walls = given.value("walls", StandingWalls)
    return {
        "design_surface": walls.put_on(found.design_m, site.ready.dem),
        "pads": frame_of(pads, outlines, "pads", given.grid),
        "earth_volumes": table_of(found.elements, "earth_volumes"),
        "spoil_hauls": table_of([asdict(haul) for haul in found.spoil.hauls], "spoil_hauls"),
        "quantities": Quantities(tuple(quantities)),
        "earthworks": {"headline": found.headline},
    }


STAGE = Stage(
    name="earthworks",
    version=3,
    title="digging and heaping up the drawn elements",
    needs=(*BUILT, "storms", "stockpiles", SUPPORT),
    makes=(
        "design_surface", "earth_volumes", "spoil_hauls", "quantities",
        "earthworks", "pads",
    ),
    typed={"quantities": Quantities},
    run=_run,
    tables=("earthworks", "survey"),
)  # fmt: skip
