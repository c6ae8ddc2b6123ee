"""What stands up and keeps off sun and wind, with the height that it was given or is taken for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Sun
from brimline.engine.stage import Stage
from brimline.inputs.standing import obstructions_of
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    found, problems = obstructions_of(
        given.frame("surfaces"), given.frame("drawn_shade"), given.frame("keep_out_drawn"),
        given.params("sun", Sun).usual_heights_m,
    )  # fmt: skip
    report.tell(problems)
    shapes = [one.shape for one in found]
    return {"obstructions": frame_of(found, shapes, "obstructions", given.grid)}


STAGE = Stage(
    name="obstructions",
    version=1,
    title="what stands up and keeps off sun and wind",
    needs=("grid", "surfaces", "drawn_shade", "keep_out_drawn"),
    makes=("obstructions",),
    run=_run,
    tables=("sun",),
)
