"""What was built against what was designed: levels, storage, and the cascade with them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline import as_built
from brimline.as_built.rows import sill_row, stake_rows, told_built
from brimline.config import AsBuilt, Earthworks, Survey
from brimline.design import ROUTING_STEP_S, Design
from brimline.elements.building import filling_m
from brimline.engine.stage import Stage
from brimline.errors import InternalError, Problem, Severity
from brimline.inputs.built import asked_levels, built_differences, built_error_m
from brimline.io.vectors import VectorSource
from brimline.layers import FLAGS, layer, table
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of, table_of, values_of
from brimline.stages._plan import BUILT, ground_of_design, storms_of
from brimline.stages._survey_error import SUPPORT, survey_error_m

if TYPE_CHECKING:
    from brimline.as_built import Judgement
    from brimline.engine.stage import Given, Made, Reporter

_TABLES: Final = ("as_built_findings", "as_built_sills")
_LAYERS: Final = ("as_built_elements", "as_built_stakes")


def _run(given: Given, report: Reporter) -> Made:
    params, source = given.params("as_built", AsBuilt), given.source("as_built", VectorSource)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.as_built names a survey")
    site, design = ground_of_design(given), given.value("design", Design)
    if not design.placed or not site.ready.elements:
        text, mend = "nothing that was drawn can be held against it", "draw the elements"
        report.problem(Problem(Severity.WARNING, text, mend, "as_built"))
        return {
            **{name: table_of([], name) for name in _TABLES},
            **{name: frame_of([], [], name, given.grid) for name in _LAYERS},
            "as_built": {},
        }
    filled = {one.name for one in design.placed if filling_m(one.element) > 0}
    works = as_built.DesignedWorks(
        site.ready, site.ground, design.network, frozenset(filled),
        given.params("earthworks", Earthworks).refine,
    )  # fmt: skip
    level, rmse_m = given.facts("setting_out")["instrument"], built_error_m(source, params)
    differences, shift, problems = built_differences(
        source, works, given.frame("elements"), given.raster("elevation"), given.grid, params,
        older_error_m=survey_error_m(given),
        correlation_m=given.params("survey", Survey).correlation_m,
        benchmark=(level["benchmark"], level["benchmark_m"]) if level else None,
    )  # fmt: skip
    report.tell(problems)
    taken_off = bool(shift.told and params.take_off_shift)
    if taken_off:
        differences = as_built.without(differences, shift.shift_m)
    report.advanced(0.3, "judging levels and routing the cascade as built")
    inflows = tuple(design.arrivals.of(storm, ROUTING_STEP_S) for storm in storms_of(given).routed)
    found = as_built.judge_works(
        works, asked_levels(given.frame("stakes"), settled=params.settled), differences,
        as_built.Tolerances(params.sill_m, params.floor_m, params.crest_m, params.edge_m,
                            params.storage_pct, rmse_m),
        as_built.Trial(inflows, design.limits, design.pace, design.on_ground),
        shift=shift, shift_taken_off=params.take_off_shift,
    )  # fmt: skip
    report.tell(told_built(found.findings))
    facts = {"headline": found.headline, "shift_m": shift.mean_m, "shift": shift.told,
             "shift_taken_off": taken_off, "rmse_m": rmse_m, "settled": params.settled}  # fmt: skip
    return {**_frames(found, given), "as_built": facts}


def _frames(found: Judgement, given: Given) -> Made:
    stakes, places = stake_rows(found)
    outlines = given.frame("elements").set_index("element_id").geometry
    shapes = [outlines[one.element_id] for one in found.elements]
    elements = [
        values_of(one, layer("as_built_elements")) | {"flag": joined(one.flag)}
        for one in found.elements
    ]
    findings = [
        values_of(one, table("as_built_findings"))
        | {"rank": rank, "mend": one.mend or FLAGS[one.code].mend.rstrip(".")}
        for rank, one in enumerate(found.findings, start=1)
    ]
    return {
        "as_built_findings": table_of(findings, "as_built_findings"),
        "as_built_sills": table_of([sill_row(one) for one in found.sills], "as_built_sills"),
        "as_built_elements": frame_of(elements, shapes, "as_built_elements", given.grid),
        "as_built_stakes": frame_of(stakes, places, "as_built_stakes", given.grid),
    }


STAGE = Stage(
    name="as_built",
    version=2,
    title="what was built against the design",
    needs=(*BUILT, "elements", "storms", "stakes", "setting_out", SUPPORT),
    makes=(*_TABLES, *_LAYERS, "as_built"),
    run=_run,
    sources=("as_built",),
    tables=("as_built", "earthworks", "survey"),
)
