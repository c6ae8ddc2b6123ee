"""Letting water through what dams it in the survey but not on the ground."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from brimline.config import Conditioning
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._frames import positions
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.terrain.conditioning import OpeningRule


def rule_of(params: Conditioning) -> OpeningRule:
    """Return how dams are opened, as `condition` takes it."""
    return {
        "mode": params.mode,
        "max_depth_m": params.breach_depth_m,
        "max_length_m": params.breach_length_m,
    }


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("conditioning", Conditioning)
    grid, culverts = given.grid, given.frame("culverts")
    rule = rule_of(params)
    done = condition(
        given.raster("elevation"),
        cell_m=grid.cell_m,
        burns=[positions(line, grid) for line in culverts.geometry],
        sinks=given.raster("kept_sink") == 1,
        **rule,
    )
    for number in done.left_out:
        name = culverts["name"].iloc[number] or f"row {number + 1}"
        report.problem(
            Problem(
                Severity.WARNING,
                f"culvert {name} has no ground at one of its ends and was not opened",
                "draw it from inlet to outlet, both on the data",
                "culverts",
            )
        )
    return {
        "conditioned": done.surface,
        "conditioning": {
            "rule": rule,
            "tell_fill_m": params.tell_fill_m,
            "opened": asdict(done.opened),
            "filled": asdict(done.filled),
        },
    }


STAGE = Stage(
    name="conditioning",
    version=2,
    title="opening culverts, breaching and filling",
    needs=("grid", "elevation", "culverts", "kept_sink"),
    makes=("conditioned", "conditioning"),
    run=_run,
    tables=("conditioning",),
)
