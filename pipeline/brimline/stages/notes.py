"""Notes from the ground, brought to the run's grid; moved stakes beside their designed place."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.stage import Stage
from brimline.errors import InternalError
from brimline.io.vectors import VectorSource, WantedColumn, read_layer
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.io.vectors import Kind

_KINDS: Final[tuple[Kind, ...]] = ("point",)
_COLUMNS: Final = (
    WantedColumn("text", required=True),
    WantedColumn("about"),
    WantedColumn("moved", "bool"),
    WantedColumn("accuracy_m", "float", minimum=0),
    WantedColumn("written"),
    WantedColumn("photo"),
)


def _run(given: Given, report: Reporter) -> Made:
    source = given.source("notes", VectorSource)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.notes names a file")
    read = read_layer(
        source, kinds=_KINDS, crs=given.grid.crs, columns=_COLUMNS, default_layer="notes"
    )
    rows = read.usable()
    for problem in read.problems:
        report.problem(problem)
    stakes = given.frame("stakes")
    places = dict(zip(stakes["stake_id"], stakes.geometry, strict=True))
    records = []
    for number, row in enumerate(rows.itertuples(index=False), 1):
        about, moved = _text(row.about), row.moved is True or row.moved == 1
        place = places.get(about)
        records.append(
            {
                "note_id": number,
                "text": _text(row.text),
                "about": about or None,
                "moved": moved,
                "moved_m": row.geometry.distance(place) if moved and place is not None else None,
                "accuracy_m": None if row.accuracy_m is None or math.isnan(row.accuracy_m)
                else float(row.accuracy_m),
                "written": _text(row.written) or None,
                "photo": bool(_text(row.photo)),
                "flag": joined(["moved-on-site"] if moved else []),
            }
        )  # fmt: skip
    return {"notes": frame_of(records, list(rows.geometry), "notes", given.grid)}


def _text(value: Any) -> str:  # noqa: ANN401 - any cell
    return value.strip() if isinstance(value, str) else ""


STAGE = Stage(
    name="notes",
    version=1,
    title="notes from the ground",
    needs=("grid", "stakes"),
    makes=("notes",),
    run=_run,
    sources=("notes",),
)
