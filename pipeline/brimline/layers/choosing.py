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
)
