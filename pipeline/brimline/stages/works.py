"""The cascade of drawn elements through the design storms."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from brimline.cascade import Finding, check, flags_of, judge, route
from brimline.cascade.rows import (
    balance_row,
    drain_rows,
    element_rows,
    finding_rows,
    overflow_result_rows,
    overflow_rows,
    result_rows,
    series_columns,
)
from brimline.config import Works
from brimline.elements import Kind
from brimline.elements.building import dimensions
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.io.frames import conformed, empty
from brimline.layers import table
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of
from brimline.stages._works_cascade import DRAWN, NEEDS, LaidOut, laid_out
from brimline.stages._works_level import off_level
from brimline.stages._works_mends import mends_of
from brimline.stages._works_places import misplaced
from brimline.stages._works_shapes import drawn_names
from brimline.stages._works_water import no_water_facts, water_facts
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.cascade import Limits, Network, Routed
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Grid
    from brimline.stages._works_arrivals import Arrivals
    from brimline.stages._works_shapes import Drawn
    from brimline.stages._works_ways import Way

_TABLES: Final = (
    "storm_results",
    "drain_results",
    "overflow_results",
    "storm_series",
    "storm_balance",
    "design_sizes",
    "cascade_findings",
    "cascade_mends",
)


def _run(given: Given, report: Reporter) -> Made:
    works = given.params("works", Works)
    grid = given.grid
    laid = laid_out(given, works)
    if not isinstance(laid, LaidOut):
        for problem in laid:
            report.problem(problem)
        names = drawn_names({name: given.frame(name) for name in DRAWN})
        return _nothing(grid, names, works)
    for problem in laid.problems:
        report.problem(problem)
    report.advanced(0.3, "routing the other storms")
    done, rules, ways = laid.done, laid.rules, laid.ways
    network, drawn, arrivals = done.network, done.drawn, done.arrivals
    routed = [done.first, *(route(network, inflow, rules.pace) for inflow in done.inflows[1:])]
    report.advanced(0.6, "looking for what is wrong, and what would mend it")
    found = _findings(network, routed, rules.limits)
    found[""] += misplaced(drawn, given.frame("keep_out"), given.frame("boundary"), works)
    found[""] += off_level(drawn, laid.site, given.facts("line_rules")["level_tolerance_m"])
    mends, left_out = mends_of(routed, found, rules, ways.on_ground)
    for problem in (*done.sizes.problems, *left_out):
        report.problem(problem)
    every = [finding for part in found.values() for finding in part]
    _tell(every, report)
    return {
        "elements": _elements(network, routed, drawn, every, grid),
        "overflows": _overflows(network, routed, ways.ways, every, grid),
        **_tables(routed, found, mends, every, done.sizes.records),
        "cascade": {"headline": _headline(network, routed[0], every)},
        "works_water": water_facts(network, arrivals, laid.names, works),
        "works_rules": works.model_dump(mode="json"),
        "built": {one.element.element_id: _built(one, arrivals) for one in drawn},
    }


def _findings(
    network: Network, routed: Sequence[Routed], limits: Limits
) -> dict[str, list[Finding]]:
    """Sort findings by storm; those of the drawing itself under an empty name."""
    found = {"": list(check(network, limits))}
    for one in routed:
        found[one.inflow.name] = list(judge(one, limits))
    return found


def _tell(findings: Sequence[Finding], report: Reporter) -> None:
    flagged = {finding.element_id for finding in findings}
    if flagged:
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(flagged), 'element needs', 'elements need')} a person: "
                + ", ".join(sorted(flagged)),
                "read cascade_findings and cascade_mends",
                "elements",
            )
        )


def _elements(
    network: Network,
    routed: Sequence[Routed],
    drawn: Sequence[Drawn],
    findings: Sequence[Finding],
    grid: Grid,
) -> GeoDataFrame:
    records = []
    for row, one in zip(element_rows(network, routed), drawn, strict=True):
        name = row["element_id"]
        line = one.shape.geom_type == "LineString"
        notes = dict.fromkeys(f.text for f in findings if f.element_id == name and f.link is None)
        records.append(
            row
            | {
                "drawn": True,
                "length_m": one.shape.length if line else None,
                "flag": joined(flags_of(findings, name)),
                "notes": "; ".join(notes) or None,
            }
        )
    return frame_of(records, [one.shape for one in drawn], "elements", grid)


def _overflows(
    network: Network,
    routed: Sequence[Routed],
    ways: Sequence[Way],
    findings: Sequence[Finding],
    grid: Grid,
) -> GeoDataFrame:
    """Lines that water takes, with the flags of each."""
    records, shapes = [], []
    for row, link, way in zip(overflow_rows(network, routed), network.links, ways, strict=True):
        mine = [f for f in findings if f.link is not None and _same_way(f, link)]
        records.append(
            row
            | {
                "flag": joined({f.flag for f in mine}),
                "notes": "; ".join(dict.fromkeys(f.text for f in mine)) or None,
            }
        )
        shapes.append(_with_length(way.line, grid))
    return frame_of(records, shapes, "overflows", grid)


def _same_way(finding: Finding, link: Any) -> bool:  # noqa: ANN401 - a Link
    other = finding.link
    return (
        other is not None
        and (other.from_id, other.to_id) == (link.from_id, link.to_id)
        and other.outlet.crest_m == link.outlet.crest_m
    )


def _with_length(line: shapely.LineString, grid: Grid) -> shapely.LineString:
    """Give a way that ends where it begins a short length, so that it can be seen."""
    if line.length > 0:
        return line
    x, y = line.coords[0]
    return shapely.LineString([(x, y), (x + grid.cell_m, y)])


def _tables(
    routed: Sequence[Routed],
    found: Mapping[str, list[Finding]],
    mends: Sequence[dict[str, Any]],
    findings: Sequence[Finding],
    sizes: Sequence[dict[str, Any]],
) -> dict[str, pd.DataFrame]:
    flags = {f.element_id: joined(flags_of(findings, f.element_id)) for f in findings}
    results = [
        row | {"flag": joined(flags_of(found[one.inflow.name], row["element_id"]))}
        for one in routed
        for row in result_rows(one)
    ]
    drains = [
        row | {"flag": joined(flags_of(found[one.inflow.name], row["element_id"]))}
        for one in routed
        for row in drain_rows(one)
    ]
    overflow = [
        row | {"flag": flags.get(row["from_id"], "")}
        for one in routed
        for row in overflow_result_rows(one)
    ]
    series = pd.concat([pd.DataFrame(series_columns(one)) for one in routed])
    told = [row for storm, part in found.items() for row in finding_rows(part, storm or None)]
    rows = {
        "storm_results": pd.DataFrame(results),
        "drain_results": pd.DataFrame(drains),
        "overflow_results": pd.DataFrame(overflow),
        "storm_series": series,
        "storm_balance": pd.DataFrame([balance_row(one) for one in routed]),
        "design_sizes": pd.DataFrame(sizes),
        "cascade_findings": pd.DataFrame(told),
        "cascade_mends": pd.DataFrame(mends),
    }
    return {
        name: pd.DataFrame(conformed(part, table(name)) if len(part) else empty(table(name)))
        for name, part in rows.items()
    }


def _headline(
    network: Network, routed: Routed, findings: Sequence[Finding]
) -> dict[str, float | int]:
    return {
        "elements": len(network.elements),
        "storage_m3": float(
            sum(one.storage_m3 for one in network.elements if one.kind is not Kind.DRAIN)
        ),
        "design_storm_arrives_m3": float(routed.elements.outside_m3.sum()),
        "design_storm_leaves_m3": float(routed.left_m3),
        "elements_flagged": len({finding.element_id for finding in findings}),
    }


def _built(one: Drawn, arrivals: Arrivals) -> dict[str, Any]:
    """Dimensions to build to, water that stands before a storm, and the ground that drains here."""
    start_m = one.element.start_level_m
    ground = arrivals.catchments.get(one.element.element_id)
    return dimensions(one.element) | {
        "start_level_m": start_m if np.isfinite(start_m) else None,
        "curve_number": ground.curve_number if ground else None,
    }


def _nothing(grid: Grid, names: Sequence[str], works: Works) -> Mapping[str, Any]:
    empties = {name: pd.DataFrame(empty(table(name))) for name in _TABLES}
    return {
        "elements": frame_of([], [], "elements", grid),
        "overflows": frame_of([], [], "overflows", grid),
        **empties,
        "cascade": {},
        "works_water": no_water_facts(names, works),
        "works_rules": works.model_dump(mode="json"),
        "built": {},
    }


STAGE = Stage(
    name="works",
    version=2,
    title="drawn elements and their cascade through the design storms",
    needs=(*NEEDS, "boundary", "line_rules"),
    makes=("elements", "overflows", *_TABLES, "cascade", "works_water", "works_rules", "built"),
    run=_run,
    sources=("inflows",),
    tables=("works",),
)
