"""A second library recomputes where water goes, and says how far it disagrees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.config import Drainage
from brimline.drainage.audit import second_opinion
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("drainage", Drainage), given.grid
    cells = grid.rows * grid.cols
    if cells > params.audit_max_cells:
        report.problem(
            Problem(
                Severity.NOTICE,
                f"no second opinion: {cells} cells are more than {params.audit_max_cells}",
                "raise drainage.audit_max_cells to have it all the same",
                "audit",
            )
        )
        return {"audit": {"done": False}}
    snapped = given.frame("intakes_snapped")
    found = second_opinion(
        given.raster("conditioned"),
        given.raster("flow_direction"),
        given.raster("contributing_area_m2"),
        snapped[["row", "col"]].to_numpy(dtype=np.int64),
        cell_m=grid.cell_m,
        sinks=given.raster("kept_sink") == 1,
    )
    if found.greatest_pct > params.audit_warn_pct:
        worst = int(np.argmax(found.intake_pct)) if found.intake_pct.size else 0
        where = f", most at intake {worst + 1}" if found.intake_pct.size else ""
        report.problem(
            Problem(
                Severity.WARNING,
                f"richdem's areas differ by up to {found.greatest_pct:.2f} %{where}",
                "look at flat ground near it: which way water leaves a flat is a choice",
                "audit",
            )
        )
    return {
        "audit": {
            "done": True,
            "library": "richdem",
            "accumulation_pct": found.accumulation_pct,
            "directions_pct": found.directions_pct,
            "intakes_pct": {
                str(number): float(share) for number, share in enumerate(found.intake_pct, start=1)
            },
            "headline": {"audit_greatest_difference_pct": found.greatest_pct},
        }
    }


STAGE = Stage(
    name="audit",
    version=1,
    title="second opinion on the flow by another library",
    needs=(
        "grid",
        "conditioned",
        "flow_direction",
        "contributing_area_m2",
        "kept_sink",
        "intakes_snapped",
    ),
    makes=("audit",),
    run=_run,
    tables=("drainage",),
)
