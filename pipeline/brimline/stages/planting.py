"""The planting: every plant where it stands, whether it thrives there, what it drinks and costs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

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
from brimline.planting.laying import laid_out, set_out
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

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.planting import Climate
    from brimline.planting.laying import Standing

_TABLES: Final = ("zone_plants", "plant_schedule", "plant_water", "zone_kc")
_HEAPED_M: Final = 0.05
_BANK_M: Final = 20.0  # from a pond's waterline that its bank may reach


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("planting", PlantingPlan), given.grid
    weather, climate = given.value("weather", WeatherRecord).days, _climate(given)
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
    kept = set_out(every, around_of(given.frame, params), at_cells(banks, cells))
    report.tell(kept.told())
    zones, standing = zone_shapes(given.frame("planting_zones")), kept.standing
    areas = {name: float(shape.area) for name, shape in zones.items()}
    report.advanced(0.3, "what shades what")
    rows = plant_rows(
        standing, kept.blocked, ground, climate, _hours(given), crown_light=params.crown_light
    )
    tables = {
        "zone_plants": suiting_rows(plants, zones, ground),
        "plant_schedule": schedule_rows(standing, kept.left_out),
        "plant_water": water_rows(standing, climate),
        "zone_kc": coefficient_rows(standing, areas, params.age_y, floor_kc=params.floor_kc),
    }
    shapes = [shapely.Point(one.x, one.y) for one in standing]
    return {
        "plants": frame_of(rows, shapes, "plants", grid),
        **{name: table_of(one, name) for name, one in tables.items()},
        "care": _care(given, standing, climate),
    }


def _climate(given: Given) -> Climate | None:
    weather, (latitude, height_m) = (
        given.value("weather", WeatherRecord).days, latitude_and_height(given)
    )  # fmt: skip
    if weather is None or latitude is None:
        return None
    et0 = reference_of(weather, latitude, height_m, given.params("year", Year))
    return climate_of(weather, et0.et0_mm)


def _hours(given: Given) -> NDArray[np.float64] | None:
    """Hours a day in the growing season that the sun stands in a sector above a height."""
    latitude, height_m = latitude_and_height(given)
    if latitude is None:
        return None
    turbidity, turned = given.params("sun", Sun).turbidity, given.facts("sun")["grid_north_deg"]
    path = sun_path(latitude, height_m, turbidity=turbidity, grid_north_deg=float(turned))
    return path.season_hours(latitude)


def _care(given: Given, standing: Sequence[Standing], climate: Climate | None) -> pd.DataFrame:
    rows = given.frame("elements")
    elements = list(zip(rows["element_id"], rows["kind"], strict=True))
    months = months_of_work(climate, southern=(latitude_and_height(given)[0] or 0.0) < 0)
    tasks = building_and_planting(elements, counts_of(standing), *months)
    return table_of(tasks, "care")


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
