"""Stakes on every line, round every outline and at both ends of every sill."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.config import AsBuilt, Staking
from brimline.elements import RaisedBed, Tank
from brimline.elements.building import (
    Margins,
    StakeSpacing,
    bed_stakes,
    pit_stakes,
    profiles,
    set_out,
)
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.doubts import benchmark_doubt
from brimline.io.frames import conformed, empty
from brimline.io.geographic import lon_lat, on_earth
from brimline.layers import table
from brimline.layers.flags import joined
from brimline.lines.staking import (
    LEVEL_ON_SITE,
    BuildLimits,
    Instrument,
    judged,
    readings,
    survey_decides_m,
)
from brimline.stages._frames import frame_of
from brimline.stages._plan import BUILT, ground_of_design
from brimline.stages._stakes_lines import LINES, line_stakes
from brimline.stages._survey_error import SUPPORT, survey_error_m, survey_lacks

if TYPE_CHECKING:
    from brimline.design import DesignedGround
    from brimline.elements.building import SectionProfile
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.staking import Reading, Stake

_SAY: Final = {
    LEVEL_ON_SITE: "level on site before digging",
    "off-rod": "move the instrument",
}


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("stakes", Staking)
    for doubt in benchmark_doubt(params.benchmark_level_m, given.raster("elevation")):
        report.problem(doubt)
    site = ground_of_design(given)
    margins = margins_of(given.frame("elements"), given.frame("overflows"))
    keep = given.params("as_built", AsBuilt)
    limits = BuildLimits(keep.sill_m, keep.floor_m, keep.crest_m, keep.edge_m, keep.storage_pct)
    spacing = StakeSpacing(params.interval_m, params.turn_deg, params.offset_m)
    stakes: list[Stake] = []
    wanted = () if survey_lacks(given) else tuple(site.ready.elements)
    for place, name in enumerate(wanted):
        report.advanced(place / len(site.ready.elements), f"staking {name}")
        stakes += set_out(
            site.ready, place + 1, site.ground, margins.get(name), spacing, limits
        )  # fmt: skip
    stakes += _buried(site, params)
    marks, along = line_stakes(given, params, site.ground) if not survey_lacks(given) else ([], [])
    stakes += marks
    known = _clear_of(given, [s for s in stakes if math.isfinite(s.ground_m)], report)
    rmse_m = survey_error_m(given)
    told = judged(known, rmse_m)
    level = _instrument(params)
    records = [
        _record(stake, reading)
        for stake, reading in zip(told, readings(told, level) if level else [None] * len(told),
                                  strict=True)
    ]  # fmt: skip
    shapes = [shapely.Point(stake.x, stake.y, stake.design_m) for stake in told]
    places = (np.full(len(shapes), np.nan), np.full(len(shapes), np.nan))  # none in a local grid
    if shapes and on_earth(given.grid.crs):
        places = lon_lat(gpd.GeoSeries(shapes, crs=given.grid.crs))
    for record, longitude, latitude in zip(records, *places, strict=True):
        record["latitude_deg"], record["longitude_deg"] = float(latitude), float(longitude)
    cuts = [
        one
        for number in range(1, len(wanted) + 1)
        for one in profiles(site.ready, number, site.ground)
    ] + along
    return {
        "stakes": frame_of(records, shapes, "stakes", given.grid),
        "profiles": _rows(cuts),
        "setting_out": {
            "rmse_m": rmse_m,
            "survey_decides_m": survey_decides_m(rmse_m),
            "instrument": asdict(level) if level else None,
            "fixed_points": [
                [one.name, one.easting_m, one.northing_m] for one in params.fixed_points
            ],
        },
    }


def _clear_of(given: Given, stakes: list[Stake], report: Reporter) -> list[Stake]:
    """Set no offset stake on ground to be kept clear, and flag what the work itself has there.

    An offset stake is only a help: those on the other side, or beside the next stake, do.
    """
    kept = given.frame("keep_out")
    if not len(kept) or not stakes:
        return stakes
    ground = kept.union_all()
    shapely.prepare(ground)
    inside = shapely.contains_xy(ground, [s.x for s in stakes], [s.y for s in stakes])
    left_out = [s.stake_id for s, within in zip(stakes, inside, strict=True) if within and s.side]
    if left_out:
        report.problem(
            Problem(
                Severity.NOTICE,
                f"{', '.join(left_out)} would stand on ground to be kept clear and"
                f" {'is' if len(left_out) == 1 else 'are'} left out",
                "take the offset stakes beside the next ones, or from the other side",
                "stakes",
            )
        )
    return [
        replace(stake, flags=(*stake.flags, "in-setback")) if within else stake
        for stake, within in zip(stakes, inside, strict=True)
        if not (within and stake.side)
    ]


def _buried(site: DesignedGround, params: Staking) -> list[Stake]:
    """Stake the bottoms of trenches, pits and raised beds."""
    found: list[Stake] = []
    count: dict[str, int] = {}
    for trench in site.trenches:
        number = count[trench.element_id] = count.get(trench.element_id, 0) + 1
        role = "trench" if number == 1 else f"trench{number}"
        found += trench.stakes(role, params.interval_m, params.turn_deg, site.ground)
    for one in site.design.placed:
        made = one.element.shape
        if isinstance(made, Tank):
            found += pit_stakes(made, shapely.Point(one.shape.centroid), site.ground)
        elif isinstance(made, RaisedBed):
            found += bed_stakes(made, site.ground)
    return found


def margins_of(elements: gpd.GeoDataFrame, overflows: gpd.GeoDataFrame) -> dict[str, Margins]:
    """Levels that each element must keep clear of, from the routed cascade."""
    spill = dict(zip(elements["element_id"], elements["spill_level_m"].astype(float), strict=True))
    feeders: dict[str, list[float]] = {}
    for row in overflows.itertuples(index=False):
        if row.to_id in spill and row.outlet != "pipe":
            feeders.setdefault(row.to_id, []).append(float(row.crest_level_m))
    found = {}
    for row in elements.itertuples(index=False):
        peak = row.spill_level_m if pd.isna(row.peak_level_m) else row.peak_level_m
        found[row.element_id] = Margins(
            float(row.spill_level_m), float(row.floor_level_m), float(row.crest_level_m),
            float(peak), tuple(feeders.get(row.element_id, ())),
            spill.get(row.spills_to, -math.inf),
            math.nan if row.kind == "drain" else float(row.storage_m3),
        )  # fmt: skip
    return found


def _record(stake: Stake, reading: Reading | None) -> dict[str, Any]:
    flags = [*stake.flags]
    if reading and not reading.in_reach:
        flags.append("off-rod")
    return {
        "element_id": stake.element_id,
        "stake_id": stake.stake_id,
        "chainage_m": stake.chainage_m,
        "ground_m": stake.ground_m,
        "design_m": stake.design_m,
        "cut_m": stake.cut_m,
        "build_m": stake.build_m,
        "role": stake.role,
        "side": stake.side or None,
        "offset_m": stake.offset_m,
        "tolerance_m": stake.tolerance_m if math.isfinite(stake.tolerance_m) else None,
        "bears_m": stake.bears_m if math.isfinite(stake.bears_m) else None,
        "because": stake.because or None,
        "above_benchmark_m": reading.above_benchmark_m if reading else None,
        "rod_m": reading.on_build_m if reading else None,
        "rod_ground_m": reading.on_ground_m if reading else None,
        "say": "; ".join(words for code, words in _SAY.items() if code in flags) or None,
        "flag": joined(flags),
    }


def _rows(cuts: list[SectionProfile]) -> pd.DataFrame:
    columns = ("at_m", "x", "y", "ground_m", "design_m", "build_m")
    parts = [
        pd.DataFrame({name: getattr(cut, name) for name in columns}).assign(
            element_id=cut.element_id, profile=cut.name, kind=cut.kind
        )
        for cut in cuts
    ]
    declared = table("profiles")
    if not parts:
        return pd.DataFrame(empty(declared))
    rows = pd.concat(parts, ignore_index=True).rename(columns={"x": "x_m", "y": "y_m"})
    return pd.DataFrame(conformed(rows.dropna(), declared))


def _instrument(params: Staking) -> Instrument | None:
    """Return the instrument as it is set up; None where no benchmark is given."""
    if params.benchmark_level_m is None:
        return None
    return Instrument(
        params.benchmark or "benchmark",
        params.benchmark_level_m,
        params.sight_above_m,
        params.rod_m,
    )


STAGE = Stage(
    name="stakes",
    version=4,
    title="stakes and levels",
    needs=(*BUILT, "elements", "overflows", "keep_out", *LINES, SUPPORT),
    makes=("stakes", "profiles", "setting_out"),
    run=_run,
    tables=("stakes", "earthworks", "as_built"),
)
