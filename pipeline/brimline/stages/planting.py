"""The planting: every plant where it stands, whether it thrives there, what it drinks and costs."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.config import PlantingPlan, Sun, Year
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.inputs.planting import (
    ALONG,
    AROUND,
    DRAWN,
    around_of,
    climate_of,
    coldest_c,
    wanted_of,
    zone_shapes,
)
from brimline.inputs.year import reference_of
from brimline.planting.care import building_and_planting, months_of_work
from brimline.planting.laying import in_the_way, laid_out, left_out_told
from brimline.planting.rows import (
    at_cells,
    coefficient_rows,
    counts_of,
    plant_rows,
    schedule_rows,
    suiting_rows,
    water_rows,
)
from brimline.stages._frames import frame_of, table_of
from brimline.stages._planting import ground_of_plants
from brimline.stages._year_site import latitude_and_height
from brimline.stages.weather import WeatherRecord
from brimline.sun import sun_path
from brimline.sun.path import season

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.planting import Climate
    from brimline.planting.laying import Standing

_TABLES: Final = ("zone_plants", "plant_schedule", "plant_water", "zone_kc")
_HEAPED_M: Final = 0.05
_BANK_M: Final = 20.0  # from a pond's waterline that its bank may reach


def _run(given: Given, report: Reporter) -> Made:
    params, grid, weather = (
        given.params("planting", PlantingPlan), given.grid,
        given.value("weather", WeatherRecord).days,
    )  # fmt: skip
    latitude, height_m = latitude_and_height(given)
    climate = None
    if weather is not None and latitude is not None:
        et0 = reference_of(weather, latitude, height_m, given.params("year", Year))
        climate = climate_of(weather, et0.et0_mm)
    wanted, plants, guilds = wanted_of(
        given.frame, given.source("plants", Path), given.source("guilds", Path)
    )
    if not wanted:
        empty = {name: table_of([], name) for name in _TABLES}
        care = _care(given, [], climate)
        return {"plants": frame_of([], [], "plants", grid), **empty, "care": care}
    every, problems = laid_out(wanted, plants, guilds)
    report.tell(problems)
    ground = ground_of_plants(given, params, coldest_c(weather))
    elements = given.frame("elements")
    ponds = elements.loc[elements["kind"] == "pond"].geometry.buffer(_BANK_M)
    banks = cells_inside(ponds, grid) & (ground.moved_m > _HEAPED_M)
    cells = grid.cell([one.x for one in every], [one.y for one in every])
    blocked = in_the_way(every, around_of(given.frame, params), at_cells(banks, cells))
    pairs = list(zip(every, blocked, strict=True))
    left_out = Counter((one.zone_id, one.plant) for one, why in pairs if one.is_set_out and why)
    report.tell(left_out_told(left_out, len(every)))
    kept = [(one, why) for one, why in pairs if not (one.is_set_out and why)]
    standing, why_not = [one for one, _ in kept], [why for _, why in kept]
    zones = zone_shapes(given.frame("planting_zones"))
    areas = {name: float(shape.area) for name, shape in zones.items()}
    report.advanced(0.3, "what shades what")
    rows = plant_rows(
        standing, why_not, ground, climate, _hours(given), crown_light=params.crown_light
    )
    shapes = [shapely.Point(one.x, one.y) for one in standing]
    return {
        "plants": frame_of(rows, shapes, "plants", grid),
        "zone_plants": table_of(suiting_rows(plants, zones, ground), "zone_plants"),
        "plant_schedule": table_of(schedule_rows(standing, left_out), "plant_schedule"),
        "plant_water": table_of(water_rows(standing, climate), "plant_water"),
        "care": _care(given, standing, climate),
        "zone_kc": table_of(
            coefficient_rows(standing, areas, params.age_y, floor_kc=params.floor_kc), "zone_kc"
        ),
    }


def _hours(given: Given) -> NDArray[np.float64] | None:
    """Hours a day in the growing season that the sun stands in a sector above a height."""
    latitude, height_m = latitude_and_height(given)
    if latitude is None:
        return None
    turned = float(given.facts("sun")["grid_north_deg"])
    path = sun_path(
        latitude, height_m, turbidity=given.params("sun", Sun).turbidity, grid_north_deg=turned
    )
    months = list(season(latitude))
    hours: NDArray[np.float64] = path.table[:, :, 0, months].mean(axis=-1, dtype=np.float64)
    return hours.clip(min=0)


def _care(given: Given, standing: Sequence[Standing], climate: Climate | None) -> pd.DataFrame:
    rows = given.frame("elements")
    elements = list(zip(rows["element_id"], rows["kind"], strict=True))
    months = months_of_work(climate, southern=(latitude_and_height(given)[0] or 0.0) < 0)
    tasks = building_and_planting(elements, counts_of(standing), *months)
    return table_of([asdict(task) for task in tasks], "care")


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
