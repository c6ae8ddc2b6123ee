"""Plants: where they stand, what is bought, what they drink, and the care of all that is made."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_ZONE_ID: Final = Column("zone_id", "text", "Zone, row or name that it was drawn under.")
_PLANT: Final = Column("plant", "text", "Plant of the plants file.")
_AGE: Final = Column("age_y", "int", "Years after planting.", "years", 0)
_MONTH: Final = Column("month", "int", "Month of the year.", "", 1, 12)


def _maybe(name: str, meaning: str, unit: str = "", least: float | None = 0) -> Column:
    return Column(name, "float", meaning, unit, least, required=False)


ITEMS: Final = (
    Layer(
        "plants",
        Geometry.POINT,
        "Plants",
        "Every plant where it stands, whether it thrives there, and what it drinks.",
        (
            Column("plant_id", "text", "Identifier, as on its stake."),
            _PLANT,
            Column("kind", "text", "What it is."),
            Column("layer", "text", "Layer of the planting that it belongs to."),
            _ZONE_ID,
            Column("guild", "text", "Guild that it is part of.", required=False),
            Column("level_m", "float", "Level of the ground there.", "m"),
            Column("height_m", "float", "Height when grown.", "m", 0),
            Column("crown_m", "float", "Width of the crown when grown.", "m", 0),
            _maybe("sun_h", "Sun a day in the growing season, other plants not counted.", "h"),
            _maybe("lost_h", "Of it, what other plants take once grown.", "h"),
            Column("shaded_by", "text", "Plant that takes most of it.", required=False),
            Column("wetness", "text", "How wet the ground is there.", required=False),
            _maybe(
                "depth_m", "Soil there as dug, with what the design heaps up or digs away.", "m"
            ),
            *(
                _maybe(
                    f"week_{age}y_l",
                    f"Water to be given in a week of the driest month, {age} years after planting.",
                    "L",
                )
                for age in (1, 3, 10)
            ),
            FLAG_COLUMN,
            Column("notes", "text", "What will not suit it, in words.", required=False),
        ),
    ),
    Table(
        "zone_plants",
        "Where would it grow",
        "How much of each planting zone suits each plant of the plants file, by sun, wetness,"
        " frost, cold air and soil that was dug; other plants not counted.",
        (
            _ZONE_ID,
            _PLANT,
            Column("suits_share", "float", "Share of its ground that suits.", "", 0, 1),
            Column("lacks", "text", "What most of the rest lacks, as a flag.", required=False),
        ),
    ),
    Table(
        "plant_schedule",
        "Plants to buy",
        "Number and price of each plant, by zone and in all; the zone is empty in the sum.",
        (
            Column("zone_id", "text", "Zone, row or name; empty is all.", required=False),
            _PLANT,
            Column("kind", "text", "What it is."),
            Column("layer", "text", "Layer of the planting that it belongs to."),
            Column("size", "text", "Size in which it is bought.", required=False),
            Column("count", "int", "Number of plants.", "", 1),
            _maybe("price_each", "Price of one, in the currency of the plants file."),
            _maybe("price", "Price of all of them."),
            Column("left_out", "int", "Places left out because something is in the way.", "", 0),
        ),
    ),
    Table(
        "plant_water",
        "Water of the plants",
        "What the plants of each kind take in each month of an average year, as they grow.",
        (
            _ZONE_ID,
            _PLANT,
            Column("layer", "text", "Layer of the planting that it belongs to."),
            _AGE,
            _MONTH,
            Column("count", "int", "Number of plants.", "", 1),
            Column("crown_m2", "float", "Ground under the crown of one.", "m²", 0),
            Column("demand_m3", "float", "What all of them take where nothing lacks.", "m³", 0),
            Column("need_m3", "float", "Of it, what rain on that ground does not bring.", "m³", 0),
        ),
    ),
    Table(
        "zone_kc",
        "Coefficients of planted zones",
        "Water that each zone takes over reference evapotranspiration, from the crowns of its"
        " plants and the floor between them.",
        (
            _ZONE_ID,
            _AGE,
            _MONTH,
            Column("kc", "float", "Coefficient of the whole zone.", "", 0),
            Column("cover_share", "float", "Share of the zone under crowns.", "", 0, 1),
            Column("root_depth_m", "float", "Depth that its deepest plants root to.", "m", 0),
        ),
    ),
    Table(
        "zone_ages",
        "Zones as they grow",
        "What each planted zone takes in the average year at each age, and whether rain and stores"
        " are enough.",
        (
            _ZONE_ID,
            _AGE,
            Column("demand_m3", "float", "What the planting takes without stress.", "m³", 0),
            Column("mains_m3", "float", "Of it, met by the mains.", "m³", 0),
            Column("deficit_m3", "float", "Of it, not met.", "m³", 0),
            Column("share_without_mains", "float", "Met by rain and stores.", "", 0, 1),
            Column(
                "share_without_mains_worst",
                "float",
                "The same in the worst year.",
                "",
                0,
                1,
                required=False,
            ),
            Column("lives", "bool", "Whether rain and stores meet the goal share in both."),
        ),
    ),
    Table(
        "care",
        "Care and phases",
        "What is built, planted and cared for, by year and month.",
        (
            Column("year", "int", "Year of the work, from 1.", "", 1),
            _MONTH,
            Column("subject", "text", "Element, zone or plants that it is done to."),
            Column("what", "text", "What is done."),
            _maybe("minutes", "How long it takes, for all of it; empty is not known.", "min"),
            Column("every_y", "int", "Years until it is done again; 0 is once only.", "years", 0),
        ),
    ),
)
