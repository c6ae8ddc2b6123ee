"""Proof by water: the overflows followed on the designed surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.design import DrawnDischarge
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rows import rows_of
from brimline.stages._frames import frame_of, table_of
from brimline.stages._plan import ground_of_design
from brimline.stages._proof import PROVED, PROVED_BY, water_of

if TYPE_CHECKING:
    from brimline.design import FollowedWay
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    site = ground_of_design(given)
    found: list[FollowedWay] = []
    if site.dug:
        report.advanced(0.2, "running water over the designed surface")
        points = rows_of(given.frame("discharge_points"), DrawnDischarge, {})
        found, _ = water_of(given).shown(site, points)
    report.tell(
        Problem(
            Severity.WARNING,
            f"{one.element_id}: {one.notes}",
            "see design_proof, the lines proof_paths, and advice",
            "design_proof",
        )
        for one in found
        if one.flags
    )
    lines = [one.line for one in found]
    return {
        "design_proof": table_of(found, "design_proof"),
        "proof_paths": frame_of(found, lines, "proof_paths", given.grid),
    }


STAGE = Stage(
    name="proof",
    version=4,
    title="water on the designed surface",
    needs=PROVED,
    makes=("design_proof", "proof_paths"),
    run=_run,
    tables=PROVED_BY,
)
