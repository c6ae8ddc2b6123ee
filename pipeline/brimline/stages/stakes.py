"""Stakes on every line, round every outline and at both ends of every sill."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.config import AsBuilt, Staking
from brimline.design import margins_of, marked, staked, staked_buried
from brimline.elements.building import StakeSpacing
from brimline.engine.stage import Stage
from brimline.inputs.doubts import benchmark_doubt
from brimline.inputs.rows import MARKED, marked_lines
from brimline.inputs.rules import build_limits, instrument_of
from brimline.io.geographic import places_of
from brimline.layers import layer
from brimline.lines.staking import clear_of, judged, readings, survey_decides_m
from brimline.stages._frames import frame_of, table_of_columns, values_of
from brimline.stages._plan import BUILT, ground_of_design
from brimline.stages._survey_error import SUPPORT, survey_error_m, survey_lacks

if TYPE_CHECKING:
    from brimline.elements.building import SectionProfile
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.staking import Stake


def _run(given: Given, report: Reporter) -> Made:
    params, grid, elements = given.params("stakes", Staking), given.grid, given.frame("elements")
    report.tell(benchmark_doubt(params.benchmark_level_m, given.raster("elevation")))
    site, level = ground_of_design(given), instrument_of(params)
    spacing = StakeSpacing(params.interval_m, params.turn_deg, params.offset_m)
    stakes: list[Stake] = staked_buried(site, spacing)
    cuts: list[SectionProfile] = []
    if not survey_lacks(given):
        peaks_m = dict(zip(elements["element_id"], elements["peak_level_m"], strict=True))
        limits = build_limits(given.params("as_built", AsBuilt))
        on_elements, cuts = staked(
            site, margins_of(site.design, peaks_m), spacing, limits, report.advanced
        )
        lines = [one for name in params.lines for one in marked_lines(name, given.frame(name))]
        marks, along = marked(lines, spacing, site.ground)
        stakes, cuts = [*on_elements, *stakes, *marks], [*cuts, *along]
    known, problems = clear_of(
        [one for one in stakes if math.isfinite(one.ground_m)], given.frame("keep_out").union_all()
    )
    report.tell(problems)
    rmse_m = survey_error_m(given)
    told = judged(known, rmse_m)
    shapes = [shapely.Point(one.x, one.y, one.design_m) for one in told]
    declared = layer("stakes")
    rows = (
        [values_of(one, declared, one.stake) for one in readings(told, level)]
        if level
        else [values_of(one, declared) for one in told]
    )
    for row, longitude, latitude in zip(rows, *places_of(shapes, grid.crs), strict=True):
        row |= {"latitude_deg": float(latitude), "longitude_deg": float(longitude)}
    return {
        "stakes": frame_of(rows, shapes, "stakes", grid),
        "profiles": table_of_columns([_columns(cut) for cut in cuts], "profiles"),
        "setting_out": {
            "rmse_m": rmse_m,
            "survey_decides_m": survey_decides_m(rmse_m),
            "instrument": asdict(level) if level else None,
            "fixed_points": [
                [one.name, one.easting_m, one.northing_m] for one in params.fixed_points
            ],
        },
    }


def _columns(cut: SectionProfile) -> dict[str, object]:
    """Columns of a section where all its levels are known."""
    held = {"at_m": cut.at_m, "x_m": cut.x, "y_m": cut.y, "ground_m": cut.ground_m,
            "design_m": cut.design_m, "build_m": cut.build_m}  # fmt: skip
    known = np.isfinite(sum(held.values()))
    columns = {name: values[known] for name, values in held.items()}
    return columns | {"element_id": cut.element_id, "profile": cut.name, "kind": cut.kind}


STAGE = Stage(
    name="stakes",
    version=4,
    title="stakes and levels",
    needs=(*BUILT, "elements", "keep_out", *MARKED, SUPPORT),
    makes=("stakes", "profiles", "setting_out"),
    run=_run,
    tables=("stakes", "earthworks", "as_built"),
)
