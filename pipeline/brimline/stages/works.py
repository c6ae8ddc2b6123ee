"""The design of what was drawn, and its cascade through the design storms."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from brimline.cascade import Finding, flags_of
from brimline.cascade.beyond import CASE_FLAGS, beyond_findings, headline
from brimline.cascade.rows import (
    balance_row,
    check_row,
    drain_rows,
    element_rows,
    finding_rows,
    overflow_result_rows,
    overflow_rows,
    result_rows,
    series_columns,
)
from brimline.config import Works
from brimline.design import LAYERS, Design, sized_downpipes
from brimline.elements import Kind
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.io.frames import conformed, empty
from brimline.layers import table
from brimline.layers.flags import joined, needs_look
from brimline.stages._assess import ASSESSED, ASSESSED_BY, Assessor
from brimline.stages._frames import frame_of
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.cascade import Link, Network, Routed
    from brimline.cascade.beyond import CheckCase
    from brimline.design import SizedDimension
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Grid
    from brimline.rainfall import Storm

_TABLES: Final = (
    "storm_results",
    "drain_results",
    "overflow_results",
    "storm_series",
    "storm_balance",
    "check_storms",
    "design_sizes",
    "cascade_findings",
)


def _run(given: Given, report: Reporter) -> Made:
    works = given.params("works", Works)
    two_year_mm = given.facts("storms")["rain_2y_24h_mm"]
    assessor = Assessor(given)
    if two_year_mm is None and works.rain_2y_24h_mm is None and works.concentration == "segments":
        report.problem(_no_two_year_rain(assessor.rules.water.rain_2y_24h_mm))
    found = assessor.of({name: given.frame(name) for name in LAYERS})
    for problem in found.done.problems:
        report.problem(problem)
    design, routed = found.done.design, found.routed
    if not routed:
        return _nothing(design, given.grid)
    report.advanced(0.6, "greater storms, blocked pipes and failed banks")
    cases = assessor.cases(found)
    beyond = list(beyond_findings(cases, routed[0].inflow.name))
    every = [*(finding for part in found.found.values() for finding in part), *beyond]
    _tell(every, report)
    _tell_beyond(cases, given, report)
    return {
        "design": design,
        "elements": _elements(design, routed, every, given.grid),
        "overflows": _overflows(design, routed, every, given.grid),
        "downpipes": _downpipes(design, assessor.storms[0], given.grid),
        **_tables(routed, found.found, beyond, design.sizes, cases),
        "cascade": {"headline": _headline(design.network, routed[0], every)},
    }


def _no_two_year_rain(taken_mm: float) -> Problem:
    return Problem(
        Severity.NOTICE,
        f"no two-year rain of 24 h is known for sheet flow; {taken_mm:g} mm is taken",
        "give a rainfall table that reaches 24 h and 2 years, or set works.rain_2y_24h_mm",
        "works",
    )


def _tell_beyond(cases: Sequence[CheckCase], given: Given, report: Reporter) -> None:
    by_table = given.facts("storms")["design"]["return_period_y"] is not None
    standard = "" if by_table else " (multiples of a rain, not a standard)"
    report.problem(
        Problem(
            Severity.WARNING if any(one.fails for one in cases) else Severity.NOTICE,
            f"beyond the design storm{standard}: {headline(cases)}",
            "read check_storms: each case, what fails first, by how much, and what follows",
            "check_storms",
        )
    )


def _tell(findings: Sequence[Finding], report: Reporter) -> None:
    flagged = {finding.element_id for finding in findings if needs_look([finding.flag])}
    if flagged:
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(flagged), 'element needs', 'elements need')} a person: "
                + ", ".join(sorted(flagged)),
                "read advice: findings in the order of danger, each with its mend",
                "elements",
            )
        )


def _elements(
    design: Design, routed: Sequence[Routed], findings: Sequence[Finding], grid: Grid
) -> GeoDataFrame:
    records = []
    for row, one in zip(element_rows(design.network, routed), design.placed, strict=True):
        own = (f.text for f in findings if f.element_id == one.name and f.link is None)
        records.append(
            row
            | {
                "drawn": True,
                "length_m": one.shape.length if one.shape.geom_type == "LineString" else None,
                "flag": joined(flags_of(findings, one.name)),
                "notes": _once(own),
            }
        )
    return frame_of(records, [one.shape for one in design.placed], "elements", grid)


def _overflows(
    design: Design, routed: Sequence[Routed], findings: Sequence[Finding], grid: Grid
) -> GeoDataFrame:
    """Lines that water takes, with the flags of each."""
    records = []
    for row, link in zip(overflow_rows(design.network, routed), design.links, strict=True):
        mine = [f for f in findings if f.link is not None and _same_way(f.link, link)]
        told = {"flag": joined({f.flag for f in mine}), "notes": _once(f.text for f in mine)}
        records.append(row | told)
    return frame_of(records, design.lines, "overflows", grid)


def _downpipes(design: Design, storm: Storm, grid: Grid) -> GeoDataFrame:
    found = sized_downpipes(design.arrivals.led, storm)
    records = [
        {
            "name": one.row.name,
            "roof": one.led.roof,
            "to_id": one.led.to_id,
            "form": one.row.form,
            "share": one.led.share,
            "area_m2": one.led.area_m2,
            "length_m": one.row.shape.length,
            "peak_m3_s": one.peak_m3_s,
            "diameter_mm": one.diameter_mm,
            "carries_m3_s": one.carries_m3_s,
            "flag": joined(["small-downpipe"] if one.carries_m3_s < one.peak_m3_s else []),
        }
        for one in found
    ]
    return frame_of(records, [one.row.shape for one in found], "downpipes", grid)


def _once(texts: Iterable[str]) -> str | None:
    return "; ".join(dict.fromkeys(texts)) or None


def _same_way(one: Link, other: Link) -> bool:
    return (one.from_id, one.to_id, one.outlet.crest_m) == (
        other.from_id,
        other.to_id,
        other.outlet.crest_m,
    )


def _tables(
    routed: Sequence[Routed],
    found: Mapping[str, Sequence[Finding]],
    beyond: Sequence[Finding],
    sizes: Sequence[SizedDimension],
    cases: Sequence[CheckCase],
) -> dict[str, pd.DataFrame]:
    every = [finding for part in found.values() for finding in part]

    def flagged(make: Callable[[Routed], list[dict[str, Any]]]) -> pd.DataFrame:
        """Rows of every storm with the flags that it gives their elements."""
        return pd.DataFrame(
            row | {"flag": joined(flags_of(found[one.inflow.name], row["element_id"]))}
            for one in routed
            for row in make(one)
        )

    overflow = [
        row | {"flag": joined(flags_of(every, row["from_id"]))}
        for one in routed
        for row in overflow_result_rows(one)
    ]
    told = [row for storm, part in found.items() for row in finding_rows(part, storm or None)]
    told += finding_rows(beyond)
    rows = {
        "storm_results": flagged(result_rows),
        "drain_results": flagged(drain_rows),
        "overflow_results": pd.DataFrame(overflow),
        "storm_series": pd.concat([pd.DataFrame(series_columns(one)) for one in routed]),
        "storm_balance": pd.DataFrame([balance_row(one) for one in routed]),
        "check_storms": pd.DataFrame(_check_row(one) for one in cases),
        "design_sizes": pd.DataFrame(_size_row(one) for one in sizes),
        "cascade_findings": pd.DataFrame(told),
    }
    return {
        name: pd.DataFrame(conformed(part, table(name)) if len(part) else empty(table(name)))
        for name, part in rows.items()
    }


def _check_row(case: CheckCase) -> dict[str, Any]:
    return check_row(case) | {"flag": joined([CASE_FLAGS[case.case]] if case.fails else [])}


def _size_row(one: SizedDimension) -> dict[str, Any]:
    row = asdict(one)
    missed = row.pop("missed")
    return row | {
        "goal_met": not missed,
        "flag": joined(["goal-missed"] if missed else []),
        "notes": missed or None,
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
        "elements_flagged": len({f.element_id for f in findings if needs_look([f.flag])}),
    }


def _nothing(design: Design, grid: Grid) -> dict[str, Any]:
    return {
        "design": design,
        "elements": frame_of([], [], "elements", grid),
        "overflows": frame_of([], [], "overflows", grid),
        "downpipes": frame_of([], [], "downpipes", grid),
        **{name: pd.DataFrame(empty(table(name))) for name in _TABLES},
        "cascade": {},
    }


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
