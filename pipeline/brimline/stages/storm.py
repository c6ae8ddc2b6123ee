"""The design storms, from the rainfall table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from brimline.config import DesignStorm
from brimline.engine.stage import Stage
from brimline.inputs.storms import storms_asked
from brimline.io.rainfall import read_depth_table
from brimline.rainfall import RunStorms

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    path = given.source("rainfall", Path)
    table = None if path is None else read_depth_table(path)
    storms, problems = storms_asked(given.params("storm", DesignStorm), table, str(path))
    report.tell(problems)
    return {"storms": storms}


STAGE = Stage(
    name="storm",
    version=3,
    title="design storms",
    needs=(),
    makes=("storms",),
    typed={"storms": RunStorms},
    run=_run,
    sources=("rainfall",),
    tables=("storm",),
)
