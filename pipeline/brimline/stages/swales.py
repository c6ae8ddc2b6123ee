"""Proposed swale rows, fitted around those that a person has drawn."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from brimline.config import Rates, SwaleRows, Works
from brimline.engine.stage import Stage
from brimline.errors import InputError
from brimline.inputs.rows import main_texture, text_of
from brimline.inputs.swales import duty_of, spacing_of, wanted_of
from brimline.layers import layer
from brimline.layers.flags import needs_look
from brimline.lines.rows import ranked, swale_rows
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of, values_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for, smooth_surface
from brimline.stages._plan import storms_of
from brimline.stages._survey_error import SUPPORT, survey_lacks

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.rows import RankedRow


def _run(given: Given, report: Reporter) -> Made:
    params, works = given.params("swales", SwaleRows), given.params("works", Works)
    drawn, soils, surface = given.frame("drawn_swales"), given.frame("soils"), smooth_surface(given)
    report.advanced(0.2, "placing rows")
    duty = duty_of(params, works, storms_of(given).design)
    wanted = wanted_of(params, works, given.params("rates", Rates), duty)
    try:
        found = swale_rows(
            given.raster("elevation"), surface, given.grid, limits_for(given, surface), duty,
            None if survey_lacks(given) else spacing_of(params),
            drawn=list(drawn.geometry),
            drawn_levels_m=[None if math.isnan(one) else float(one) for one in drawn["level_m"]],
            drawing=replace(drawing_of(given), min_length_m=params.min_length_m),
            wanted=wanted,
        )  # fmt: skip
    except ValueError as error:
        mend = "draw the row on the data"
        raise InputError.of(str(error), mend=mend, source="plan, drawn_swales") from error
    found = filled_ground(given).flagged(found)
    names = [text_of(row, "name") for row in drawn.itertuples(index=False)]
    rows = ranked(found, names, [main_texture(row.line, soils) for row in found])
    records = [values_of(one, layer("swale_lines"), one.row) for one in rows]
    return {
        "swale_lines": frame_of(records, [row.line for row in found], "swale_lines", given.grid),
        "swale_rows": {"headline": _headline(rows)},
    }


def _headline(rows: list[RankedRow]) -> dict[str, float | int]:
    drawn, proposed = ([one for one in rows if one.drawn is is_drawn] for is_drawn in (True, False))
    return {
        "proposed_swale_lines": len(proposed),
        "proposed_swale_lines_m": float(sum(one.row.length_m for one in proposed)),
        "drawn_swale_lines": len(drawn),
        "drawn_swale_lines_flagged": sum(needs_look(one.flags) for one in drawn),
    }


STAGE = Stage(
    name="swales",
    version=5,
    title="swale rows",
    needs=(*NEEDS, "storms", "drawn_swales", "soils", SUPPORT),
    makes=("swale_lines", "swale_rows"),
    run=_run,
    tables=("swales", "lines", "works", "rates"),
    near=True,
)
