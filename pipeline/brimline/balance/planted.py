"""Planting zones as drawn, with what grows on them, on which soil, and who waters them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.balance.planting import PLANTINGS, Planting
from brimline.balance.soil import TEXTURES, texture
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.rainfall._checks import named

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.balance.rules import YearRules
    from brimline.balance.soil import Within
    from brimline.grid import Grid

_SOURCE = "plan, planting_zones"


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """A polygon of planting as drawn; what was not said is empty or NaN.

    Parameters
    ----------
    name : rows of one name are parts of one zone.
    place : where it was drawn, such as "row 3", for messages.
    texture : of its soil, before what lies under it.
    available_pct : measured water by volume that the soil holds for plants [%].
    draws_on : stores that water it, in order.
    """

    name: str
    place: str
    shape: BaseGeometry
    planting: str = ""
    texture: str = ""
    root_depth_m: float = math.nan
    available_pct: float = math.nan
    mulch_share: float = math.nan
    irrigated: bool = True
    draws_on: tuple[str, ...] = ()


@dataclass(slots=True)
class PlantedZone:
    """A zone before the weather.

    Parameters
    ----------
    own_season : the planting's days of the year are those of this site, not of the north.
    textures : soil texture to its share of the zone's ground.
    measured_pct : water by volume that the soil holds for plants [%]; NaN follows from the texture.
    draws_on : as drawn; empty asks in the usual order.
    assumed : what was assumed, in words.
    """

    zone_id: str
    shape: BaseGeometry
    planting: Planting
    own_season: bool
    textures: dict[str, float]
    root_depth_m: float
    measured_pct: float
    mulch_share: float
    irrigated: bool
    draws_on: tuple[str, ...]
    assumed: list[str] = field(default_factory=list)

    def available_mm(self, within: Within = "middle") -> float:
        """Water that the root zone holds for plants [mm]."""
        if not math.isnan(self.measured_pct):
            return self.measured_pct * 10 * self.root_depth_m
        return sum(
            share * TEXTURES[name].available_mm(self.root_depth_m, within)
            for name, share in self.textures.items()
        )

    def evaporable_mm(self, within: Within = "middle") -> tuple[float, float]:
        """Water that evaporates from the surface: without hindrance, and at all [mm]."""
        parts = [
            (share * readily, share * at_all)
            for name, share in self.textures.items()
            for readily, at_all in (TEXTURES[name].evaporable_mm(within),)
        ]
        return sum(part[0] for part in parts), sum(part[1] for part in parts)

    @property
    def texture_text(self) -> str:
        """The textures, the largest first."""
        if not math.isnan(self.measured_pct):
            return "measured"
        return ", ".join(sorted(self.textures, key=lambda name: -self.textures[name]))


@dataclass(slots=True)
class Zones:
    """All zones in the order in which they are watered, and what was found on the way."""

    zones: list[PlantedZone] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def planted_zones(
    rows: Sequence[ZoneRow],
    soils: Sequence[tuple[BaseGeometry, str]],
    stores: Sequence[str],
    rules: YearRules,
) -> Zones:
    """Make the zones of what was drawn; every fault is an error that names the row.

    Parameters
    ----------
    soils : outlines and textures of the ground, the first before those that overlap it.
    stores : names of the elements that were drawn.
    """
    found = Zones()
    plantings = {**PLANTINGS, **{own.name: own for own in rules.plantings}}
    for name in (*rules.draw_order, *(n for use in rules.uses for n in use.draws_on)):
        if name not in stores:
            found.problems.append(_no_store(name, stores, "configuration", "year"))
    shapes: dict[str, list[BaseGeometry]] = {}
    for row in rows:
        if row.name in shapes:  # a further part of a polygon in several parts
            shapes[row.name].append(row.shape)
            continue
        shapes[row.name] = [row.shape]
        zone = _zone(row, plantings, rules, found.problems)
        if zone is None:
            continue
        for name in zone.draws_on:
            if name not in stores:
                found.problems.append(_no_store(name, stores, _SOURCE, row.place))
        found.zones.append(zone)
    taken = [*shapes, *(use.name for use in rules.uses)]
    for name in sorted({name for name in taken if taken.count(name) > 1}):
        message = f"{name} is the name of two zones or uses"
        found.problems.append(_error(message, "give each its own", "configuration", "year.uses"))
    for zone in found.zones:
        zone.shape = shapely.union_all(shapes[zone.zone_id])
        if not zone.textures and (math.isnan(zone.measured_pct) or rules.coefficients == "dual"):
            _lay_on_soils(zone, soils, rules, found.problems)
    _tell_overlaps(found)
    _in_order(found, rules)
    return found


def _zone(
    row: ZoneRow, plantings: Mapping[str, Planting], rules: YearRules, problems: list[Problem]
) -> PlantedZone | None:
    assumed = [] if row.planting else [f"planting taken as {rules.usual_planting}"]
    try:
        planting = plantings[named(row.planting or rules.usual_planting, plantings, "planting")]
        soil = {texture(row.texture).name: 1.0} if row.texture else {}
    except ValueError as error:
        message = f"{row.name}: {error}"
        problems.append(_error(message, "correct the column", _SOURCE, row.place))
        return None
    root_depth_m = planting.root_depth_m if math.isnan(row.root_depth_m) else row.root_depth_m
    for name, value in (("root_depth_m", root_depth_m), ("available_pct", row.available_pct)):
        if value <= 0:
            message = f"{row.name}: {name} must be above 0, got {value:g}"
            problems.append(_error(message, "correct it or leave it empty", _SOURCE, row.place))
            return None
    return PlantedZone(
        row.name,
        row.shape,
        planting,
        any(own.name == planting.name for own in rules.plantings),
        soil,
        root_depth_m,
        row.available_pct,
        rules.mulch_share if math.isnan(row.mulch_share) else row.mulch_share,
        row.irrigated,
        row.draws_on,
        assumed,
    )


def _lay_on_soils(
    zone: PlantedZone,
    soils: Sequence[tuple[BaseGeometry, str]],
    rules: YearRules,
    problems: list[Problem],
) -> None:
    """Share the zone's ground among the soil textures under it."""
    areas: dict[str, float] = {}
    left = zone.shape
    for shape, said in soils:
        part = left.intersection(shape)
        if part.area <= 0:
            continue
        left = left.difference(shape)
        try:
            name = texture(said).name
        except ValueError as error:
            problems.append(_error(f"under {zone.zone_id}: {error}", "correct it", "soils"))
            continue
        areas[name] = areas.get(name, 0.0) + part.area
    if left.area > 0.01 * zone.shape.area:
        usual = _usual_texture(rules, problems)
        areas[usual] = areas.get(usual, 0.0) + left.area
        zone.assumed.append(f"soil taken as {usual} on {100 * left.area / zone.shape.area:.0f} %")
    total = sum(areas.values())
    zone.textures = {name: area / total for name, area in areas.items()}


def _usual_texture(rules: YearRules, problems: list[Problem]) -> str:
    try:
        return texture(rules.usual_texture).name
    except ValueError as error:
        told = _error(str(error), "correct it", "configuration", "year.usual_texture")
        if told not in problems:
            problems.append(told)
        return next(iter(TEXTURES))


def _tell_overlaps(found: Zones) -> None:
    shapes = [zone.shape for zone in found.zones]
    if not shapes:
        return
    tree = shapely.STRtree(shapes)
    for one, other in np.sort(tree.query(shapes, predicate="intersects").T, axis=1).tolist():
        if one >= other:
            continue
        shared = shapes[one].intersection(shapes[other]).area
        names = f"{found.zones[one].zone_id} and {found.zones[other].zone_id}"
        message = f"{names} share {shared:.0f} m², which is counted in both"
        told = Problem(Severity.WARNING, message, "draw them side by side", _SOURCE)
        if shared > 0.01 * min(shapes[one].area, shapes[other].area) and told not in found.problems:
            found.problems.append(told)


def _in_order(found: Zones, rules: YearRules) -> None:
    """Put the zones that are watered first to the front."""
    names = [zone.zone_id for zone in found.zones]
    for name in rules.zone_order:
        if name not in names:
            near = get_close_matches(name, names, n=1)
            hint = f"did you mean {near[0]}?" if near else f"drawn are: {', '.join(names)}"
            found.problems.append(
                _error(f"there is no zone {name}", hint, "configuration", "year.zone_order")
            )
    rank = {name: place for place, name in enumerate(rules.zone_order)}
    found.zones.sort(key=lambda zone: rank.get(zone.zone_id, len(rank)))


def _no_store(name: str, stores: Sequence[str], source: str, place: str) -> Problem:
    near = get_close_matches(name, stores, n=1)
    hint = f"did you mean {near[0]}?" if near else f"drawn are: {', '.join(stores) or 'none'}"
    return _error(f"there is no store {name}", hint, source, place)


def _error(message: str, mend: str, source: str, place: str = "") -> Problem:
    return Problem(Severity.ERROR, message, mend, source, place)


def zones_off(zones: Sequence[PlantedZone], grid: Grid) -> list[Problem]:
    """Say which zones lie off the grid."""
    return [
        Problem(
            Severity.ERROR,
            f"{zone.zone_id} lies outside the elevation",
            "move it, or get more elevation",
            "plan, planting_zones",
        )
        for zone in zones
        if not cells_inside([zone.shape], grid, all_touched=True).any()
    ]
