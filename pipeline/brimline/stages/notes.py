"""Notes from the ground, brought to the run's grid; moved stakes beside their designed place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.engine.stage import Stage
from brimline.errors import InternalError
from brimline.inputs.notes import notes_of, read_notes
from brimline.io.vectors import VectorSource
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    source = given.source("notes", VectorSource)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.notes names a file")
    read, stakes = read_notes(source, given.grid.crs), given.frame("stakes")
    report.tell(read.problems)
    notes = notes_of(read, dict(zip(stakes["stake_id"], stakes.geometry, strict=True)))
    return {
        "notes": frame_of(notes, [note.shape for note in notes], "notes", given.grid),
        "note_photos": {str(note.note_id): note.picture for note in notes if note.photo},
    }


STAGE = Stage(
    name="notes",
    version=2,
    title="notes from the ground",
    needs=("grid", "stakes"),
    makes=("notes", "note_photos"),
    run=_run,
    sources=("notes",),
)
