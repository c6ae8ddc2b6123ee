"""What people wrote down on the ground."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer

ITEMS: Final = (
    Layer(
        "notes",
        Geometry.POINT,
        "Notes from the ground",
        "What somebody wrote down where it was seen, and stakes that were set elsewhere.",
        (
            Column("note_id", "int", "Number of the note, in the order of the file.", minimum=1),
            Column("text", "text", "What was written."),
            Column("about", "text", "Stake or element that it is about.", required=False),
            Column("moved", "bool", "True where the stake was set here instead."),
            Column(
                "moved_m",
                "float",
                "How far from its designed place; empty where there is no such stake.",
                "m",
                0,
                required=False,
            ),
            Column(
                "accuracy_m",
                "float",
                "Radius that the position was told to lie in; empty for one set on the map.",
                "m",
                0,
                required=False,
            ),
            Column("written", "text", "When, ISO 8601.", required=False),
            Column("photo", "bool", "True where the file holds a photograph of it."),
            FLAG_COLUMN,
        ),
    ),
)
