"""Stakes on every line, round every outline and at both ends of every sill."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from brimline.elements.building import Margins, Spacing, set_out
from brimline.engine.stage import Stage
from brimline.layers.flags import joined
from brimline.lines.staking import Instrument, judged, readings
from brimline.stages._earthworks import NEEDS, designed
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.config import Staking
    from brimline.engine.stage import Given, Reporter
    from brimline.lines.staking import Stake


def _run(given: Given, report: Reporter) -> Mapping[str, Any]:
    params: Staking = given.params
    site = designed(given)
    margins = margins_of(given.frame("elements"), given.frame("overflows"))
    spacing = Spacing(params.interval_m, params.turn_deg, params.offset_m)
    stakes: list[Stake] = []
    for place, name in enumerate(site.ready.elements):
        report.advanced(place / len(site.ready.elements), f"staking {name}")
        stakes += set_out(site.ready, place + 1, site.ground, margins[name], spacing)
    known = [stake for stake in stakes if math.isfinite(stake.ground_m)]
    told = judged(known, given.facts("survey_error")["rmse_m"])
    records = [_record(stake) | more for stake, more in zip(told, _rods(told, params), strict=True)]
    shapes = [shapely.Point(stake.x, stake.y, stake.design_m) for stake in told]
    return {"stakes": frame_of(records, shapes, "stakes", given.grid)}


def margins_of(elements: GeoDataFrame, overflows: GeoDataFrame) -> dict[str, Margins]:
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
        )  # fmt: skip
    return found


def _record(stake: Stake) -> dict[str, Any]:
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
        "because": stake.because or None,
        "flag": joined(stake.flags),
    }


def _rods(stakes: Sequence[Stake], params: Staking) -> list[dict[str, float | None]]:
    if params.benchmark_level_m is None:
        return [{"above_benchmark_m": None, "rod_m": None} for _ in stakes]
    level = Instrument(
        params.benchmark or "benchmark",
        params.benchmark_level_m,
        params.sight_above_m,
        params.rod_m,
    )
    return [
        {"above_benchmark_m": one.above_benchmark_m, "rod_m": one.on_design_m}
        for one in readings(stakes, level)
    ]


STAGE = Stage(
    name="stakes",
    version=1,
    title="stakes and levels",
    needs=(*NEEDS, "survey_error"),
    makes=("stakes",),
    run=_run,
    table="stakes",
)
