"""What a failed bank would do: a screening of every element that holds water above ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Earthworks, Hazard
from brimline.design import Design, bank_hazards
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rows import things_in_the_way
from brimline.inputs.rules import bank_limits, building_of
from brimline.layers.flags import needs_look
from brimline.stages._frames import frame_of
from brimline.stages._plan import SURVEYED, standing_of
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.design import BankHazard
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    found = bank_hazards(
        given.value("design", Design), standing_of(given),
        building_of(given.params("earthworks", Earthworks)),
        given.raster("elevation"), given.raster("design_surface"),
        things_in_the_way(given.frame("keep_out_drawn"), given.frame("surfaces")),
        given.frame("boundary").geometry.union_all(),
        bank_limits(given.params("hazard", Hazard)), report.advanced,
    )  # fmt: skip
    report.tell(_told(found))
    shapes = [one.shape for one in found]
    return {"bank_hazards": frame_of(found, shapes, "bank_hazards", given.grid)}


def _told(found: Sequence[BankHazard]) -> list[Problem]:
    look = [one.element_id for one in found if needs_look(one.flags)]
    if not look:
        return []
    highest = max(found, key=lambda one: one.height_m)
    return [
        Problem(
            Severity.WARNING,
            f"{counted(len(look), 'bank asks', 'banks ask')} for care: {', '.join(look)}; the"
            f" highest, of {highest.element_id}, stands {highest.height_m:.2f} m over its toe",
            "read bank_hazards: what would lie in the way of their water",
            "bank_hazards",
        )
    ]


STAGE = Stage(
    name="hazards",
    version=1,
    title="what lies in the way of a failed bank",
    needs=(*SURVEYED, "design", "design_surface", "keep_out_drawn", "boundary"),
    makes=("bank_hazards",),
    run=_run,
    tables=("hazard", "earthworks", "works"),
)
