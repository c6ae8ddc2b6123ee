"""A planting as rows of the catalogue: each plant, what suits each zone, counts, and water."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.planting.plants import WETNESS
from brimline.planting.standing import (
    GrowingPlace,
    crowded,
    lacking,
    shade_between,
    suits,
    unsuited,
)
from brimline.planting.water import AGES_Y, a_week, demand_l, need_l, zone_kc

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.planting.laying import Standing
    from brimline.planting.plants import Plant
    from brimline.planting.water import Climate

Row = dict[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class PlantingGround:
    """What plants find on a site, cell by cell.

    Parameters
    ----------
    level_m, moved_m : float32 (rows, cols), surveyed levels, and how much higher the design lies;
        NaN is nodata [m].
    sun_h : float32 (rows, cols), hours of sun a day in the growing season [h]; NaN unknown.
    wetness : uint8 (rows, cols), place among `WETNESS`; 255 unknown.
    depth_m : float32 (rows, cols), soil before anything is moved [m]; NaN where nobody dug.
    cold : bool (rows, cols); cold air pools there.
    coldest_c : mean of the coldest night of each year [°C]; NaN unknown.
    """

    grid: Grid
    level_m: Elevation
    moved_m: NDArray[np.float32]
    sun_h: NDArray[np.float32]
    wetness: NDArray[np.uint8]
    depth_m: NDArray[np.float32]
    cold: BoolGrid
    coldest_c: float


def at_cells(
    values: NDArray[Any], where: tuple[NDArray[np.int64], NDArray[np.int64]]
) -> NDArray[Any]:
    """Values of a raster at cells; those beyond it take the nearest."""
    row, col = (np.clip(part, 0, size - 1) for part, size in zip(where, values.shape, strict=True))
    found: NDArray[Any] = values[row, col]
    return found


def plant_rows(
    standing: Sequence[Standing],
    blocked: Sequence[Sequence[str]],
    ground: PlantingGround,
    climate: Climate | None,
    hours: NDArray[np.float64] | None,
    *,
    crown_light: float,
) -> list[Row]:
    """Make a row of each plant: where it stands, and whether it thrives there.

    Parameters
    ----------
    blocked : flags of what is in the way of each.
    hours : as `shade_between` takes them; None where the sun is not known.
    crown_light : share of the sun that a crown lets through.
    """
    places = np.array([(one.x, one.y) for one in standing]).reshape(-1, 2)
    cells = ground.grid.cell(places[:, 0], places[:, 1])
    kinds = [one.plant for one in standing]
    level_m = at_cells(ground.level_m, cells).astype(np.float64)
    sun_h = np.full(len(standing), math.nan)
    lost_h, shaded_by = np.zeros(len(standing)), np.full(len(standing), -1)
    if hours is not None:
        sun_h = at_cells(ground.sun_h, cells).astype(np.float64)
        shade = shade_between(places, level_m, kinds, hours, let_through=crown_light)
        lost_h, shaded_by = shade.lost_h, shade.by
    classes, cold = at_cells(ground.wetness, cells), at_cells(ground.cold, cells)
    depth_m = np.maximum(at_cells(ground.depth_m, cells) + at_cells(ground.moved_m, cells), 0)
    close, names = crowded(places, kinds), _numbered(standing)
    week: dict[tuple[Plant, int], float | None] = {
        (plant, age): a_week(need_l(plant, age, climate), climate.driest_month) if climate else None
        for plant in set(kinds)
        for age in AGES_Y
    }
    rows = []
    for at, one in enumerate(standing):
        wet = WETNESS[classes[at]] if classes[at] < len(WETNESS) else ""
        place = GrowingPlace(
            sun_h[at], lost_h[at], wet, ground.coldest_c, float(depth_m[at]), bool(cold[at])
        )
        told = [*unsuited(one.plant, place), *close[at]]
        rows.append(
            {
                "plant_id": names[at],
                "plant": one.plant.name,
                "kind": one.plant.kind,
                "layer": one.plant.layer,
                "zone_id": one.zone_id,
                "guild": one.guild or None,
                "level_m": level_m[at],
                "height_m": one.plant.height_m,
                "crown_m": one.plant.crown_m,
                "sun_h": sun_h[at],
                "lost_h": None if hours is None else lost_h[at],
                "shaded_by": names[shaded_by[at]] if shaded_by[at] >= 0 else None,
                "wetness": wet or None,
                "depth_m": float(depth_m[at]),
                **{f"week_{age}y_l": week[one.plant, age] for age in AGES_Y},
                "flag": (*blocked[at], *(code for code, _ in told)),
                "notes": "; ".join(text for _, text in told) or None,
            }
        )
    return rows


def _numbered(standing: Sequence[Standing]) -> list[str]:
    """Name plants by their zone and their number in it."""
    numbers: Counter[str] = Counter()
    names = []
    for one in standing:
        numbers[one.zone_id] += 1
        names.append(f"{one.zone_id} {numbers[one.zone_id]}")
    return names


def suiting_rows(
    plants: Mapping[str, Plant], zones: Mapping[str, BaseGeometry], ground: PlantingGround
) -> list[Row]:
    """Make rows of how well each plant would grow in each zone, the best of each zone first."""
    known, rows = np.isfinite(ground.level_m), []
    for zone, shape in zones.items():
        inside = known & cells_inside([shape], ground.grid, all_touched=True)
        if not inside.any():
            continue
        found = (
            ground.sun_h[inside], ground.wetness[inside], ground.coldest_c,
            ground.depth_m[inside], ground.cold[inside],
        )  # fmt: skip
        told = [(plant.name, suits(lacking(plant, *found))) for plant in plants.values()]
        rows += [
            {"zone_id": zone, "plant": name, "suits_share": one.share, "lacks": one.lacks or None}
            for name, one in sorted(told, key=lambda each: (-each[1].share, each[0]))
        ]
    return rows


def counts_of(standing: Sequence[Standing]) -> dict[str, Counter[Plant]]:
    """Count the plants of each zone."""
    found: dict[str, Counter[Plant]] = {}
    for one in standing:
        found.setdefault(one.zone_id, Counter())[one.plant] += 1
    return found


def schedule_rows(
    standing: Sequence[Standing], left_out: Mapping[tuple[str, Plant], int]
) -> list[Row]:
    """Make rows of what to buy, by zone and of the whole site.

    Parameters
    ----------
    left_out : how many of each zone's plants found no place.
    """
    by_zone: dict[str | None, Counter[Plant]] = dict(counts_of(standing).items())
    by_zone[None] = sum(by_zone.values(), Counter())
    return [
        {
            "zone_id": zone,
            "plant": plant.name,
            "kind": plant.kind,
            "layer": plant.layer,
            "size": plant.size or None,
            "count": count,
            "price_each": plant.price_each,
            "price": plant.price_each * count,
            "left_out": left_out.get((zone, plant), 0)
            if zone is not None
            else sum(number for (_, other), number in left_out.items() if other == plant),
        }
        for zone, counts in by_zone.items()
        for plant, count in sorted(counts.items(), key=lambda pair: pair[0].name)
    ]


def water_rows(standing: Sequence[Standing], climate: Climate | None) -> list[Row]:
    """Make rows of what plants drink by month and age; none without a climate."""
    if climate is None:
        return []
    return [
        {
            "zone_id": zone,
            "plant": plant.name,
            "layer": plant.layer,
            "age_y": age,
            "month": month + 1,
            "count": count,
            "crown_m2": plant.crown_m2(age),
            "demand_m3": count * demand_l(plant, age, climate)[month] / 1000,
            "need_m3": count * need_l(plant, age, climate)[month] / 1000,
        }
        for zone, counts in counts_of(standing).items()
        for plant, count in counts.items()
        for age in AGES_Y
        for month in range(12)
    ]


def coefficient_rows(
    standing: Sequence[Standing], areas_m2: Mapping[str, float], age_y: float, *, floor_kc: float
) -> list[Row]:
    """Make rows of each zone's crop coefficient by month, at the usual ages and one more."""
    rows = []
    ages = sorted({*AGES_Y, round(age_y)})
    for zone, counts in counts_of(standing).items():
        if zone not in areas_m2:
            continue
        for age in ages:
            kc = zone_kc(counts, areas_m2[zone], age, floor_kc=floor_kc)
            cover = sum(count * plant.crown_m2(age) for plant, count in counts.items())
            rows += [
                {
                    "zone_id": zone,
                    "age_y": age,
                    "month": month + 1,
                    "kc": kc[month],
                    "cover_share": min(1.0, cover / areas_m2[zone]),
                    "root_depth_m": max(plant.root_depth_m for plant in counts),
                }
                for month in range(12)
            ]
    return rows
