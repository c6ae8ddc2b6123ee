"""What the year's balance needs to know of the elements, as one plain fact.

The stage that designs the elements has measured all of it; nothing is worked out twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.balance.system import SHAPE_POINTS
from brimline.elements import Kind
from brimline.stages._works_arrivals import usual_ground

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.cascade import Network
    from brimline.config import Works
    from brimline.elements import Element
    from brimline.stages._works_arrivals import Arrivals


def water_facts(
    network: Network, arrivals: Arrivals, names: Sequence[str], works: Works
) -> dict[str, Any]:
    """Gather storage, ground, roofs and ways out of every element.

    What an element holds from one day to the next ends at its lowest way out, pipe or sill; what
    stands above runs off within the day.

    Parameters
    ----------
    names : of everything that was drawn, made or not.
    """
    return {
        "usual_ground": usual_ground(works).plain(),
        "inflows_left_out": sum(len(flows) for flows in arrivals.outside.values()),
        "left_out": [name for name in names if name not in network.index],
        "elements": [_element(element, network, arrivals) for element in network.elements],
    }


def no_water_facts(names: Sequence[str], works: Works) -> dict[str, Any]:
    """Return the same where no element was made."""
    return {
        "usual_ground": usual_ground(works).plain(),
        "inflows_left_out": 0,
        "left_out": list(names),
        "elements": [],
    }


def _element(element: Element, network: Network, arrivals: Arrivals) -> dict[str, Any]:
    name, stages = element.element_id, element.stages
    ways = network.ways_out(name)
    top_m = min(ways[0].outlet.crest_m, element.crest_level_m) if ways else element.spill_level_m
    full_m3 = max(float(stages.storage_at(top_m)), 0.0)
    levels = stages.level_at(np.linspace(0.0, full_m3, SHAPE_POINTS))
    catchment, hard = arrivals.catchments.get(name), arrivals.hard.get(name)
    start_m3 = float(stages.storage_at(max(element.start_level_m, element.floor_m)))
    return {
        "element_id": name,
        "kind": str(element.kind),
        "covered": element.kind is Kind.TANK,
        "capacity_m3": full_m3,
        "start_share": min(start_m3 / full_m3, 1.0) if full_m3 > 0 else 0.0,
        "area_m2": stages.area_at(levels).tolist(),
        "soak_area_m2": stages.soak_area_at(levels).tolist(),
        "soak_mm_per_h": element.soak.design_mm_per_h,
        "spill_level_m": element.spill_level_m,
        "spills_to": ways[0].to_id if ways else "",
        "catchment_m2": catchment.area_m2 if catchment else 0.0,
        "curve_number": catchment.curve_number if catchment else 0.0,
        "hard_m2": hard.area_m2 if hard else 0.0,
        "hard_coefficient": hard.coefficient if hard else 0.0,
        "open_m2": arrivals.open_m2[name],
        "roof_m2": arrivals.roofs_m2.get(name, 0.0),
        "roof_coefficient": arrivals.roof_coefficients.get(name, 0.0),
        "first_flush_mm": arrivals.roof_flush_mm.get(name, 0.0),
    }
