"""Sun on the ground: hours and energy by month, shaded by all that rises above it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.config import Sun
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.reading import PERIODS
from brimline.stages._raised import north_of, placed, raised, site_block
from brimline.stages._year_site import latitude_and_height
from brimline.sun import sun_path, sunlight

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params, grid, whole = given.params("sun", Sun), given.grid, given.whole_grid
    latitude, height_m = latitude_and_height(given)
    if latitude is None:
        message = "nothing says how far north the site lies, so its sun is not worked out"
        mend = "set latitude_deg under [site]; a degree is near enough"
        report.problem(Problem(Severity.NOTICE, message, mend, "configuration", "site"))
        by_period = np.full((len(PERIODS), *grid.shape), np.nan, dtype=np.float32)
        return {"sun_h": by_period, "sun_mj_m2": by_period, "sky_share": by_period[0], "sun": {}}
    turned = north_of(given, params)
    path = sun_path(latitude, height_m, turbidity=params.turbidity, grid_north_deg=turned)
    far = [((bearing - turned) % 360, rise) for bearing, rise in params.far_skyline_deg]
    report.advanced(0.1, "looking round from every cell")
    ground = given.raster("elevation", around=max(whole.shape))  # all of it may stand in the sun
    surface = raised(ground, whole, given)
    light = sunlight(ground, surface, path, cell_m=grid.cell_m, far=far, block=site_block(given))
    hours, energy = path.open_ground()
    return {
        "sun_h": placed("sun_h", light.hours_h, given),
        "sun_mj_m2": placed("sun_mj_m2", light.energy_mj_m2, given),
        "sky_share": placed("sky_share", light.sky_share, given),
        "sun": {
            "latitude_deg": latitude,
            "grid_north_deg": turned,
            "open_ground_h": hours.tolist(),
            "open_ground_mj_m2": energy.tolist(),
        },
    }


STAGE = Stage(
    name="sun",
    version=2,
    title="sun on the ground by month",
    needs=("grid", "near", "near_site", "elevation", "obstructions"),
    makes=("sun_h", "sun_mj_m2", "sky_share", "sun"),
    run=_run,
    tables=("sun", "site"),
    near=True,
)
