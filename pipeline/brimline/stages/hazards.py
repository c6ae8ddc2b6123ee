"""What a failed bank would do: a screening of every element that holds water above ground."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from brimline.cascade.beyond import breach_peak_m3_s
from brimline.cascade.failure import failure_way, hazard_rating
from brimline.cascade.safety import water_on_bank_m
from brimline.config import Earthworks, Hazard
from brimline.design import BUILDING, Design, extents_of
from brimline.drainage.flow import flow_directions
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_touched
from brimline.inputs.rows import text_of
from brimline.inputs.rules import building_of
from brimline.layers.flags import joined, needs_look
from brimline.stages._frames import frame_of
from brimline.stages._plan import SURVEYED, standing_of
from brimline.terrain.conditioning import fill
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.cascade.failure import FailureWay
    from brimline.design import Extent, PlacedElement, StandingGround
    from brimline.elements import Element
    from brimline.engine.stage import Given, Made, Reporter

_ROADS: Final = frozenset({"paving", "gravel", "dirt track"})  # covers that people drive on
_ROOF: Final = "roof"
_CUT_M: Final = 0.05  # a sill may lie this much over the ground and still stand on it


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("hazard", Hazard)
    design = given.value("design", Design)
    banked = [
        one
        for one in design.placed
        if one.element.embankment_height_m > 0 and one.element.held_above_ground_m3 > 0
    ]
    if not banked:
        return {"bank_hazards": frame_of([], [], "bank_hazards", given.grid)}
    standing = standing_of(given)
    reaches = extents_of(banked, standing, building_of(given.params("earthworks", Earthworks)))
    filled = fill(given.raster("design_surface"))  # a flood runs on over hollows
    directions = flow_directions(filled)
    things = {kind: _things(given, kind) for kind in (BUILDING, "road")}
    site = given.frame("boundary").geometry.union_all()
    records, lines = [], []
    for place, one in enumerate(banked):
        report.advanced(place / len(banked), f"below {one.name}")
        element, reach = one.element, reaches[one.name]
        way = failure_way(
            directions, filled, _bank_cells(reach, given), given.grid,
            crest_m=element.crest_level_m, height_m=element.embankment_height_m,
            follow_m=params.follow_m,
        )  # fmt: skip
        record = _sizes(element) | {"emergency_way": _emergency_way(one, design, standing)}
        record |= {"buildings": 0, "roads": 0}
        if way is not None:
            record |= _in_the_way(way, things, site, given, params)
        records.append(record | _told(record, params))
        lines.append(one.shape if way is None else way.line)
    _tell(records, report)
    return {"bank_hazards": frame_of(records, lines, "bank_hazards", given.grid)}


def _bank_cells(reach: Extent, given: Given) -> NDArray[np.int64]:
    return cells_touched(reach.earth.difference(reach.water), given.grid)


def _sizes(element: Element) -> dict[str, Any]:
    height_m, volume_m3 = element.embankment_height_m, element.held_above_ground_m3
    return {
        "element_id": element.element_id,
        "height_m": height_m,
        "water_m": water_on_bank_m(element),
        "held_m3": volume_m3,
        "height_volume_m4": height_m * volume_m3,
        "peak_m3_s": breach_peak_m3_s(volume_m3, height_m),
        "rating_m2_s": hazard_rating(height_m),
    }


def _things(given: Given, kind: str) -> list[tuple[str, BaseGeometry]]:
    """Return buildings or roads: what is kept clear of, and surfaces of such a cover."""
    kept, surfaces = given.frame("keep_out_drawn"), given.frame("surfaces")
    covers = {_ROOF} if kind == BUILDING else _ROADS
    found = [(row, row.kind == kind, kind) for row in kept.itertuples(index=False)]
    found += [(row, row.cover in covers, row.cover) for row in surfaces.itertuples(index=False)]
    return [(text_of(row, "name") or word, row.geometry) for row, wanted, word in found if wanted]


def _in_the_way(
    way: FailureWay,
    things: dict[str, list[tuple[str, BaseGeometry]]],
    site: BaseGeometry,
    given: Given,
    params: Hazard,
) -> dict[str, Any]:
    record: dict[str, Any] = {}
    for kind, every in things.items():
        shapes = [shape for _, shape in every]
        hit = way.reaches(shapes, given.raster("elevation"), given.grid, params.spread_m)
        if hit:
            record[f"{kind}_id"] = every[hit[0].place][0]
            record[f"{kind}_m"] = hit[0].distance_m
            record[f"{kind}s"] = len(hit)
    leaves_m = way.leaves_m(site)
    return record | ({"leaves_m": leaves_m} if math.isfinite(leaves_m) else {})


def _emergency_way(one: PlacedElement, design: Design, ground: StandingGround) -> str:
    """Say whether water that no pipe takes leaves over ground as it lies, over fill, or nowhere."""
    sills = [
        (link.outlet.crest_m, line)
        for link, line in zip(design.links, design.lines, strict=True)
        if link.from_id == one.name and not link.outlet.is_pipe
    ]
    if not sills:
        return "none"
    lies_on = [
        ground.level_at(line.interpolate(0)) >= level_m - _CUT_M for level_m, line in sills
    ]  # fmt: skip
    return "natural ground" if any(lies_on) else "fill"


def _told(record: dict[str, Any], params: Hazard) -> dict[str, Any]:
    """Say which thresholds are passed, and what that means."""
    flags, told = [], []
    dangerous = record["rating_m2_s"] >= params.danger_rating_m2_s
    if record["height_volume_m4"] > params.engineer_height_volume_m4:
        flags.append("engineer")
        told.append(
            f"height times volume is {record['height_volume_m4']:.0f} m⁴, above"
            f" {params.engineer_height_volume_m4:.0f} m⁴"
        )
    for kind in (BUILDING, "road"):
        if f"{kind}_id" in record:
            flags.append("harm-below" if dangerous else "failure-way")
            told.append(
                f"its water could reach {record[f'{kind}_id']} after {record[f'{kind}_m']:.0f} m"
            )
    if "leaves_m" in record:
        flags.append("failure-way")
        told.append(f"its water would leave the site after {record['leaves_m']:.0f} m")
    if record["emergency_way"] == "fill" and record["water_m"] >= params.embankment_water_m:
        flags.append("spillway-on-fill")
        told.append(
            f"{record['water_m']:.2f} m of water stand against its bank, and it spills over fill"
        )
    return {"flag": joined(flags), "notes": "; ".join(told) or None}


def _tell(records: Sequence[dict[str, Any]], report: Reporter) -> None:
    look = [one["element_id"] for one in records if needs_look(one["flag"].split(";"))]
    if look:
        highest = max(records, key=lambda one: one["height_m"])
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(look), 'bank asks', 'banks ask')} for care: {', '.join(look)}; the"
                f" highest, of {highest['element_id']}, stands {highest['height_m']:.2f} m over its"
                " toe",
                "read bank_hazards: what would lie in the way of their water",
                "bank_hazards",
            )
        )


STAGE = Stage(
    name="hazards",
    version=1,
    title="what lies in the way of a failed bank",
    needs=(*SURVEYED, "design", "design_surface", "keep_out_drawn", "boundary"),
    makes=("bank_hazards",),
    run=_run,
    tables=("hazard", "earthworks", "works"),
)
