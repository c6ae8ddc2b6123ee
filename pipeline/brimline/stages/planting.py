"""The planting: every plant where it stands, whether it thrives there, what it drinks and costs."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from brimline.config import PlantingPlan, Sun, Year
from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.inputs.planting import DRAWN, wanted_of
from brimline.inputs.year import reference_of
from brimline.layers.flags import joined
from brimline.planting import AGES_Y, WETNESS, Climate, a_week, demand_l, need_l, zone_kc
from brimline.planting.care import building_and_planting
from brimline.planting.laying import in_the_way, laid_out
from brimline.planting.standing import (
    GrowingPlace,
    crowded,
    lacking,
    shade_between,
    suits,
    unsuited,
)
from brimline.stages._frames import frame_of, table_of
from brimline.stages._planting import (
    ALONG,
    AROUND,
    around_of,
    on_banks,
    wetness_classes,
    zone_shapes,
)
from brimline.stages._year_site import latitude_and_height
from brimline.stages.weather import WeatherRecord
from brimline.sun import sun_path
from brimline.sun.path import season
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.planting import Plant
    from brimline.planting.laying import Standing

_TABLES = ("zone_plants", "plant_schedule", "plant_water", "zone_kc")
_DRY, _WET = 7, 11  # months taken where no weather tells, half a year later in the south


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("planting", PlantingPlan)
    path, guilds_path = given.source("plants", Path), given.source("guilds", Path)
    wanted, plants, guilds = wanted_of(given.frame, path, guilds_path)
    if not wanted:
        empty = {name: table_of([], name) for name in _TABLES}
        care = _care(given, [], _climate(given)[0])
        return {"plants": frame_of([], [], "plants", given.grid), **empty, "care": care}
    every, problems = laid_out(wanted, plants, guilds)
    if problems:
        raise InputError(problems)
    cells = given.grid.cell([one.x for one in every], [one.y for one in every])
    blocked = in_the_way(every, around_of(given, params), _at(on_banks(given), cells))
    kept = [at for at, one in enumerate(every) if not (one.is_set_out and blocked[at])]
    left_out = Counter(
        (one.zone_id, one.plant) for at, one in enumerate(every) if one.is_set_out and blocked[at]
    )
    if left_out:
        whole = counted(sum(left_out.values()), "place")
        message = f"{whole} of {len(every)} were left out: something is in the way there"
        mend = "see left_out of plant_schedule; draw what must stand there in drawn_plants"
        report.problem(Problem(Severity.NOTICE, message, mend, "planting"))
    standing = [every[at] for at in kept]
    climate, coldest_c = _climate(given)
    areas = {name: float(shape.area) for name, shape in zone_shapes(given).items()}
    report.advanced(0.3, "where what would grow")
    grows = _grows(given, plants, coldest_c, params)
    report.advanced(0.4, "what shades what")
    return {
        "plants": _plants(
            given, standing, [blocked[at] for at in kept], climate, coldest_c, params
        ),
        "zone_plants": table_of(grows, "zone_plants"),
        "plant_schedule": table_of(_schedule(standing, left_out), "plant_schedule"),
        "plant_water": table_of(_water(standing, climate), "plant_water"),
        "care": _care(given, standing, climate),
        "zone_kc": table_of(_zone_kc(standing, areas, params), "zone_kc"),
    }


def _at(cells: NDArray[Any], where: tuple[NDArray[np.int64], NDArray[np.int64]]) -> NDArray[Any]:
    """Values of a raster at cells; those beyond it take the nearest."""
    row, col = (np.clip(part, 0, size - 1) for part, size in zip(where, cells.shape, strict=True))
    found: NDArray[Any] = cells[row, col]
    return found


def _climate(given: Given) -> tuple[Climate | None, float]:
    """Return the average year, and the mean of each year's coldest night [°C]."""
    weather = given.value("weather", WeatherRecord).days
    latitude, height_m = latitude_and_height(given)
    if weather is None:
        return None, math.nan
    coldest = float(pd.Series(weather.temp_min_c).groupby(weather.years).min().mean())
    if latitude is None:
        return None, coldest
    et0 = reference_of(weather, latitude, height_m, given.params("year", Year)).et0_mm
    daily = pd.DataFrame({"et0": et0, "rain": weather.precipitation_mm})
    monthly = daily.groupby([weather.years, weather.months]).sum().groupby(level=1).mean()
    monthly = monthly.reindex(range(1, 13), fill_value=0.0)
    return Climate(monthly["et0"].to_numpy(), monthly["rain"].to_numpy()), coldest


def _plants(
    given: Given,
    standing: Sequence[Standing],
    blocked: Sequence[list[str]],
    climate: Climate | None,
    coldest_c: float,
    params: PlantingPlan,
) -> Any:  # noqa: ANN401 - a layer
    places = np.array([(one.x, one.y) for one in standing]).reshape(-1, 2)
    cells = given.grid.cell(places[:, 0], places[:, 1])
    kinds = [one.plant for one in standing]
    level_m = _at(given.raster("elevation"), cells).astype(np.float64)
    latitude, height_m = latitude_and_height(given)
    sun_h = np.full(len(standing), math.nan)
    lost_h, shaded_by = np.zeros(len(standing)), np.full(len(standing), -1)
    if latitude is not None:
        months = list(season(latitude))
        sun_h = _at(given.raster("sun_h")[months].mean(axis=0), cells).astype(np.float64)
        turned = float(given.facts("sun")["grid_north_deg"])
        path = sun_path(
            latitude, height_m, turbidity=given.params("sun", Sun).turbidity, grid_north_deg=turned
        )
        hours = path.table[:, :, 0, months].mean(axis=-1, dtype=np.float64).clip(min=0)
        shade = shade_between(places, level_m, kinds, hours, let_through=params.crown_light)
        lost_h, shaded_by = shade.lost_h, shade.by
    classes = _at(wetness_classes(given, params), cells)
    moved_m = _at(given.raster("design_surface") - given.raster("elevation"), cells)
    dug = _at(given.raster("soil_dug"), cells) == 1
    depth_m = np.where(
        dug, np.maximum(_at(given.raster("soil_depth_m"), cells) + moved_m, 0), np.nan
    )
    cold = _at(given.raster("cold_air"), cells) == 1
    close = crowded(places, kinds)
    numbers: Counter[str] = Counter()
    names = []
    for one in standing:
        numbers[one.zone_id] += 1
        names.append(f"{one.zone_id} {numbers[one.zone_id]}")
    week: dict[tuple[Plant, int], float | None] = {
        (plant, age): a_week(need_l(plant, age, climate), climate.driest_month) if climate else None
        for plant in set(kinds)
        for age in AGES_Y
    }
    records, shapes = [], []
    for at, one in enumerate(standing):
        wet = WETNESS[classes[at]] if classes[at] < len(WETNESS) else ""
        place = GrowingPlace(
            sun_h[at], lost_h[at], wet, coldest_c, float(depth_m[at]), bool(cold[at])
        )
        told = [*unsuited(one.plant, place), *close[at]]
        codes = [*blocked[at], *(code for code, _ in told)]
        records.append(
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
                "lost_h": lost_h[at] if latitude is not None else None,
                "shaded_by": names[shaded_by[at]] if shaded_by[at] >= 0 else None,
                "wetness": wet or None,
                "depth_m": float(depth_m[at]),
                **{f"week_{age}y_l": week[one.plant, age] for age in AGES_Y},
                "flag": joined(codes),
                "notes": "; ".join(text for _, text in told) or None,
            }
        )
        shapes.append((one.x, one.y))
    return frame_of(records, list(shapely.points(shapes)), "plants", given.grid)


def _grows(
    given: Given, plants: Mapping[str, Plant], coldest_c: float, params: PlantingPlan
) -> list[dict[str, Any]]:
    """Rows of how well each plant would grow in each zone, the best of each zone first."""
    latitude, _ = latitude_and_height(given)
    sun_h = given.raster("sun_h")[list(season(latitude or 0.0))].mean(axis=0)
    wet = wetness_classes(given, params)
    dug = given.raster("soil_dug") == 1
    depth_m = np.where(dug, given.raster("soil_depth_m"), np.nan)
    cold = given.raster("cold_air") == 1
    known, found = np.isfinite(given.raster("elevation")), []
    for zone, shape in zone_shapes(given).items():
        inside = known & cells_inside([shape], given.grid, all_touched=True)
        if not inside.any():
            continue
        ground = (sun_h[inside], wet[inside], coldest_c, depth_m[inside], cold[inside])
        told = [(plant.name, suits(lacking(plant, *ground))) for plant in plants.values()]
        found += [
            {"zone_id": zone, "plant": name, "suits_share": one.share, "lacks": one.lacks or None}
            for name, one in sorted(told, key=lambda each: (-each[1].share, each[0]))
        ]
    return found


def _counts(standing: Sequence[Standing]) -> dict[str, Counter[Plant]]:
    found: dict[str, Counter[Plant]] = {}
    for one in standing:
        found.setdefault(one.zone_id, Counter())[one.plant] += 1
    return found


def _schedule(
    standing: Sequence[Standing], left_out: Counter[tuple[str, Plant]]
) -> list[dict[str, Any]]:
    by_zone: dict[str | None, Counter[Plant]] = dict(_counts(standing).items())
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
            "left_out": left_out[zone, plant]
            if zone is not None
            else sum(number for (_, other), number in left_out.items() if other == plant),
        }
        for zone, counts in by_zone.items()
        for plant, count in sorted(counts.items(), key=lambda pair: pair[0].name)
    ]


def _water(standing: Sequence[Standing], climate: Climate | None) -> list[dict[str, Any]]:
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
        for zone, counts in _counts(standing).items()
        for plant, count in counts.items()
        for age in AGES_Y
        for month in range(12)
    ]


def _care(given: Given, standing: Sequence[Standing], climate: Climate | None) -> pd.DataFrame:
    rows = given.frame("elements")
    elements = list(zip(rows["element_id"], rows["kind"], strict=True))
    south = (latitude_and_height(given)[0] or 0.0) < 0
    dry, wet = ((month + 5) % 12 + 1 if south else month for month in (_DRY, _WET))
    if climate is not None:
        dry, wet = climate.driest_month, int(np.argmax(climate.rain_mm)) + 1
    tasks = building_and_planting(elements, _counts(standing), dry, wet)
    return table_of([asdict(task) for task in tasks], "care")


def _zone_kc(
    standing: Sequence[Standing], areas: dict[str, float], params: PlantingPlan
) -> list[dict[str, Any]]:
    found = []
    ages = sorted({*AGES_Y, round(params.age_y)})
    for zone, counts in _counts(standing).items():
        if zone not in areas:
            continue
        for age in ages:
            kc = zone_kc(counts, areas[zone], age, floor_kc=params.floor_kc)
            cover = sum(count * plant.crown_m2(age) for plant, count in counts.items())
            found += [
                {
                    "zone_id": zone,
                    "age_y": age,
                    "month": month + 1,
                    "kc": kc[month],
                    "cover_share": min(1.0, cover / areas[zone]),
                    "root_depth_m": max(plant.root_depth_m for plant in counts),
                }
                for month in range(12)
            ]
    return found


STAGE = Stage(
    name="planting",
    version=1,
    title="setting plants out, and what they find where they stand",
    needs=(
        "grid", "near", "elevation", "design_surface", "soil_wetness", "soil_depth_m", "soil_dug",
        "cold_air", "sun_h", "sun", "weather",
        *DRAWN, *ALONG, *AROUND,
    ),
    makes=("plants", *_TABLES, "care"),
    run=_run,
    sources=("plants", "guilds"),
    tables=("planting", "year", "site", "sun"),
    near=True,
)  # fmt: skip
