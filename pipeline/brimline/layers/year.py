"""Water through the year: zones, stores and the site, by month and by year, and sizes that pay."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Dtype, Geometry, Layer, Table

_ZONE_ID: Final = Column("zone_id", "text", "Name of the zone, or of a use beside the planting.")
_ELEMENT_ID: Final = Column("element_id", "text", "Name of the element that stores water.")
_YEAR: Final = Column(
    "year",
    "int",
    "Calendar year; empty is the average of the whole years of the record.",
    required=False,
)
_OF_YEAR: Final = Column(
    "year",
    "int",
    "The worst year; empty is the average of the whole years of the record.",
    required=False,
)
_MONTH: Final = Column("month", "int", "Month of the year.", "", 1, 12)
_WEATHER: Final = Column(
    "weather",
    "text",
    "Whether days were measured or made up from monthly normals.",
    values=("measured", "made up"),
)
_WHOLE: Final = Column("whole", "bool", "True where every day of the year is in the record.")


def _volume(name: str, meaning: str) -> Column:
    return Column(name, "float", meaning, "m³", 0)


def _share(name: str, meaning: str, *, required: bool = True) -> Column:
    return Column(name, "float", meaning, "", 0, 1, required=required)


def _maybe(name: str, dtype: Dtype, meaning: str) -> Column:
    return Column(name, dtype, meaning, required=False)


_MET: Final = (
    _volume("demand_m3", "What the planting would take without stress, or the use asks."),
    _volume("rain_m3", "Of it, met by rain that the soil held."),
    _volume("harvested_m3", "Of it, met by stores: drawn, or soaked in and reached by roots."),
    _volume("mains_m3", "Of it, met by the mains."),
    _volume("deficit_m3", "Of it, not met."),
    _share("share_without_mains", "Share of the demand met by rain and stores."),
    _share("share_of_days", "Share of days on which mains and deficit were 5 % or less of it."),
)
_ZONE_PARTS: Final = (
    _volume("irrigation_harvested_m3", "Water given from stores, losses on the way included."),
    _volume("irrigation_mains_m3", "Water given from the mains, losses on the way included."),
    _volume("fed_m3", "Water that soaked in from swales and basins within reach of its roots."),
    _volume("drained_m3", "Water that drained below the roots."),
    Column(
        "evaporated_m3",
        "float",
        "Of the demand, evaporation from the soil's surface; empty with single coefficients.",
        "m³",
        0,
        required=False,
    ),
)
_STORE_PARTS: Final = (
    _volume(
        "runoff_in_m3",
        "Runoff of its own ground and roofs, rain on it, what drains from a bed over it.",
    ),
    _volume("overflow_in_m3", "Overflow of the stores above it."),
    _volume("spilled_m3", "What ran over."),
    _volume("evaporated_m3", "What evaporated."),
    _volume("soaked_m3", "What soaked away through its floor."),
    _volume("drawn_m3", "What was drawn from it, by feeds of other stores too."),
    _volume("brought_m3", "What feeds brought into it, by pump or by hand."),
    _volume("held_mean_m3", "What it held, on average over the days."),
    _volume("held_least_m3", "The least that it held."),
    _share("share_of_days_empty", "Share of days on which nothing could be drawn."),
)
_SITE_PARTS: Final = (
    Column("rain_mm", "float", "Rain.", "mm", 0),
    Column("et0_mm", "float", "Reference evapotranspiration.", "mm", 0),
    *_MET,
    _volume("drawn_from_mains_m3", "Water drawn from the mains, losses on the way included."),
    Column(
        "mains_avoided_m3",
        "float",
        "Mains water that the same planting would have drawn without any store, less what it drew.",
        "m³",
    ),
    _volume("watered_demand_m3", "Of the demand, that of uses and of zones that are watered."),
    _volume("watered_rain_m3", "Of that, met by rain that the soil held."),
    _volume("watered_harvested_m3", "Of that, met by stores."),
    _volume("watered_mains_m3", "Of that, met by the mains."),
    _volume("watered_deficit_m3", "Of that, not met."),
    _share(
        "share_harvested_of_need",
        "Share met by stores of what rain leaves to be met for uses and watered zones.",
    ),
    _share(
        "share_rain_fed_met",
        "Share of the demand met by rain and soakage in zones that are not watered; empty where"
        " there are none.",
        required=False,
    ),
    _volume("caught_m3", "Runoff and rain that came into the stores."),
    _volume("passed_on_m3", "Of it, what ran over the last of them and left."),
)

ITEMS: Final = (
    Layer(
        "zones",
        Geometry.MULTIPOLYGON,
        "Planting zones through the year",
        "What each zone needs in an average year, and how much of it comes without the mains.",
        (
            _ZONE_ID,
            Column("planting", "text", "What is planted."),
            Column("texture", "text", "Soil textures under it, the largest first."),
            Column("area_m2", "float", "Ground that is planted.", "m²", 0),
            Column("root_depth_m", "float", "Depth of soil that roots draw from.", "m", 0),
            Column("available_mm", "float", "Water that the root zone holds for plants.", "mm", 0),
            Column("curve_number", "float", "Curve number of its ground.", "", 0, 100),
            _share("mulch_share", "Share of its ground under mulch."),
            Column("irrigated", "bool", "True where it is watered when the soil is drawn down."),
            _maybe("draws_on", "text", "Stores that water it, in the order in which it asks them."),
            _maybe("fed_by", "text", "Swales and basins whose soakage its roots reach."),
            _volume("demand_m3", "What the planting takes in an average year without stress."),
            _volume("rain_m3", "Of it, met by rain that the soil held."),
            _volume("harvested_m3", "Of it, met by stores: drawn, or soaked in and reached."),
            _volume("mains_m3", "Of it, met by the mains."),
            _volume("deficit_m3", "Of it, not met."),
            _share("share_without_mains", "Share of the demand met by rain and stores."),
            _share("share_without_mains_worst", "The same in the worst year.", required=False),
            _WEATHER,
            FLAG_COLUMN,
            _maybe("notes", "text", "What was assumed, in words."),
        ),
    ),
    Table(
        "zone_years",
        "Zones by year",
        "What met each zone's demand, by year.",
        (_ZONE_ID, _YEAR, _WHOLE, *_MET, *_ZONE_PARTS, _WEATHER),
    ),
    Table(
        "zone_months",
        "Zones by month",
        "What met each zone's demand by month, in the average and in the worst year.",
        (_ZONE_ID, _OF_YEAR, _MONTH, *_MET, *_ZONE_PARTS, _WEATHER),
    ),
    Table(
        "store_years",
        "Stores by year",
        "What went through each store, by year.",
        (_ELEMENT_ID, _YEAR, _WHOLE, *_STORE_PARTS, _WEATHER),
    ),
    Table(
        "store_months",
        "Stores by month",
        "What went through each store by month, in the average and in the worst year.",
        (_ELEMENT_ID, _OF_YEAR, _MONTH, *_STORE_PARTS, _WEATHER),
    ),
    Table(
        "site_years",
        "The site by year",
        "What met the demand of all zones and uses, by year.",
        (
            _YEAR,
            _WHOLE,
            Column("driest", "bool", "True for the whole year of least rain."),
            Column(
                "worst",
                "bool",
                "True for the whole year in which rain and stores meet the least share of the"
                " planting's demand.",
            ),
            *_SITE_PARTS,
            _WEATHER,
        ),
    ),
    Table(
        "site_months",
        "The site by month",
        "What met the demand of all zones and uses by month, in the average and the worst year.",
        (_OF_YEAR, _MONTH, *_SITE_PARTS, _WEATHER),
    ),
    Table(
        "size_curves",
        "What a store's size does",
        "Demand met without the mains for sizes of each tank and pond, the others as drawn.",
        (
            _ELEMENT_ID,
            _volume("capacity_m3", "Size of the store."),
            _share("share_without_mains", "Share of the demand of what draws on it that is met."),
            _share("share_of_days", "Share of days on which 95 % of that demand is met."),
            Column("met_m3_per_y", "float", "Demand of the site met without mains.", "m³/a", 0),
            Column("mains_m3_per_y", "float", "Drawn from the mains by the site.", "m³/a", 0),
            _WEATHER,
        ),
    ),
    Table(
        "size_answers",
        "Sizes that are enough, and sizes that pay",
        "For each tank and pond that something draws on, read off its curve.",
        (
            _ELEMENT_ID,
            Column("kind", "text", "What it is.", values=("tank", "pond", "basin", "swale")),
            Column("serves", "text", "Zones and uses that draw on it."),
            _volume("capacity_m3", "Its size as drawn."),
            _share("share_without_mains", "Share of the demand of those that is met with it."),
            _share("share_of_days", "Share of days on which 95 % of that demand is met."),
            _share("goal_share", "Share that is wanted."),
            Column(
                "goal_by",
                "text",
                "Whether that is a share of the volume asked or of the days.",
                values=("volume", "days"),
            ),
            Column(
                "smallest_m3",
                "float",
                "Smallest size that meets the goal; empty where none that was tried does.",
                "m³",
                0,
                required=False,
            ),
            _volume("pays_until_m3", "Size beyond which a further m³ meets too little demand."),
            Column("worth_m3_per_y", "float", "Demand that a further m³ must meet.", "m³/a", 0),
            _volume("tried_to_m3", "Largest size that was tried."),
            Column("text", "text", "The answer in words."),
            _WEATHER,
        ),
    ),
    Table(
        "year_sensitivity",
        "What if the climate were drier or the soil another",
        "The site's demand and how it is met, for the average year, with one thing changed.",
        (
            Column("case", "text", "What is changed."),
            Column("text", "text", "The change in words."),
            *_MET,
            _share("share_harvested_of_need", "Share of the watering's need met by stores."),
            _share("share_without_mains_worst", "The same in the worst year.", required=False),
            _volume("drawn_from_mains_m3", "Water drawn from the mains, losses included."),
            _WEATHER,
        ),
    ),
)
