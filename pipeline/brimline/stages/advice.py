"""What to mend first, and how: mends dug and followed again, findings in the order of danger."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.config import Rates, Works
from brimline.design import advised, mends_of, mends_on_ground, mends_to_level, running_ground
from brimline.engine.stage import Stage
from brimline.layers.flags import danger, needs_look
from brimline.stages._assess import ASSESSED, ASSESSED_BY
from brimline.stages._follow import Follower
from brimline.stages._frames import table_of
from brimline.stages._ground_for_lines import drawing_of
from brimline.stages._plan import plan_of
from brimline.stages._proof import PROVED, PROVED_BY

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    if not _wrong(given):
        return {"cascade_mends": table_of([], "cascade_mends")}
    follower = Follower(given)
    base = follower.base
    if not base.assessment.routed:
        return {"cascade_mends": table_of([], "cascade_mends")}
    rows = _mends(given, follower, report)
    report.advanced(0.4, "digging and following what mends say")
    works, rates = given.params("works", Works), given.params("rates", Rates)
    told = advised(rows, base.outcome, follower.trial, danger, works.proved)
    return {"cascade_mends": table_of([row | _cost(row, rates) for row in told], "cascade_mends")}


def _wrong(given: Given) -> bool:
    """Tell whether anything needs a person; if not, there is nothing to look for."""
    codes = [*given.table("cascade_findings")["code"], *given.table("design_proof")["flag"]]
    return any(needs_look(text.split(";")) for text in codes if isinstance(text, str) and text)


def _mends(given: Given, follower: Follower, report: Reporter) -> list[dict[str, Any]]:
    """Everything that might mend a finding, proved by routing at most."""
    base, assessor = follower.base, follower.assessor
    found, design = base.assessment.found, base.assessment.done.design
    plan = plan_of(follower.frames, assessor.works)
    running = running_ground(design.placed, plan.discharges, assessor.survey.directions, given.grid)
    mends, left_out = mends_of(design, base.assessment.routed, found, assessor.rules)
    for problem in left_out:
        report.problem(problem)
    return [
        *mends_to_level(
            found[""], design.placed, assessor.surface, given.grid, assessor.kept_clear,
            assessor.site, drawing_of(given, assessor.level_tolerance_m),
        ),
        *mends_on_ground(
            design, base.followed, base.outcome.marks, running, assessor.standing, assessor.site
        ),
        *mends,
    ]  # fmt: skip


def _cost(row: dict[str, Any], rates: Rates) -> dict[str, float | None]:
    """Price of the earth that a mend moves, where it was dug and prices are known."""
    priced = ((row["cut_m3"], rates.cut_per_m3), (row["fill_m3"], rates.fill_per_m3))
    known = [m3 * rate for m3, rate in priced if m3 is not None and rate is not None]
    return {"earth_cost": sum(known) if len(known) == len(priced) else None}


STAGE = Stage(
    name="advice",
    version=1,
    title="what to mend first, and how",
    needs=tuple(dict.fromkeys((*ASSESSED, *PROVED, "cascade_findings", "design_proof"))),
    makes=("cascade_mends",),
    run=_run,
    sources=("inflows",),
    tables=tuple(dict.fromkeys((*ASSESSED_BY, *PROVED_BY, "rates"))),
)
