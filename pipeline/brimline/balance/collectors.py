"""Tanks, ponds, basins and swales as stores: what reaches them each day, whose roots they feed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.balance.system import WaterStore
from brimline.balance.wetness import GRASS_ROOTS_M, WettingSoil, shed_mm
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.balance.rules import YearRules
    from brimline.grid import Elevation, Grid
    from brimline.rainfall import MixedGround, OutsideGround

# Evaporation of open water over reference evapotranspiration: FAO-56 (Allen et al. 1998), table
# 12, water shallower than 2 m or in subhumid climates.
OPEN_WATER: Final = 1.05
_FEEDS: Final = frozenset({"swale", "basin"})  # a pond's seepage goes below roots


@dataclass(frozen=True, slots=True)
class Collector:
    """An element that gathers water, as its design leaves it.

    Parameters
    ----------
    kind : ``"tank"``, ``"pond"``, ``"basin"``, ``"swale"`` or ``"drain"``.
    covered : rain and evaporation do not reach its water.
    capacity_m3 : volume held from one day to the next, below its lowest way out [m³].
    start_share : share of it that is held on the first day.
    area_m2, soak_area_m2 : water surface, and ground that it soaks into, at `SHAPE_POINTS` equal
        steps of volume from empty to full [m²].
    spills_to : the element that takes its overflow; another name leaves the site.
    ground : open ground that sheds into it; None where there is none.
    hard_m2, hard_coefficient : surfaces with a runoff coefficient of their own.
    open_m2 : area in plan whose rain falls into it [m²].
    roof_m2, roof_coefficient, first_flush_mm : roofs that are led to it.
    outside : ground beyond the site whose water arrives.
    own_use : the reservoir beneath a bed: only zones that name it draw on it, and the soil of the
        zones over it drains into it.
    """

    element_id: str
    kind: str
    covered: bool
    capacity_m3: float
    start_share: float
    area_m2: tuple[float, ...]
    soak_area_m2: tuple[float, ...]
    soak_mm_per_h: float
    spill_level_m: float
    spills_to: str = ""
    ground: MixedGround | None = None
    hard_m2: float = 0.0
    hard_coefficient: float = 0.0
    open_m2: float = 0.0
    roof_m2: float = 0.0
    roof_coefficient: float = 0.0
    first_flush_mm: float = 0.0
    outside: tuple[OutsideGround, ...] = ()
    own_use: bool = False


def daily_inflow_m3(
    element: Collector,
    rain_mm: NDArray[np.float64],
    drunk_mm: NDArray[np.float64],
    soil: WettingSoil | None,
) -> NDArray[np.float64]:
    """Runoff of an element's ground and roofs (days,) [m³/d].

    Open ground sheds by the NRCS relation on each day's rain, each part for itself, as wet as it
    is that morning. A roof sheds its share of the rain less the first flush of each event.

    Parameters
    ----------
    drunk_mm : (days,) what plants on the ground take without stress [mm/d].
    soil : of the ground; None sheds at average wetness on every day.
    """
    mm_to_m3 = 1e-3
    inflow = np.zeros_like(rain_mm)
    if element.ground is not None:
        runoff = shed_mm(element.ground, rain_mm, drunk_mm, soil)
        inflow = inflow + element.ground.area_m2 * mm_to_m3 * runoff
    # a surface with a runoff coefficient sheds its share of all rain
    inflow = inflow + element.hard_m2 * mm_to_m3 * element.hard_coefficient * rain_mm
    kept = less_flush_mm(rain_mm * element.roof_coefficient, element.first_flush_mm)
    total: NDArray[np.float64] = inflow + element.roof_m2 * mm_to_m3 * kept
    for beyond in element.outside:
        if beyond.ground is None:
            shed = beyond.share * rain_mm
        else:
            shed = shed_mm(beyond.ground, rain_mm, drunk_mm, soil)
        reaches = rain_mm >= beyond.from_mm
        total = total + beyond.area_m2 * mm_to_m3 * np.where(reaches, shed, 0.0)
    return total


def less_flush_mm(runoff_mm: NDArray[np.float64], flush_mm: float) -> NDArray[np.float64]:
    """Take the first flush off a roof's daily runoff, once in each event.

    An event is a run of days with rain; a dry day lets the diverter drain for the next (common
    practice, no source).

    Parameters
    ----------
    runoff_mm : (days,) off the roof [mm/d].

    Returns
    -------
    float64 (days,)
        What is left of each day [mm/d].
    """
    total = np.cumsum(runoff_mm)
    begins = (runoff_mm > 0) & (np.concatenate([[0.0], runoff_mm[:-1]]) <= 0)
    so_far = total - np.maximum.accumulate(np.where(begins, total - runoff_mm, 0.0))
    led = np.minimum(so_far, flush_mm) - np.minimum(so_far - runoff_mm, flush_mm)
    return np.where(runoff_mm > 0, np.maximum(runoff_mm - led, 0.0), 0.0)


def stores_of(
    elements: Sequence[Collector],
    rain_mm: NDArray[np.float64],
    et0_mm: NDArray[np.float64],
    feeds: Mapping[str, dict[str, float]],
    rules: YearRules,
    *,
    by_wetness: bool = True,
) -> tuple[WaterStore, ...]:
    """Make the stores; overflow that would run in a ring leaves instead.

    Parameters
    ----------
    by_wetness : ground sheds as wet as its soil is, under grass on the usual texture; else at
        average wetness.
    """
    soil = WettingSoil.of({rules.usual_texture: 1.0}, GRASS_ROOTS_M) if by_wetness else None
    targets = spill_targets(elements)
    return tuple(
        WaterStore(
            element.element_id,
            element.capacity_m3,
            daily_inflow_m3(element, rain_mm, et0_mm, soil),
            np.array(element.area_m2),
            np.array(element.soak_area_m2),
            open_m2=element.open_m2,
            seep_mm=24 * element.soak_mm_per_h,
            evaporates=0.0 if element.covered else OPEN_WATER,
            spills_to=targets[element.element_id],
            feeds=feeds.get(element.element_id, {}),
            reserve_share=rules.pond_reserve_share if element.kind == "pond" else 0.0,
            start_full=element.start_share,
        )
        for element in elements
    )


def spill_targets(elements: Sequence[Collector]) -> dict[str, str]:
    """Where each store spills; empty where that leaves the site or would close a ring."""
    known = {element.element_id for element in elements}
    targets: dict[str, str] = {}
    for element in elements:
        name, to = element.element_id, element.spills_to
        at = to if to in known else ""
        while at and at != name:
            at = targets.get(at, "")
        targets[name] = "" if at == name else to if to in known else ""
    return targets


def rings_told(elements: Sequence[Collector]) -> list[Problem]:
    """Tell of overflow that was cut because it runs in a ring."""
    known = {element.element_id for element in elements}
    targets = spill_targets(elements)
    cut = [
        element.element_id
        for element in elements
        if element.spills_to in known and not targets[element.element_id]
    ]
    return [
        Problem(
            Severity.WARNING,
            f"overflow of {name} runs in a ring; through the year it is taken to leave the site",
            "redraw where it spills",
            "elements",
        )
        for name in cut
    ]


def usual_order(elements: Sequence[Collector], rules: YearRules) -> tuple[str, ...]:
    """Return the order in which stores are asked by zones that do not say."""
    names = {element.element_id for element in elements}
    if rules.draw_order:
        return tuple(name for name in rules.draw_order if name in names)
    return tuple(
        element.element_id
        for kind in ("tank", "pond")
        for element in elements
        if element.kind == kind and not element.own_use
    )


def fed_zones(
    elements: Sequence[Collector],
    shapes: Mapping[str, BaseGeometry],
    zone_labels: NDArray[np.int32],
    zone_ids: Sequence[str],
    levels: Elevation,
    grid: Grid,
    rules: YearRules,
) -> dict[str, dict[str, float]]:
    """Share of each swale's and basin's soakage that reaches the roots of each zone.

    What soaks in spreads evenly under the element and under the ground within
    `year.soak_reach_m` of it that lies lower than its water; of what lies under a zone,
    `year.soak_share` stays within reach of roots, the rest drains. A cell counts for one zone
    only, so nothing is fed twice. Common practice, no source.

    Parameters
    ----------
    shapes : outline or line of each element.
    zone_labels : int32 (rows, cols), place of the zone (from 1) that a cell belongs to.
    levels : float32 (rows, cols) ground [m].
    """
    found: dict[str, dict[str, float]] = {}
    for element in elements:
        name = element.element_id
        if element.kind not in _FEEDS or element.soak_mm_per_h <= 0 or name not in shapes:
            continue
        window, cells = _near(shapes[name], rules.soak_reach_m, grid)
        wet = cells & (levels[window] < element.spill_level_m)
        wet |= cells_inside([shapes[name]], grid, all_touched=True)[window]
        counts = np.bincount(zone_labels[window][wet], minlength=len(zone_ids) + 1)
        shares = rules.soak_share * counts / max(int(counts.sum()), 1)
        fed = {
            zone: float(share)
            for zone, share in zip(zone_ids, shares[1:], strict=True)
            if share > 0
        }
        if fed:
            found[name] = fed
    return found


def over_beds(
    elements: Sequence[Collector],
    shapes: Mapping[str, BaseGeometry],
    zones: Mapping[str, BaseGeometry],
) -> dict[str, dict[str, float]]:
    """Share of each zone's ground that lies over each reservoir beneath a bed.

    Parameters
    ----------
    shapes : outline or line of each element.
    zones : outline of each zone by name.

    Returns
    -------
    dict
        Zone to bed to share; zones over no bed are left out.
    """
    beds = {one.element_id: shapes.get(one.element_id) for one in elements if one.own_use}
    found: dict[str, dict[str, float]] = {}
    for zone, shape in zones.items():
        for bed, outline in beds.items():
            share = 0.0 if outline is None else outline.intersection(shape).area / shape.area
            if share > 0:
                found.setdefault(zone, {})[bed] = float(share)
    return found


def under_stores(
    elements: Sequence[Collector],
    shapes: Mapping[str, BaseGeometry],
    zones: Mapping[str, BaseGeometry],
) -> dict[str, float]:
    """Share of each zone's ground that lies under open stores, which take the rain there.

    Parameters
    ----------
    shapes : outline or line of each element; a line's ground lies along it evenly.
    zones : outline of each zone by name.
    """
    found: dict[str, float] = {}
    for name, zone in zones.items():
        under_m2 = 0.0
        for element in elements:
            shape = shapes.get(element.element_id)
            if shape is None or element.open_m2 <= 0:
                continue
            part = shape.intersection(zone)
            whole, inside = (
                (shape.area, part.area) if shape.area > 0 else (shape.length, part.length)
            )
            if whole > 0:
                under_m2 += element.open_m2 * inside / whole
        if under_m2 > 0:
            found[name] = min(under_m2 / zone.area, 1.0)
    return found


def _near(
    shape: BaseGeometry, reach_m: float, grid: Grid
) -> tuple[tuple[slice, slice], NDArray[np.bool_]]:
    """Cells within reach of a shape, in a window around it."""
    touched = cells_inside([shape], grid, all_touched=True)
    rows, cols = np.nonzero(touched)
    if rows.size == 0:
        return (slice(0, 0), slice(0, 0)), np.zeros((0, 0), dtype=np.bool_)
    margin = int(np.ceil(reach_m / grid.cell_m)) + 1
    window = (
        slice(max(rows.min() - margin, 0), rows.max() + margin + 1),
        slice(max(cols.min() - margin, 0), cols.max() + margin + 1),
    )
    distance = ndimage.distance_transform_edt(~touched[window], sampling=grid.cell_m)
    return window, np.asarray(distance <= reach_m)
