"""What was built against what was designed; only where `inputs.as_built` is given."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_ELEMENT_ID: Final = Column("element_id", "text", "Name of the element.")
_NOTES: Final = Column("notes", "text", "What was found, in words.", required=False)


def _maybe(name: str, meaning: str, unit: str, minimum: float | None = None) -> Column:
    return Column(name, "float", meaning, unit, minimum, required=False)


def _verdict(name: str, meaning: str) -> Column:
    text = f"{meaning} Not decided: this survey errs too much to tell."
    return Column(name, "text", text, values=("pass", "fail", "not decided", "not surveyed"))


ITEMS: Final = (
    Table(
        "as_built_findings",
        "As built: what fails first",
        "What the levels as built put in question, the gravest first, with the mend.",
        (
            Column("rank", "int", "1 is looked at first.", minimum=1),
            Column(
                "element_id", "text", "Element; empty is the whole survey.", required=False
            ),
            Column("storm", "text", "Storm that showed it; empty is any.", required=False),
            Column("code", "text", "Code of the flag; empty for the survey.", required=False),
            Column("text", "text", "What was found, with the numbers."),
            Column("mend", "text", "What to do."),
        ),
    ),
    Layer(
        "as_built_elements",
        Geometry.ANY,
        "Elements as built",
        "Levels and storage of each element as built, and what storms do to it with them.",
        (
            _ELEMENT_ID,
            Column(
                "kind", "text", "What it is.", values=("swale", "drain", "pond", "basin", "tank")
            ),
            Column(
                "verdict",
                "text",
                "as designed: every level passes; works: some level is off, but nothing fails by"
                " it; fails: it has a fault that the design has not, or holds too little; not"
                " decided: nothing is shown to be off, but the survey errs too much to pass it.",
                values=("as designed", "works", "fails", "not decided", "not surveyed"),
            ),
            Column("stakes", "int", "Places whose level was asked for.", minimum=0),
            Column("passed", "int", "Built within the tolerance.", minimum=0),
            Column("failed", "int", "Built off by more, beyond what the survey errs.", minimum=0),
            Column("not_decided", "int", "So near the tolerance that the survey cannot tell.",
                   minimum=0),
            Column("not_surveyed", "int", "Without a surveyed level near enough.", minimum=0),
            Column("spill_level_design_m", "float", "Level at which it should spill.", "m"),
            Column("spill_level_built_m", "float", "Level at which it spills as built.", "m"),
            _maybe("sill_uneven_m", "Highest less lowest level of its most uneven sill.", "m", 0),
            Column("crest_level_design_m", "float", "Settled level of its brim as designed.", "m"),
            Column("crest_level_built_m", "float", "The same at its lowest place as built.", "m"),
            Column("storage_design_m3", "float", "Volume to the spill level as designed.", "m³", 0),
            _maybe("storage_built_m3", "Volume to its spill level as built; empty where its floor"
                   " was not surveyed.", "m³", 0),
            _maybe("storage_error_m3", "Standard error of it by what the survey errs.", "m³", 0),
            _maybe("storage_pct", "Storage as built of that designed.", "%", 0),
            Column("spills_to", "text", "What it spills to; empty is nowhere.", required=False),
            _maybe("peak_level_m", "Highest level in any storm, as built.", "m"),
            _maybe("dry_height_m", "Crest less highest level, as built.", "m"),
            Column("new_flags", "text", "Flags that the design has not.", required=False),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Table(
        "as_built_sills",
        "Sills as built",
        "Each sill from side to side: it spills where it is lowest.",
        (
            _ELEMENT_ID,
            Column("sill", "int", "Number of the sill on its element.", minimum=1),
            _verdict("verdict", "Whether it passes: the worse of the two that follow."),
            _verdict("level_verdict", "Whether its mean level over its width is right."),
            _verdict("even_verdict", "Whether it is level from side to side."),
            Column("width_m", "float", "Width of the level sill.", "m", 0),
            Column("design_m", "float", "Level that it should have.", "m"),
            _maybe("lowest_m", "Its lowest level: where it begins to spill.", "m"),
            _maybe("highest_m", "Its highest level.", "m"),
            _maybe("mean_m", "Its mean level over its width.", "m"),
            _maybe("uneven_m", "Highest less lowest level.", "m", 0),
            _maybe("lowest_at_m", "Its lowest place, from its first stake.", "m", 0),
            Column("points", "int", "Surveyed points on it; 0 where read off a surface.",
                   minimum=0),
            Column("mend", "text", "What to do.", required=False),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "as_built_stakes",
        Geometry.POINT,
        "Levels as built",
        "Each stake, and places on the bottoms of ponds and basins, with the level found there.",
        (
            Column("stake_id", "text", "Name of the stake; of a bottom place, its own."),
            _ELEMENT_ID,
            Column("role", "text", "What is staked: floor, crest, sill, edge."),
            _verdict("verdict", "Whether it passes."),
            Column("chainage_m", "float", "Distance along the line.", "m", 0),
            Column("design_m", "float", "Level that it should have; of banks that have yet to"
                   " settle, the level to build to.", "m"),
            _maybe("built_m", "Level found; empty where none was surveyed near enough.", "m"),
            _maybe("difference_m", "Built less design; positive is too high.", "m"),
            Column("tolerance_m", "float", "How far it may be off.", "m", 0),
            _maybe("cut_m", "How much to cut; negative is fill; empty where it passes.", "m"),
            Column("mend", "text", "What to do.", required=False),
            Column("because", "text", "What no longer works at this level.", required=False),
            _maybe("distance_m", "To the surveyed point; empty for a surface.", "m", 0),
            Column("point", "text", "Name of the surveyed point.", required=False),
            FLAG_COLUMN,
        ),
    ),
)  # fmt: skip
