"""The design of what was drawn, and its cascade through the design storms."""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from brimline.cascade import Finding, check, flags_of, judge, route
from brimline.cascade.beyond import (
    CASE_FLAGS,
    beyond_findings,
    blocked_pipes,
    failed_banks,
    frozen,
    headline,
    storm_case,
)
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
from brimline.cascade.safety import unsafe
from brimline.config import Earthworks, Hazard, LevelLines, Works
from brimline.design import (
    LAYERS,
    ROUTING_STEP_S,
    Design,
    buried_findings,
    designed,
    extents_of,
    mends_of,
    mends_to_level,
    misplaced,
    off_level,
    out_of_order,
    sized_downpipes,
    too_steep,
)
from brimline.elements import Kind
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.io.frames import conformed, empty
from brimline.layers import table
from brimline.layers.flags import joined, needs_look
from brimline.lines.sample import surface_at
from brimline.stages._filled import FILLED, ON_FILLED, filled_ground
from brimline.stages._frames import frame_of
from brimline.stages._ground_for_lines import drawing_of, smooth_surface
from brimline.stages._plan import (
    SURVEYED,
    beyond_of,
    building_of,
    design_rules,
    hydrographs_of,
    kept_clear_of,
    plan_of,
    standing_of,
    storms_of,
    survey_of,
)
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.cascade import Link, Network, Routed
    from brimline.cascade.beyond import CheckCase
    from brimline.design import Designed, DesignRules, SizedDimension, StandingGround
    from brimline.design.elements import PlacedElement
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Grid
    from brimline.rainfall import Storm
    from brimline.stages._filled import FilledGround

_TABLES: Final = (
    "storm_results",
    "drain_results",
    "overflow_results",
    "storm_series",
    "storm_balance",
    "check_storms",
    "design_sizes",
    "cascade_findings",
    "cascade_mends",
)


def _run(given: Given, report: Reporter) -> Made:
    works = given.params("works", Works)
    two_year_mm = given.facts("storms")["rain_2y_24h_mm"]
    tolerance_m = given.params("lines", LevelLines).level_tolerance_m
    building = building_of(given.params("earthworks", Earthworks))
    rules = design_rules(works, tolerance_m, two_year_mm, building, given.params("hazard", Hazard))
    if two_year_mm is None and works.rain_2y_24h_mm is None and works.concentration == "segments":
        report.problem(_no_two_year_rain(rules.water.rain_2y_24h_mm))
    standing = standing_of(given)
    done = designed(
        plan_of({name: given.frame(name) for name in LAYERS}, works),
        standing,
        survey_of(given),
        storms_of(given),
        rules,
        hydrographs_of(given),
    )
    for problem in done.problems:
        report.problem(problem)
    design = done.design
    if done.first is None:
        return _nothing(design, given.grid)
    report.advanced(0.3, "routing the other storms")
    others = (route(design.network, inflow, design.pace) for inflow in done.inflows[1:])
    routed = [done.first, *others]
    report.advanced(0.6, "looking for what is wrong, and what would mend it")
    found = _findings(given, done, routed, rules, standing)
    mends, left_out = mends_of(design, routed, found, rules)
    levelled = _mends_to_level(given, design, found[""])
    mends = [*levelled, *mends]
    found[""] = _without_way_out(found[""], {row["element_id"] for row in levelled})
    for problem in left_out:
        report.problem(problem)
    report.advanced(0.8, "greater storms, blocked pipes and failed banks")
    cases = _beyond(given, design, routed, rules)
    beyond = list(beyond_findings(cases, routed[0].inflow.name))
    every = [*(finding for part in found.values() for finding in part), *beyond]
    _tell(every, report)
    _tell_beyond(cases, given, report)
    return {
        "design": design,
        "elements": _elements(design, routed, every, given.grid),
        "overflows": _overflows(design, routed, every, given.grid),
        "downpipes": _downpipes(design, storms_of(given)[0], given.grid),
        **_tables(routed, found, beyond, mends, design.sizes, cases),
        "cascade": {"headline": _headline(design.network, routed[0], every)},
    }


def _level_tolerance(given: Given) -> tuple[float, str]:
    """Return how level a line must be, and why: no survey tells less than its own error."""
    asked_m = given.params("lines", LevelLines).level_tolerance_m
    survey_m = survey_error_m(given)
    if survey_m <= asked_m:
        return asked_m, ""
    return survey_m, f", the error of the survey (lines.level_tolerance_m is {asked_m:g} m)"


def _mends_to_level(
    given: Given, design: Design, findings: Sequence[Finding]
) -> list[dict[str, Any]]:
    return mends_to_level(
        findings,
        design.placed,
        smooth_surface(given),
        given.grid,
        kept_clear_of(given),
        given.frame("boundary").geometry.union_all(),
        drawing_of(given, _level_tolerance(given)[0]),
    )


def _without_way_out(findings: Sequence[Finding], levelled: set[str]) -> list[Finding]:
    """Say of a line that is off level and has no mend why it has none."""
    why = (
        "; no mend: moved onto its level it loses a tenth of its length or runs where it may not,"
        " and it falls too much for a dozen level bays: draw it anew, along a contour"
    )
    return [
        replace(finding, text=f"{finding.text}{why}")
        if finding.flag == "off-level" and finding.element_id not in levelled
        else finding
        for finding in findings
    ]


def _no_two_year_rain(taken_mm: float) -> Problem:
    return Problem(
        Severity.NOTICE,
        f"no two-year rain of 24 h is known for sheet flow; {taken_mm:g} mm is taken",
        "give a rainfall table that reaches 24 h and 2 years, or set works.rain_2y_24h_mm",
        "works",
    )


def _findings(
    given: Given,
    done: Designed,
    routed: Sequence[Routed],
    rules: DesignRules,
    standing: StandingGround,
) -> dict[str, list[Finding]]:
    """Sort findings by storm; those of the drawing itself under an empty name."""
    placed, limits = done.design.placed, rules.limits
    extents = extents_of(placed, standing, rules.building)
    site = given.frame("boundary").geometry.union_all()
    found = {
        "": [
            *check(done.design.network, limits),
            *unsafe(done.design.network, limits),
            *misplaced(placed, kept_clear_of(given), site, rules.near_building_m, extents),
            *too_steep(extents, limits.steep_slope_pct),
            *off_level(placed, smooth_surface(given), given.grid, *_level_tolerance(given)),
            *out_of_order(done.design),
            *buried_findings(
                done.design, partial(surface_at, given.raster("elevation"), given.grid)
            ),
            *_on_fill(placed, filled_ground(given)),
        ]
    }
    design_storm = storms_of(given)[0]
    for one in routed:
        found[one.inflow.name] = list(judge(one, limits))
    found[design_storm.name] += [
        Finding("outside-method", name, f"runoff: {text}")
        for name, text in done.design.arrivals.doubts(design_storm)
    ]
    return found


def _beyond(
    given: Given, design: Design, routed: Sequence[Routed], rules: DesignRules
) -> list[CheckCase]:
    """Try greater storms, then single faults in the design storm."""
    further = (
        route(design.network, design.arrivals.of(storm, ROUTING_STEP_S), design.pace)
        for storm in beyond_of(given)
    )
    limits, design_storm = rules.limits, storms_of(given)[0]
    icy = route(
        frozen(design.network),
        design.arrivals.frozen().of(design_storm, ROUTING_STEP_S),
        design.pace,
    )
    text = "all rain runs off and nothing soaks away; melting snow would come on top"
    return [
        *(storm_case(one, limits) for one in (*routed, *further)),
        storm_case(icy, limits, case="frozen ground", beside=routed[0], text=text),
        *blocked_pipes(routed[0], design.pace, limits),
        *failed_banks(routed[0], design.pace, limits),
    ]


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
                "read cascade_findings and cascade_mends",
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
    mends: Sequence[dict[str, Any]],
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
        "cascade_mends": pd.DataFrame(mends),
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


def _on_fill(placed: Sequence[PlacedElement], filled: FilledGround) -> Iterator[Finding]:
    """Flag elements in hollows that were filled."""
    for one in placed:
        deepest_m = filled.deepest_m(one.shape)
        if deepest_m > filled.tell_m:
            text = f"lies in a hollow that was filled {deepest_m:.2f} m deep for water to cross it"
            yield Finding(ON_FILLED, one.name, text)


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
    version=5,
    title="drawn elements and their cascade through the design storms",
    needs=(
        *SURVEYED,
        *FILLED[1:],
        *LAYERS,
        "keep_out",
        "keep_out_drawn",
        "boundary",
        "storms",
        SUPPORT,
    ),
    makes=("design", "elements", "overflows", "downpipes", *_TABLES, "cascade"),
    run=_run,
    sources=("inflows",),
    tables=("works", "lines", "survey", "earthworks", "hazard"),
    typed={"design": Design},
)
