"""Elements as the year's balance sees them: what a design holds from one day to the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.collectors import Collector
from brimline.balance.system import SHAPE_POINTS
from brimline.elements import Kind, RaisedBed
from brimline.elements.building import filling_m

if TYPE_CHECKING:
    from brimline.design.making import Design
    from brimline.elements import Element


def collectors_of(design: Design) -> list[Collector]:
    """Gather storage, ground, roofs and ways out of every element.

    What an element holds from one day to the next ends at its lowest way out, pipe or sill; what
    stands above runs off within the day.
    """
    return [_collector(one.element, design) for one in design.placed]


def _collector(element: Element, design: Design) -> Collector:
    network, arrivals = design.network, design.arrivals
    name, stages = element.element_id, element.stages
    bed = isinstance(element.shape, RaisedBed)
    ways = network.ways_out(name)
    top_m = min(ways[0].outlet.crest_m, element.crest_level_m) if ways else element.spill_level_m
    full_m3 = max(float(stages.storage_at(top_m)), 0.0)
    levels = stages.level_at(np.linspace(0.0, full_m3, SHAPE_POINTS))
    # water among stones or chips is out of the sun
    open_m2 = np.where(levels > element.floor_m + filling_m(element), stages.area_at(levels), 0.0)
    catchment, hard = arrivals.catchments.get(name), arrivals.hard.get(name)
    roofs = arrivals.roofs.get(name)
    start_m3 = float(stages.storage_at(max(element.start_level_m, element.floor_m)))
    return Collector(
        element_id=name,
        kind=str(element.kind),
        covered=element.kind is Kind.TANK,
        capacity_m3=full_m3,
        start_share=min(start_m3 / full_m3, 1.0) if full_m3 > 0 else 0.0,
        area_m2=tuple(open_m2.tolist()),
        soak_area_m2=tuple(stages.soak_area_at(levels).tolist()),
        soak_mm_per_h=element.soak.design_mm_per_h,
        spill_level_m=element.spill_level_m,
        spills_to=ways[0].to_id if ways else "",
        ground=catchment.ground if catchment else None,
        hard_m2=hard.area_m2 if hard else 0.0,
        hard_coefficient=hard.coefficient if hard else 0.0,
        open_m2=0.0 if bed else arrivals.open_m2[name],  # rain reaches it through the soil
        roof_m2=roofs.area_m2 if roofs else 0.0,
        roof_coefficient=roofs.coefficient if roofs else 0.0,
        first_flush_mm=roofs.flush_mm if roofs else 0.0,
        outside=arrivals.beyond.get(name, ()),
        own_use=bed,
    )
