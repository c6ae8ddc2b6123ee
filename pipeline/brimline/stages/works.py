"""The design of what was drawn, and its cascade through the design storms."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.cascade.beyond import beyond_findings
from brimline.cascade.rows import series_columns
from brimline.config import Works
from brimline.design import (
    LAYERS,
    Design,
    element_results,
    overflow_results,
    sized_downpipes,
    storm_tables,
    told_results,
)
from brimline.engine.stage import Stage
from brimline.inputs.rules import sheet_flow_told
from brimline.layers import layer
from brimline.layers.flags import needs_look
from brimline.stages._assess import ASSESSED, ASSESSED_BY, Assessor
from brimline.stages._frames import frame_of, table_of, table_of_columns, values_of
from brimline.stages._plan import storms_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_TABLES: Final = (
    "storm_results", "drain_results", "overflow_results", "storm_series", "storm_balance",
    "check_storms", "design_sizes", "cascade_findings",
)  # fmt: skip


def _run(given: Given, report: Reporter) -> Made:
    storms, grid = storms_of(given), given.grid
    report.tell(sheet_flow_told(given.params("works", Works), storms.rain_2y_24h_mm))
    assessor = Assessor(given)
    found = assessor.of({name: given.frame(name) for name in LAYERS})
    report.tell(found.done.problems)
    design, routed = found.done.design, found.routed
    report.advanced(0.6, "greater storms, blocked pipes and failed banks")
    cases = assessor.cases(found) if routed else []
    beyond = list(beyond_findings(cases, routed[0].inflow.name)) if routed else []
    every = [*(finding for part in found.found.values() for finding in part), *beyond]
    flagged = {finding.element_id for finding in every if needs_look([finding.flag])}
    by_table = storms.design.return_period_y is not None
    report.tell(told_results(flagged, cases, by_table=by_table))
    elements, ways = (make(design, routed, every) for make in (element_results, overflow_results))
    pipes = sized_downpipes(design.arrivals.led, storms.design)
    return {
        "design": design,
        "elements": frame_of(elements, [one.shape for one in design.placed], "elements", grid),
        "overflows": frame_of(ways, design.lines, "overflows", grid),
        "downpipes": frame_of(
            [values_of(one, layer("downpipes"), one.led, one.row) for one in pipes],
            [one.row.shape for one in pipes], "downpipes", grid,
        ),
        **{
            name: table_of(rows, name)
            for name, rows in storm_tables(routed, found.found, beyond, cases).items()
        },
        "storm_series": table_of_columns([series_columns(one) for one in routed], "storm_series"),
        "design_sizes": table_of(design.sizes, "design_sizes"),
        "cascade": {
            "headline": {
                "elements": len(design.placed),
                "storage_m3": design.storage_m3,
                "design_storm_arrives_m3": float(routed[0].elements.outside_m3.sum()),
                "design_storm_leaves_m3": float(routed[0].left_m3),
                "elements_flagged": len(flagged),
            }
        } if routed else {},
    }  # fmt: skip


STAGE = Stage(
    name="works",
    version=7,
    title="drawn elements and their cascade through the design storms",
    needs=ASSESSED,
    makes=("design", "elements", "overflows", "downpipes", *_TABLES, "cascade"),
    run=_run,
    sources=("inflows",),
    tables=ASSESSED_BY,
    typed={"design": Design},
)
