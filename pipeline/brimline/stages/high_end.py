"""The design storm at the ends of what is not known: the catchments, and how wet the ground is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.cascade import route
from brimline.cascade.beyond import storm_case
from brimline.cascade.rows import balance_row, check_row
from brimline.design import ROUTING_STEP_S, Design
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._frames import table_of
from brimline.stages._plan import range_factors, storms_of

if TYPE_CHECKING:
    from brimline.cascade import Routed
    from brimline.design import Arrivals
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.rainfall import Storm


def _run(given: Given, report: Reporter) -> Made:
    design = given.value("design", Design)
    checked: list[dict[str, Any]] = []
    spans: list[dict[str, Any]] = []
    if design.placed:
        storm = storms_of(given).design
        spans = [
            {"ground": ground}
            | balance_row(_routed(design, design.arrivals.beforehand(ground), storm))
            for ground in ("dry", "wet")
        ]
        ends = range_factors(design, given.frame("intakes"))
        if ends:
            factors = {name: max(high, 1.0) for name, (_, high) in ends.items()}
            checked = [_high_end(design, factors, storm, report)]
        else:
            report.problem(
                Problem(
                    Severity.NOTICE,
                    "the storm was not tried with catchments at the high end of their ranges: no"
                    " intake has one",
                    "draw an intake where the largest stream enters the design",
                    "check_high_end",
                )
            )
    return {
        "check_high_end": table_of(checked, "check_high_end"),
        "storm_range": table_of(spans, "storm_range"),
    }


def _routed(design: Design, arrivals: Arrivals, storm: Storm) -> Routed:
    return route(design.network, arrivals.of(storm, ROUTING_STEP_S), design.pace)


def _high_end(
    design: Design, factors: dict[str, float], storm: Storm, report: Reporter
) -> dict[str, Any]:
    """Return the row of the case in which each element gathers as much ground as it may."""
    base, high = (
        _routed(design, arrivals, storm)
        for arrivals in (design.arrivals, design.arrivals.larger(factors))
    )
    least, most = min(factors.values()), max(factors.values())
    text = f"catchments {least:.2f} to {most:.2f} times as large: high ends of 5 to 95 %"
    case = storm_case(high, design.limits, case="high end", beside=base, text=text)
    if case.fails:
        report.problem(
            Problem(
                Severity.WARNING,
                "were catchments as large as the high ends of their ranges of 5 to 95 %,"
                f" {case.first_id} would be overtopped first in the design storm",
                "read check_high_end; widen the sill, or survey the divide more exactly",
                "check_high_end",
            )
        )
    return check_row(case)


STAGE = Stage(
    name="high end",
    version=2,
    title="the storm at the ends of what is not known",
    needs=("design", "intakes", "storms"),
    makes=("check_high_end", "storm_range"),
    run=_run,
)
