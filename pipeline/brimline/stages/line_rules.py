"""What all lines on the ground have in common, as facts for the stages that draw them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import LevelLines
from brimline.engine.stage import Stage

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001
    return {"line_rules": given.params("lines", LevelLines).model_dump(mode="json")}


STAGE = Stage(
    name="line_rules",
    version=1,
    title="rules that all lines keep",
    needs=(),
    makes=("line_rules",),
    run=_run,
    tables=("lines",),
)
