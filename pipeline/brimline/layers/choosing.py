"""What helps to choose: places for ponds, and how designs stand beside each other."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_SITE: Final = Column("site_id", "text", "Name of the place, p1 the best.")
_DEPTH: Final = Column("depth_m", "float", "Depth of water at the bank's middle.", "m", 0)
_LEVEL: Final = Column("level_m", "float", "Level of the water when full.", "m")
_CREST: Final = Column("crest_m", "float", "Level of the settled crest.", "m")
_STORAGE: Final = Column(
    "storage_m3",
    "float",
    "Water behind the bank's axis over the ground as surveyed. The bank's water-side batter takes"
    " some of it; what is dug for the bank below the water adds to it.",
    "m³",
    0,
)
_WATER: Final = Column("water_m2", "float", "Surface of the water when full.", "m²", 0)
_FILL: Final = Column("fill_m3", "float", "Fill of the bank, 10 % for settling included.", "m³", 0)
_PER_EARTH: Final = Column(
    "storage_per_earth", "float", "Water held for each cubic metre of bank.", "", 0
)
_LENGTH: Final = Column("bank_length_m", "float", "Length of the bank along its axis.", "m", 0)
_HEIGHT: Final = Column(
    "bank_height_m", "float", "Crest over the lowest ground on the bank's axis.", "m", 0
)

SENSITIVE: Final = (
    "kept_pct", "kept_m3", "over_safe_m", "earth_m3", "cost", "cost_per_kept",
    "without_mains_worst_pct",
)  # fmt: skip

ITEMS: Final = (
    Layer(
        "pond_sites",
        Geometry.MULTIPOLYGON,
        "Places for ponds",
        "Where a bank would hold most water for its earth: the water's outline when full, of every"
        " place that was found on the site, best first. Proposals: nothing is designed here.",
        (
            _SITE,
            Column(
                "kind",
                "text",
                "valley: across a valley's floor; bench: on ground gentler than around it;"
                " hillside: on an even slope.",
                values=("valley", "bench", "hillside"),
            ),
            Column(
                "pays",
                "float",
                "Water that it holds, or that a mean year brings if that is less, for each cubic"
                " metre of bank: what places are ranked by.",
                "",
                0,
            ),
            _DEPTH,
            _LEVEL,
            _CREST,
            _STORAGE,
            _WATER,
            _FILL,
            _PER_EARTH,
            _LENGTH,
            _HEIGHT,
            Column("catchment_m2", "float", "Ground that drains across the bank.", "m²", 0),
            Column(
                "yearly_m3",
                "float",
                "Runoff of that ground in a mean year of the weather record; empty without one.",
                "m³",
                0,
                required=False,
            ),
            Column(
                "fills_pct",
                "float",
                "Share of years whose runoff would fill it if nothing were lost or taken.",
                "%",
                0,
                100,
                required=False,
            ),
            Column(
                "commands_m2",
                "float",
                "Ground of the site that a pipe from the bank's foot reaches at 0.5 % of fall.",
                "m²",
                0,
            ),
            Column(
                "spill_side",
                "text",
                "End of the bank, looking downstream, past which it can spill over undisturbed"
                " ground to a flow path; empty where neither is fit.",
                values=("left", "right"),
                required=False,
            ),
            Column(
                "building_m",
                "float",
                "Way of the water from the bank to the first building within 20 m of it; empty"
                " where there is none within 1 km.",
                "m",
                0,
                required=False,
            ),
            Column("soil", "text", "Texture of the soil under the water.", required=False),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "pond_banks",
        Geometry.LINE,
        "Banks of places for ponds",
        "Axis of the bank of each place.",
        (_SITE, _CREST, _LENGTH, _HEIGHT),
    ),
    Table(
        "pond_curves",
        "Places for ponds, by height of the bank",
        "What each place would hold and take with a lower or higher bank.",
        (
            _SITE,
            _DEPTH,
            _LEVEL,
            _CREST,
            _STORAGE,
            _WATER,
            _FILL,
            _PER_EARTH,
            _LENGTH,
            _HEIGHT,
        ),
    ),
    Table(
        "design_sensitivity",
        "What the design does if the world is another",
        "Each figure of the design with one thing at the low and at the high end of its range, all"
        " else as it was taken; and with everything off at once. The design stays as it is.",
        (
            Column("figure", "text", "What of the design changes.", values=SENSITIVE),
            Column(
                "factor",
                "text",
                "What is off: rain, soakage, curve number, catchments or earth (by the survey),"
                " the price of an item, or all together.",
            ),
            Column(
                "low_at",
                "float",
                "Low end: a multiple of what was taken; of curve numbers what is added, of the"
                " survey -1 for its low end; empty for all together.",
                required=False,
            ),
            Column("high_at", "float", "High end, likewise.", required=False),
            Column("base", "float", "The figure as everything was taken."),
            Column(
                "low",
                "float",
                "The figure at the low end; of all together its 5th percentile.",
                head="Low (5 %)",
            ),
            Column(
                "high",
                "float",
                "At the high end; of all together its 95th percentile.",
                head="High (95 %)",
            ),
            Column("swing", "float", "How far the two lie apart.", "", 0),
            Column(
                "outside",
                "bool",
                "Whether the figure as everything was taken lies outside its range: what is off"
                " moves it to one side only. Tell the range then, not the figure.",
            ),
        ),
    ),
    Table(
        "sensitivity_draws",
        "The design in many other worlds",
        "Figures of the design where everything is off at once, drawn from the ranges.",
        (
            Column("draw", "int", "Number of the world, the same for every design.", "", 1),
            Column("kept_pct", "float", "Kept of the design storm.", "%", required=False),
            Column("kept_m3", "float", "Kept of the design storm.", "m³"),
            Column(
                "over_safe_m",
                "float",
                "Deepest that water stands within a freeboard or over a crest.",
                "m",
                0,
            ),
            Column("earth_m3", "float", "Cut and fill.", "m³"),
            Column("cost", "float", "Works, before contingency.", "", required=False),
            Column("cost_per_kept", "float", "Cost of a cubic metre kept.", "", required=False),
        ),
    ),
    Table(
        "searched_designs",
        "Cheapest designs, by water kept",
        "Designs that hold in the design storm and the check storms and that none found beats in"
        " both cost and water kept, the cheapest first; where none holds, the one that falls least"
        " short. `brimline apply` takes one into the plan.",
        (
            Column("design_id", "text", "Name of the design, s1 the cheapest."),
            Column(
                "cost",
                "float",
                "Works before contingency: the bill of the design as drawn, and what other sizes of"
                " the free dimensions cost more or less, each element dug by itself.",
            ),
            Column("kept_m3", "float", "Kept of the design storm.", "m³"),
            Column("kept_pct", "float", "Kept of the design storm.", "%"),
            Column(
                "further_water_cost",
                "float",
                "What each further cubic metre costs that it keeps over the next cheaper one.",
                required=False,
            ),
            Column(
                "offered",
                "text",
                "asked: the cheapest that keeps what was asked for. affordable: keeps most for"
                " search.most_cost. both: one design is.",
                required=False,
            ),
            Column("holds", "bool", "Whether it holds in every storm, routed step by step."),
            Column("change", "text", "Rows of the plan that make it so, as JSON.", required=False),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "searched_sizes",
        "Sizes of the cheapest designs",
        "Value of each free dimension in each of searched_designs.",
        (
            Column("design_id", "text", "Name of the design."),
            Column("element_id", "text", "Element that the dimension belongs to."),
            Column("dimension", "text", "Such as depth_m."),
            Column("value_now", "float", "As it was drawn, within the bounds."),
            Column("value", "float", "As it was found."),
            Column("lowest", "float", "Low bound."),
            Column("highest", "float", "High bound."),
        ),
    ),
)
