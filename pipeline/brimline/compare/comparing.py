"""Two runs of a site held against each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.compare.changes import (
    RunPair,
    area_changes,
    element_changes,
    intake_changes,
    line_changes,
)
from brimline.compare.findings import change_findings
from brimline.compare.stable import off_the_works
from brimline.errors import GridError
from brimline.terrain.change import difference

if TYPE_CHECKING:
    from brimline.compare.changes import AreaChange, ElementChange, IntakeChange, LineChange
    from brimline.compare.findings import ChangeFinding
    from brimline.compare.runs import SiteRun
    from brimline.grid import BoolGrid, Grid


@dataclass(frozen=True, slots=True, eq=False)
class RunsCompared:
    """What was found.

    Parameters
    ----------
    stable, stable_from : ground on which a shift was sought, and in words where it is from.
    findings : worse first, then different, then better.
    """

    pair: RunPair
    stable: BoolGrid
    stable_from: str
    areas: list[AreaChange]
    intakes: list[IntakeChange]
    lines: list[LineChange]
    elements: list[ElementChange]
    findings: list[ChangeFinding]


def compare_runs(
    then: SiteRun,
    now: SiteRun,
    grid: Grid,
    *,
    confidence: float = 0.95,
    take_off_shift: bool = True,
    stable: tuple[BoolGrid, str] | None = None,
) -> RunsCompared:
    """Compare two runs on one grid.

    Parameters
    ----------
    confidence : of the level of detection and of every uncertainty.
    take_off_shift : False leaves a shift that lies on all ground alike in the change.
    stable : ground known not to have changed, and in words where it is from; None takes all that
        lies farther than a margin from every element of either run.

    Raises
    ------
    GridError
        If the two share no ground.
    """
    both = np.isfinite(then.elevation_m) & np.isfinite(now.elevation_m)
    if not both.any():
        raise GridError("the two runs share no ground")
    mask, mask_from = stable or off_the_works((then, now), grid, both)
    correlation = max(then.correlation_m, now.correlation_m)
    change = difference(
        then.elevation_m, now.elevation_m, grid.cell_m,
        error_then_m=then.error_m, error_now_m=now.error_m, correlation_m=correlation,
        confidence=confidence, take_off_shift=take_off_shift, stable=mask,
    )  # fmt: skip
    pair = RunPair(then, now, grid, change, correlation)
    areas, intakes = list(area_changes(pair)), list(intake_changes(pair))
    lines, elements = list(line_changes(pair)), list(element_changes(pair))
    told = change_findings(pair, areas, intakes, lines, elements)
    return RunsCompared(pair, mask, mask_from, areas, intakes, lines, elements, told)
