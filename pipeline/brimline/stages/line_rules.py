"""What all lines on the ground have in common, as facts for the stages that draw them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.engine.stage import Stage

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine.stage import Given, Reporter


def _run(given: Given, report: Reporter) -> Mapping[str, Any]:  # noqa: ARG001
    return {"line_rules": given.params.model_dump(mode="json")}


STAGE = Stage(
    name="line_rules",
    version=1,
    title="rules that all lines keep",
    needs=(),
    makes=("line_rules",),
    run=_run,
    table="lines",
)
