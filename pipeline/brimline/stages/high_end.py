"""The high end of catchments, routed through the cascade."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.cascade import route
from brimline.cascade.beyond import CASE_FLAGS, storm_case
from brimline.cascade.rows import check_row
from brimline.design import ROUTING_STEP_S, Design
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined
from brimline.stages._frames import table_of
from brimline.stages._plan import storms_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    design, intakes = given.value("design", Design), given.frame("intakes")
    ranged = intakes[intakes["area_high_m2"] > 0]
    if not design.placed or not len(ranged):
        return {"check_high_end": table_of([], "check_high_end")}
    factors = _factors(design, ranged)
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


def _factors(design: Design, ranged: GeoDataFrame) -> dict[str, float]:
    """High end over estimate of the intake nearest to each element; at least 1."""
    factors: dict[str, Any] = {}
    for one in design.placed:
        nearest = ranged.iloc[int(ranged.distance(one.shape).to_numpy().argmin())]
        factors[one.name] = max(float(nearest["area_high_m2"] / nearest["area_m2"]), 1.0)
    return factors


STAGE = Stage(
    name="high end",
    version=1,
    title="the high end of catchments through the cascade",
    needs=("design", "intakes", "storms"),
    makes=("check_high_end",),
    run=_run,
)
