"""Elements, how they overflow, what storms do to them, and stakes."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_ELEMENT_ID: Final = Column("element_id", "text", "Name of the element, unique on the site.")
_STORM: Final = Column("storm", "text", "Name of the storm.")
_FROM_ID: Final = Column("from_id", "text", "Element that it leaves.")
_TO_ID: Final = Column(
    "to_id", "text", "Element or discharge point that it reaches; empty is nowhere.", required=False
)
_OUTLET: Final = Column(
    "outlet", "text", "What it runs through.", values=("sill", "pipe", "orifice", "drain", "brim")
)
_NOTES: Final = Column("notes", "text", "What the flags mean here, in words.", required=False)


def _volume(name: str, meaning: str) -> Column:
    return Column(name, "float", meaning, "m³", 0)


ITEMS: Final = (
    Layer(
        "elements",
        Geometry.ANY,
        "Elements",
        "Swales, drains, ponds, basins and tanks as designed, with the worst of all storms.",
        (
            _ELEMENT_ID,
            Column(
                "kind", "text", "What it is.", values=("swale", "drain", "pond", "basin", "tank")
            ),
            Column("form", "text", "Its kind in plain words.", required=False),
            Column("drawn", "bool", "True where a person drew it, false where it is a proposal."),
            Column("floor_level_m", "float", "Level of its floor.", "m"),
            Column("spill_level_m", "float", "Level at which it spills.", "m"),
            Column("crest_level_m", "float", "Settled level of its brim.", "m"),
            _volume("storage_m3", "Volume to the spill level."),
            Column("footprint_m2", "float", "Ground that it takes.", "m²", 0),
            Column("depth_m", "float", "Depth to the spill level.", "m", 0),
            Column("length_m", "float", "Length along its line.", "m", 0, required=False),
            Column(
                "spills_to",
                "text",
                "Element or discharge point that it spills to; empty is nowhere.",
                required=False,
            ),
            Column("freeboard_m", "float", "Height that must stay dry below the crest.", "m", 0),
            Column(
                "embankment_height_m",
                "float",
                "Greatest height of fill over the ground below it.",
                "m",
                0,
            ),
            Column("soak_mm_per_h", "float", "Soakage rate designed with.", "mm/h", 0),
            Column("peak_level_m", "float", "Highest level in any storm.", "m", required=False),
            Column(
                "drawdown_h",
                "float",
                "Longest time to drain after a storm; empty where it holds water for good or does"
                " not drain in the time that was routed.",
                "h",
                0,
                required=False,
            ),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Layer(
        "overflows",
        Geometry.LINE,
        "Overflows",
        "Ways that water takes from element to element, with the worst of all storms.",
        (
            _FROM_ID,
            _TO_ID,
            _OUTLET,
            Column("crest_level_m", "float", "Level above which it runs.", "m"),
            Column(
                "drop_m",
                "float",
                "Drop to the spill level that it reaches; empty where that is not known.",
                "m",
                required=False,
            ),
            Column("peak_m3_s", "float", "Highest flow in any storm.", "m³/s", 0),
            Column("sill_width_m", "float", "Width of the level sill.", "m", 0, required=False),
            Column("sill_head_m", "float", "Head over the crest at the peak.", "m", 0),
            Column("diameter_mm", "float", "Inside diameter of a pipe.", "mm", 0, required=False),
            Column(
                "speed_m_s", "float", "Speed over the crest at the peak.", "m/s", 0, required=False
            ),
            Column("preference", "int", "Order in which the element's outlets take water.", "", 1),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Layer(
        "stakes",
        Geometry.POINT_Z,
        "Stakes",
        "Points to set out, at their design level. A survey decides where, a level decides how"
        " high.",
        (
            _ELEMENT_ID,
            Column("stake_id", "text", "Name of the stake, unique on the site."),
            Column("chainage_m", "float", "Distance along the line.", "m", 0),
            Column("ground_m", "float", "Surveyed ground level.", "m"),
            Column("design_m", "float", "Level to build to.", "m"),
            Column("cut_m", "float", "Ground less design; negative is fill.", "m"),
            Column(
                "role", "text", "What is staked: lip, floor, crest, sill, edge.", required=False
            ),
            Column(
                "tolerance_m",
                "float",
                "Error of level at which the element still works.",
                "m",
                0,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "storm_results",
        "Storm results by element",
        "What each storm does to each element.",
        (
            _STORM,
            _ELEMENT_ID,
            _volume("outside_m3", "Inflow from outside the cascade."),
            _volume("received_m3", "Inflow from other elements."),
            Column("inflow_peak_m3_s", "float", "Highest inflow.", "m³/s", 0),
            Column("inflow_peak_h", "float", "Its time from the start of the storm.", "h", 0),
            Column("peak_level_m", "float", "Highest level.", "m"),
            Column("peak_h", "float", "Its time from the start of the storm.", "h", 0),
            _volume("peak_storage_m3", "Volume held at the highest level."),
            _volume("start_m3", "Volume held before the storm."),
            _volume("end_m3", "Volume held when the routing ends."),
            _volume("soaked_m3", "Volume that soaked away."),
            _volume("spilled_m3", "Volume that left by its outlets."),
            _volume("overtopped_m3", "Volume that ran over its brim."),
            Column("dry_height_m", "float", "Crest less highest level.", "m"),
            Column(
                "drawdown_h",
                "float",
                "From the end of the rain until it has drained; empty where it does not.",
                "h",
                0,
                required=False,
            ),
            Column("residual_m3", "float", "What the balance does not account for.", "m³"),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "overflow_results",
        "Storm results by overflow",
        "What each storm sends through each outlet.",
        (
            _STORM,
            _FROM_ID,
            _TO_ID,
            _OUTLET,
            _volume("volume_m3", "Volume that ran through it."),
            _volume("back_m3", "Volume that ran back."),
            Column("peak_m3_s", "float", "Highest flow.", "m³/s", 0),
            Column("peak_h", "float", "Its time from the start of the storm.", "h", 0),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "storm_series",
        "Levels and flows by time",
        "Level at the end of each step, and mean flows over it.",
        (
            _STORM,
            _ELEMENT_ID,
            Column("time_h", "float", "From the start of the storm.", "h", 0),
            Column("level_m", "float", "Water level.", "m"),
            _volume("storage_m3", "Volume held."),
            Column("inflow_m3_s", "float", "Inflow from outside and from elements.", "m³/s", 0),
            Column("outflow_m3_s", "float", "Outflow by all outlets and the brim.", "m³/s"),
            _volume("soaked_m3", "Volume soaked away so far."),
        ),
    ),
    Table(
        "storm_balance",
        "Water balance of each storm",
        "Where the water of the whole cascade went.",
        (
            _STORM,
            _volume("start_m3", "Volume held before the storm."),
            _volume("outside_m3", "Inflow from outside."),
            _volume("left_m3", "Volume that left the cascade."),
            _volume("soaked_m3", "Volume that soaked away."),
            _volume("end_m3", "Volume held when the routing ends."),
            Column("residual_m3", "float", "What the balance does not account for.", "m³"),
            Column("residual_ratio", "float", "The same over all inflow; at most 0.0001 is sound."),
            Column("steps", "int", "Small steps that were routed.", minimum=0),
            Column("missed", "int", "Steps that did not reach the tolerance.", minimum=0),
        ),
    ),
    Table(
        "cascade_findings",
        "What to look at in the cascade",
        "Each flag of each element in words, with the numbers behind it.",
        (
            Column("storm", "text", "Storm that showed it; empty is any.", required=False),
            _ELEMENT_ID,
            _TO_ID,
            Column("code", "text", "Code of the flag."),
            Column("text", "text", "What was found."),
        ),
    ),
    Table(
        "cascade_mends",
        "What would mend the cascade",
        "Single changes that take a flag away and bring no other, proved by routing again.",
        (
            Column("storm", "text", "Storm that it was proved with.", required=False),
            _ELEMENT_ID,
            Column("code", "text", "Code of the flag that it mends."),
            Column("changed_id", "text", "Element that is changed."),
            Column("dimension", "text", "What is changed."),
            Column("unit", "text", "Unit of the change.", required=False),
            Column("value_now", "float", "Its value now; 0 for a change of level."),
            Column("value_mended", "float", "Its value after; the rise for a change of level."),
            Column("text", "text", "The change in words."),
        ),
    ),
)
