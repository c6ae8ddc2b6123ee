"""Proof by water: the overflows followed on the designed surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.design import DrawnDischarge
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rows import rows_of
from brimline.stages._frames import frame_of, table_of
from brimline.stages._plan import ground_of_design
from brimline.stages._proof import PROVED, PROVED_BY, ProvedWater

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    site = ground_of_design(given)
    if not site.dug:
        return {"design_proof": table_of([], "design_proof"),
                "proof_paths": frame_of([], [], "proof_paths", given.grid)}  # fmt: skip
    points = rows_of(given.frame("discharge_points"), DrawnDischarge, {})
    found, _ = ProvedWater(given).shown(site, points, report)
    told = [one.row for one in found]
    for record in told:
        if record["flag"]:
            report.problem(
                Problem(
                    Severity.WARNING,
                    f"{record['element_id']}: {record['notes']}",
                    "see design_proof, the lines proof_paths, and advice",
                    "design_proof",
                )
            )
    return {
        "design_proof": table_of(told, "design_proof"),
        "proof_paths": frame_of(
            [{key: record[key] for key in ("element_id", "reached_id", "flag")} for record in told],
            [one.line for one in found], "proof_paths", given.grid,
        ),
    }  # fmt: skip


STAGE = Stage(
    name="proof",
    version=4,
    title="water on the designed surface",
    needs=PROVED,
    makes=("design_proof", "proof_paths"),
    run=_run,
    tables=PROVED_BY,
)
