"""Rows of the layers and tables that say what was built."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import shapely

from brimline.layers.flags import joined
from brimline.stages._as_built_findings import known
from brimline.stages._frames import frame_of, table_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from geopandas import GeoDataFrame

    from brimline.cascade import Finding, Routed
    from brimline.elements.building import Checked
    from brimline.engine.stage import Given
    from brimline.stages._as_built_elements import AllBuilt, Built, SillBuilt
    from brimline.stages._as_built_findings import BuiltFinding
    from brimline.stages._as_built_survey import Found
    from brimline.stages._works_cascade import LaidOut


@dataclass(frozen=True, slots=True)
class After:
    """The cascade as built, routed; what is wrong now and was not by design."""

    routed: list[Routed]
    new: list[tuple[str, Finding]]
    mends: Sequence[Any]


def designed_m3_of(laid: LaidOut) -> dict[str, float]:
    return {
        one.element_id: float(
            one.stages.storage_at(laid.done.network.spill_level_m(one.element_id))
        )
        for one in laid.done.network.elements
    }


def element_rows(
    elements: GeoDataFrame,
    laid: LaidOut,
    built: AllBuilt,
    after: After,
    checks: Sequence[Checked],
    findings: Sequence[BuiltFinding],
) -> list[dict[str, Any]]:
    designed_m3 = designed_m3_of(laid)
    rows = []
    for name in elements["element_id"]:
        mine = [one for one in checks if one.asked.element_id == name]
        rows.append(
            _element_row(name, laid, built.elements[name], designed_m3[name], after, mine)
            | _verdict(name, mine, findings, after)
        )
    return rows


def _element_row(
    name: str,
    laid: LaidOut,
    one: Built,
    designed_m3: float,
    after: After,
    mine: Sequence[Checked],
) -> dict[str, Any]:
    element, network = laid.done.network.element(name), after.routed[0].network
    at = network.index[name]
    peak = max(float(routed.elements.peak_level_m[at]) for routed in after.routed)
    spill_m = min(network.spill_level_m(name), one.element.crest_level_m)
    uneven = [sill.line.uneven_m for sill in one.sills if sill.line is not None]
    count = {word: sum(c.verdict == word for c in mine) for word in
             ("pass", "fail", "not surveyed")}  # fmt: skip
    holds = float(one.element.stages.storage_at(spill_m)) if one.storage_known else None
    return {
        "element_id": name,
        "kind": str(element.kind),
        "stakes": len(mine),
        "passed": count["pass"],
        "failed": count["fail"],
        "not_surveyed": count["not surveyed"],
        "spill_level_design_m": laid.done.network.spill_level_m(name),
        "spill_level_built_m": spill_m,
        "sill_uneven_m": max(uneven, default=None),
        "crest_level_design_m": element.crest_level_m,
        "crest_level_built_m": one.element.crest_level_m,
        "storage_design_m3": designed_m3,
        "storage_built_m3": holds,
        "storage_pct": None if holds is None or designed_m3 <= 0 else 100 * holds / designed_m3,
        "spills_to": network.spills_to(name) or None,
        "peak_level_m": peak,
        "dry_height_m": one.element.crest_level_m - peak,
    }


def _verdict(
    name: str, mine: Sequence[Checked], findings: Sequence[BuiltFinding], after: After
) -> dict[str, Any]:
    """Judge an element, and gather its flags and notes."""
    own = [one for one in findings if one.element_id == name]
    new = sorted({one.flag for _, one in after.new if one.element_id == name})
    codes = {one.code for one in own if one.code and one.code not in new}
    surveyed = [one for one in mine if one.verdict != "not surveyed"]
    if new or "short-storage" in codes:
        verdict = "fails"
    elif not surveyed:
        verdict = "not surveyed"
    elif any(one.verdict == "fail" for one in mine) or codes & {"uneven-sill", "built-off"}:
        verdict = "works"
    else:
        verdict = "as designed"
    if new:
        codes |= {"no-longer-works"}
    return {
        "verdict": verdict,
        "new_flags": joined(new) or None,
        "flag": joined(codes),
        "notes": "; ".join(one.text for one in own) or None,
    }


def stake_frame(checks: Sequence[Checked], found: Sequence[Found], given: Given) -> GeoDataFrame:
    pairs = sorted(
        zip(checks, found, strict=True),
        key=lambda pair: ("fail", "not surveyed", "pass").index(pair[0].verdict),
    )
    records, shapes = [], []
    for one, here in pairs:
        asked, off = one.asked, one.difference_m
        codes = {"fail": ["built-off"], "not surveyed": ["not-surveyed"]}.get(one.verdict, [])
        codes += ["level-on-site"] if one.unsure and one.verdict != "not surveyed" else []
        records.append(
            {
                "stake_id": asked.stake_id,
                "element_id": asked.element_id,
                "role": asked.role,
                "verdict": one.verdict,
                "chainage_m": asked.chainage_m,
                "design_m": asked.level_m,
                "built_m": known(asked.level_m + off),
                "difference_m": known(off),
                "tolerance_m": one.tolerance_m,
                "cut_m": off if one.verdict == "fail" else None,
                "mend": one.told or None,
                "because": one.beyond or None,
                "distance_m": known(here.distance_m),
                "point": here.point or None,
                "flag": joined(codes),
            }
        )
        shapes.append(shapely.Point(asked.x, asked.y))
    return frame_of(records, shapes, "as_built_stakes", given.grid)


def sill_row(sill: SillBuilt, verdict: str, mend: str) -> dict[str, Any]:
    line = sill.line
    off = [] if line is None or verdict != "fail" else ["built-off"]
    if line is not None and line.uneven_m > 0.001 and verdict == "fail":
        off = ["uneven-sill"]
    return {
        "element_id": sill.element_id,
        "sill": sill.number,
        "verdict": verdict,
        "width_m": sill.width_m,
        "design_m": sill.level_m,
        "lowest_m": None if line is None else line.lowest_m,
        "highest_m": None if line is None else line.highest_m,
        "mean_m": None if line is None else line.mean_m,
        "uneven_m": None if line is None else line.uneven_m,
        "lowest_at_m": None if line is None else line.lowest_at_m,
        "points": 0 if line is None else line.points,
        "mend": mend or None,
        "flag": joined(["not-surveyed"] if line is None else off),
    }


def finding_table(findings: Sequence[BuiltFinding]) -> pd.DataFrame:
    records = [
        {
            "rank": rank,
            "element_id": one.element_id or None,
            "storm": one.storm or None,
            "code": one.code or None,
            "text": one.text,
            "mend": one.mend,
        }
        for rank, one in enumerate(findings, start=1)
    ]
    return table_of(records, "as_built_findings")


def headline(
    checks: Sequence[Checked], elements: Sequence[Mapping[str, Any]]
) -> dict[str, float | int]:
    verdicts = [one["verdict"] for one in elements]
    return {
        "levels_checked": sum(one.verdict != "not surveyed" for one in checks),
        "levels_off": sum(one.verdict == "fail" for one in checks),
        "levels_not_surveyed": sum(one.verdict == "not surveyed" for one in checks),
        "elements_that_fail_as_built": verdicts.count("fails"),
    }
