"""Two runs of a site compared: what changed on the ground, and what that means for the design."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline._lazy import lazily

if TYPE_CHECKING:
    from brimline.compare.below import LostGround, lost_ground, way_down
    from brimline.compare.changes import (
        LINES,
        AreaChange,
        ElementChange,
        IntakeChange,
        LineChange,
        RunPair,
    )
    from brimline.compare.comparing import RunsCompared, compare_runs
    from brimline.compare.findings import ChangeFinding, change_findings, told_shift
    from brimline.compare.runs import RunElement, RunIntake, RunLine, SiteRun

__all__ = [
    "LINES",
    "AreaChange",
    "ChangeFinding",
    "ElementChange",
    "IntakeChange",
    "LineChange",
    "LostGround",
    "RunElement",
    "RunIntake",
    "RunLine",
    "RunPair",
    "RunsCompared",
    "SiteRun",
    "change_findings",
    "compare_runs",
    "lost_ground",
    "told_shift",
    "way_down",
]

_HOMES: Final = {
    "AreaChange": "changes",
    "ChangeFinding": "findings",
    "ElementChange": "changes",
    "IntakeChange": "changes",
    "LINES": "changes",
    "LineChange": "changes",
    "LostGround": "below",
    "RunElement": "runs",
    "RunIntake": "runs",
    "RunLine": "runs",
    "RunPair": "changes",
    "RunsCompared": "comparing",
    "SiteRun": "runs",
    "compare_runs": "comparing",
    "change_findings": "findings",
    "lost_ground": "below",
    "told_shift": "findings",
    "way_down": "below",
}

__getattr__ = lazily(__name__, _HOMES)
