"""Planting zones as drawn, with what grows on them, on which soil, and who waters them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from brimline.balance.planting import PLANTINGS, Planting
from brimline.balance.soil import TEXTURES, texture
from brimline.errors import Problem, Severity
from brimline.rainfall._checks import named
from brimline.stages._works_shapes import number_of, text_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.balance.soil import Within
    from brimline.config import OwnPlanting, Year

_SOURCE = "plan, planting_zones"


@dataclass(slots=True)
class DrawnZone:
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

    zones: list[DrawnZone] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def own_planting(one: OwnPlanting) -> Planting:
    """Make a planting type of what the configuration says.

    Basal coefficients are not asked for: they lie below the single ones as those of FAO-56's
    tables do (0.15 for bare ground, 0.05 less in full leaf, 0.10 less at the end).

    Raises
    ------
    ValueError
        If its stages are longer than a year.
    """
    return Planting(
        one.name,
        (one.kc_initial, one.kc_middle, one.kc_end),
        (
            min(0.15, one.kc_initial),
            max(one.kc_middle - 0.05, 0.0),
            max(one.kc_end - 0.10, 0.0),
        ),
        one.stage_days,
        one.first_day,
        one.kc_dormant,
        one.root_depth_m,
        one.depletion,
        "the site's own",
        (one.height_m, one.height_m),
        standard_climate=False,
    )


def read_zones(
    rows: GeoDataFrame, soils: GeoDataFrame, stores: Sequence[str], params: Year
) -> Zones:
    """Read the zones; every fault is an error that names the row.

    Parameters
    ----------
    rows : planting_zones as drawn.
    soils : column texture.
    stores : names of the elements that were drawn.
    """
    found = Zones()
    plantings = _plantings(params, found.problems)
    for name in (*params.draw_order, *(n for use in params.uses for n in use.draws_on)):
        if name not in stores:
            found.problems.append(_no_store(name, stores, "configuration", "year"))
    shapes: dict[str, list[BaseGeometry]] = {}
    for number, row in enumerate(rows.itertuples(index=False), start=1):
        zone_id = text_of(row, "name") or f"zone {number}"
        if zone_id in shapes:  # a further part of a polygon in several parts
            shapes[zone_id].append(row.geometry)
            continue
        shapes[zone_id] = [row.geometry]
        place = f"row {number}"
        zone = _zone(zone_id, row, place, plantings, params, found.problems)
        if zone is None:
            continue
        for name in zone.draws_on:
            if name not in stores:
                found.problems.append(_no_store(name, stores, _SOURCE, place))
        found.zones.append(zone)
    taken = [*shapes, *(use.name for use in params.uses)]
    for name in sorted({name for name in taken if taken.count(name) > 1}):
        message = f"{name} is the name of two zones or uses"
        found.problems.append(_error(message, "give each its own", "configuration", "year.uses"))
    for zone in found.zones:
        zone.shape = shapely.union_all(shapes[zone.zone_id])
        if not zone.textures and (math.isnan(zone.measured_pct) or params.coefficients == "dual"):
            _lay_on_soils(zone, soils, params, found.problems)
    _tell_overlaps(found)
    _in_order(found, params)
    return found


def _plantings(params: Year, problems: list[Problem]) -> dict[str, Planting]:
    """Types by name, the site's own before the table's."""
    known = dict(PLANTINGS)
    for one in params.plantings:
        try:
            known[one.name] = own_planting(one)
        except ValueError as error:
            problems.append(_error(str(error), "correct it", "configuration", "year.plantings"))
    return known


def _zone(
    zone_id: str,
    row: Any,  # noqa: ANN401 - a row of the layer
    place: str,
    plantings: Mapping[str, Planting],
    params: Year,
    problems: list[Problem],
) -> DrawnZone | None:
    assumed = []
    said = text_of(row, "planting")
    if not said:
        assumed.append(f"planting taken as {params.usual_planting}")
    try:
        planting = plantings[named(said or params.usual_planting, plantings, "planting")]
        soil = {texture(text_of(row, "texture")).name: 1.0} if text_of(row, "texture") else {}
    except ValueError as error:
        problems.append(_error(f"{zone_id}: {error}", "correct the column", _SOURCE, place))
        return None
    root_depth_m = number_of(row, "root_depth_m", planting.root_depth_m)
    measured = number_of(row, "available_pct")
    for name, value in (("root_depth_m", root_depth_m), ("available_pct", measured)):
        if value <= 0:
            problems.append(
                _error(
                    f"{zone_id}: {name} must be above 0, got {value:g}",
                    "correct it or leave it empty",
                    _SOURCE,
                    place,
                )
            )
            return None
    irrigated = getattr(row, "irrigated", None)
    return DrawnZone(
        zone_id,
        row.geometry,
        planting,
        any(own.name == planting.name for own in params.plantings),
        soil,
        root_depth_m,
        measured,
        number_of(row, "mulch_share", params.mulch_share),
        True if irrigated is None or pd.isna(irrigated) else bool(irrigated),
        tuple(name.strip() for name in text_of(row, "draws_on").split(";") if name.strip()),
        assumed,
    )


def _lay_on_soils(
    zone: DrawnZone, soils: GeoDataFrame, params: Year, problems: list[Problem]
) -> None:
    """Share the zone's ground among the soil textures under it."""
    known = soils[soils["texture"].notna()]
    areas: dict[str, float] = {}
    left = zone.shape
    for shape, said in zip(known.geometry, known["texture"], strict=True):
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
        usual = _usual_texture(params, problems)
        areas[usual] = areas.get(usual, 0.0) + left.area
        zone.assumed.append(f"soil taken as {usual} on {100 * left.area / zone.shape.area:.0f} %")
    total = sum(areas.values())
    zone.textures = {name: area / total for name, area in areas.items()}


def _usual_texture(params: Year, problems: list[Problem]) -> str:
    try:
        return texture(params.usual_texture).name
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


def _in_order(found: Zones, params: Year) -> None:
    """Put the zones that are watered first to the front."""
    names = [zone.zone_id for zone in found.zones]
    for name in params.zone_order:
        if name not in names:
            near = get_close_matches(name, names, n=1)
            hint = f"did you mean {near[0]}?" if near else f"drawn are: {', '.join(names)}"
            found.problems.append(
                _error(f"there is no zone {name}", hint, "configuration", "year.zone_order")
            )
    rank = {name: place for place, name in enumerate(params.zone_order)}
    found.zones.sort(key=lambda zone: rank.get(zone.zone_id, len(rank)))


def _no_store(name: str, stores: Sequence[str], source: str, place: str) -> Problem:
    near = get_close_matches(name, stores, n=1)
    hint = f"did you mean {near[0]}?" if near else f"drawn are: {', '.join(stores) or 'none'}"
    return _error(f"there is no store {name}", hint, source, place)


def _error(message: str, mend: str, source: str, place: str = "") -> Problem:
    return Problem(Severity.ERROR, message, mend, source, place)
