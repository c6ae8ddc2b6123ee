"""A second library recomputes where water goes, and says how far it disagrees."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.config import Drainage
from brimline.drainage.audit import across_hollows_pct, second_opinion
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._frames import positions

if TYPE_CHECKING:
    from pandas import DataFrame

    from brimline.engine.stage import Given, Made, Reporter

_CROSSES_PCT: Final = 10.0  # of an intake's ground, above which a person should look


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
    crosses = _crosses_pct(given, snapped, report)
    return {
        "audit": {
            "done": True,
            "crosses_hollows_pct": crosses,
            "library": "richdem",
            "accumulation_pct": found.accumulation_pct,
            "directions_pct": found.directions_pct,
            "intakes_pct": {
                str(number): float(share) for number, share in enumerate(found.intake_pct, start=1)
            },
            "headline": {"audit_greatest_difference_pct": found.greatest_pct},
        }
    }


def _crosses_pct(given: Given, snapped: DataFrame, report: Reporter) -> dict[str, float]:
    """Share of each intake's ground that reaches it only across deep hollows [%]."""
    deep_m = given.facts("conditioning")["tell_fill_m"]
    crosses = across_hollows_pct(
        given.raster("elevation"),
        given.raster("contributing_area_m2"),
        snapped[["row", "col"]].to_numpy(dtype=np.int64),
        cell_m=given.grid.cell_m,
        deep_m=deep_m,
        burns=[positions(line, given.grid) for line in given.frame("culverts").geometry],
        kept=given.raster("kept_sink") == 1,
    )
    told = {
        str(number): float(share)
        for number, share in zip(snapped["intake_id"], crosses, strict=True)
    }
    for number, share in told.items():
        if share > _CROSSES_PCT:
            report.problem(
                Problem(
                    Severity.WARNING,
                    f"{share:.0f} % of the ground of intake {number} reaches it only across hollows"
                    f" deeper than {deep_m:g} m, or cuts through them, by richdem on the ground as"
                    " surveyed",
                    "see hollows and ditches there; keep those that never spill, draw culverts",
                    "audit",
                )
            )
    return told


STAGE = Stage(
    name="audit",
    version=2,
    title="second opinion on the flow by another library",
    needs=(
        "grid",
        "elevation",
        "culverts",
        "conditioning",
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
