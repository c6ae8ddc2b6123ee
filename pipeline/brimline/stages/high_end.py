"""The high end of catchments, routed through the cascade."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.cascade import route
from brimline.cascade.beyond import CASE_FLAGS, storm_case
from brimline.cascade.rows import check_row
from brimline.design import ROUTING_STEP_S, Design
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined
from brimline.stages._frames import table_of
from brimline.stages._plan import range_factors, storms_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    design = given.value("design", Design)
    ends = range_factors(design, given.frame("intakes"))
    if not ends:
        return {"check_high_end": table_of([], "check_high_end")}
    factors = {name: max(high, 1.0) for name, (_, high) in ends.items()}
    storm = storms_of(given)[0]
    base, high = (
        route(design.network, arrivals.of(storm, ROUTING_STEP_S), design.pace)
        for arrivals in (design.arrivals, design.arrivals.larger(factors))
    )
    text = f"catchments {min(factors.values()):.2f} to {max(factors.values()):.2f} times as large"
    case = storm_case(high, design.limits, case="high end", beside=base, text=text)
    flag = joined([CASE_FLAGS[case.case]] if case.fails else [])
    if case.fails:
        report.problem(
            Problem(
                Severity.WARNING,
                f"were catchments as large as the high ends of their ranges, {case.first_id} would"
                " be overtopped first in the design storm",
                "read check_high_end; widen the sill, or survey the divide more exactly",
                "check_high_end",
            )
        )
    return {"check_high_end": table_of([check_row(case) | {"flag": flag}], "check_high_end")}


STAGE = Stage(
    name="high end",
    version=1,
    title="the high end of catchments through the cascade",
    needs=("design", "intakes", "storms"),
    makes=("check_high_end",),
    run=_run,
)
