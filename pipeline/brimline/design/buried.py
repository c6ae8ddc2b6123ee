"""Trenches of a design's pipes and dips in paths, and what of them a person must look at."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import shapely
from shapely.ops import substring

from brimline.cascade import Finding
from brimline.design.plan import DrawnOverflow, DrawnPipe
from brimline.elements import Pipe, Sill
from brimline.elements.building import DEEP_M, PathDip, Trench

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brimline.cascade import Link
    from brimline.design.making import Design
    from brimline.terrain.shaping import LevelsAt

_WAY_FALL: Final = 0.01  # from a sill to the dip below it
_SHALLOW: Final = 0.5  # share of a pipe; its ends come out of the ground
_SAME_M: Final = 1e-6


def trenches_of(design: Design) -> tuple[Trench, ...]:
    """Return the trenches of drawn pipes."""
    return tuple(
        Trench(
            link.from_id, row.name, row.shape, link.outlet, row.bedding_m, row.trench_m, row.cover_m
        )
        for link, row in zip(design.links, design.drawn_ways, strict=True)
        if isinstance(row, DrawnPipe) and isinstance(link.outlet, Pipe)
    )


def dips_of(design: Design) -> dict[str, list[PathDip]]:
    """Return dips in paths by the element whose way crosses them."""
    found: dict[str, list[PathDip]] = {}
    for link, row, sill in _crossing(design):
        found.setdefault(link.from_id, []).append(_dip(row, sill))
    return found


def buried_findings(design: Design, ground: LevelsAt) -> Iterator[Finding]:
    """Find trenches that are deep or shallow, and dips above their sill."""
    for trench in trenches_of(design):
        dig = trench.measured(ground)
        if dig.deepest_m > DEEP_M:
            text = f"the trench of {trench.name} is up to {dig.deepest_m:.2f} m deep, sides upright"
            yield Finding("deep-dig", trench.element_id, text)
        if dig.shallow_m > _SHALLOW * trench.line.length:
            text = (
                f"{dig.shallow_m:.1f} of {trench.line.length:.1f} m of {trench.name} lie under"
                f" less than {trench.least_cover_m:g} m of ground"
            )
            yield Finding("shallow-pipe", trench.element_id, text)
        if dig.above_m > _SHALLOW * trench.line.length:
            text = (
                f"{dig.above_m:.1f} of {trench.line.length:.1f} m of {trench.name} lie over the"
                " ground: carry it there, or let it drop where it begins"
            )
            yield Finding("shallow-pipe", trench.element_id, text)
    for link, row, sill in _crossing(design):
        dip = _dip(row, sill)
        if dip.level_m > sill.crest_m + _SAME_M:
            text = (
                f"{row.name}: the dip in the path lies at {dip.level_m:.2f} m, above the sill at"
                f" {sill.crest_m:.2f} m"
            )
            yield Finding("dam-in-path", link.from_id, text, link)


def _crossing(design: Design) -> Iterator[tuple[Link, DrawnOverflow, Sill]]:
    for link, row in zip(design.links, design.drawn_ways, strict=True):
        sill = link.outlet
        if not isinstance(sill, Sill) or sill.width_m <= 0:
            continue
        if isinstance(row, DrawnOverflow) and not math.isnan(row.path_m):
            yield link, row, sill


def _dip(row: DrawnOverflow, sill: Sill) -> PathDip:
    """Lay a dip across the middle of a way; a way shorter than the path is all dip."""
    half_m = min(row.path_m, row.shape.length) / 2
    middle_m = row.shape.length / 2
    line = substring(row.shape, middle_m - half_m, middle_m + half_m)
    level_m = row.dip_level_m
    if math.isnan(level_m):
        level_m = sill.crest_m - _WAY_FALL * (middle_m - half_m)
    corners = shapely.get_coordinates(line)
    return PathDip(level_m, sill.width_m, shapely.LineString(corners[[0, -1]]))
