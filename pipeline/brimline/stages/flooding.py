"""The design storm over the designed surface as shallow water, beside the cascade's levels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.config import Proof
from brimline.design import StandingWalls, everywhere_walled
from brimline.design.overland import flood_levels, floods_told, greatest_of, rain_over
from brimline.engine.stage import Stage
from brimline.stages._frames import positions, table_of
from brimline.stages._plan import BUILT, ground_of_design, storms_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params, site = given.params("proof", Proof), ground_of_design(given)
    if not site.dug:
        nowhere = np.full(given.grid.shape, np.nan, dtype=np.float32)
        return {"flood_depth_m": nowhere, "flood_speed_m_s": nowhere.copy(),
                "flood_levels": table_of([], "flood_levels")}  # fmt: skip
    fine = everywhere_walled(given.value("walls", StandingWalls), site, params.flood_refine)
    done = rain_over(
        site, fine, storms_of(given).design,
        roughness=params.roughness, after_h=params.after_h,
        burns=[positions(line, fine.grid) for line in given.frame("culverts").geometry],
        progress=lambda share: report.advanced(share, "rain on the designed surface"),
    )  # fmt: skip
    elements = given.frame("elements")
    peaks = dict(zip(elements["element_id"], elements["peak_level_m"].astype(float), strict=True))
    levels = flood_levels(site, done, peaks)
    report.tell(floods_told(levels))
    return {
        "flood_depth_m": greatest_of(done.depth_m, params.flood_refine),
        "flood_speed_m_s": greatest_of(done.speed_m_s, params.flood_refine),
        "flood_levels": table_of(levels, "flood_levels"),
    }


STAGE = Stage(
    name="flooding",
    version=2,
    title="the design storm as shallow water on the designed surface",
    needs=(*BUILT, "elements", "storms", "culverts"),
    makes=("flood_depth_m", "flood_speed_m_s", "flood_levels"),
    run=_run,
    tables=("proof", "earthworks"),
)
