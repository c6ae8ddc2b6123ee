"""Outlines of the hollows that lie near the site."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.hollows import hollow_outlines
from brimline.engine.stage import Stage
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it is quick
    whole, listed = given.whole_grid, given.table("hollow_list")
    labels = given.raster("hollow_label", around=max(whole.shape))  # one may reach beyond
    shapes = hollow_outlines(
        labels, listed["parent_id"].to_numpy(dtype=np.int64), whole, near=given.block()
    )
    rows = listed[listed["hollow_id"].isin(list(shapes))]
    drawn = [shapes[number] for number in rows["hollow_id"].tolist()]
    return {"hollows": frame_of(rows.to_dict("records"), drawn, "hollows", whole)}


STAGE = Stage(
    name="hollows",
    version=3,
    title="outlines of hollows",
    needs=("grid", "near", "hollow_list", "hollow_label"),
    makes=("hollows",),
    run=_run,
    near=True,
)
