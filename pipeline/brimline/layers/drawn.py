"""The layers of ``plan.gpkg`` that a person draws in; every column may be left empty.

What is left empty takes the column's usual value, where one is declared here; otherwise it is
designed, or follows from the ground. Usual values stand here alone: the configuration's defaults,
the designer, `brimline layers` and the report read them.
"""

from __future__ import annotations

from typing import Final

from brimline.layers.schema import Column, Dtype, Geometry, Layer


def _drawn(name: str, geometry: Geometry, title: str, meaning: str, *columns: Column) -> Layer:
    return Layer(name, geometry, title, meaning, columns, published=False)


def _free(
    name: str,
    dtype: Dtype,
    meaning: str,
    unit: str = "",
    minimum: float | None = None,
    maximum: float | None = None,
    values: tuple[str, ...] = (),
    usual: float | str | None = None,
) -> Column:
    """Declare a column that may be left empty."""
    return Column(name, dtype, meaning, unit, minimum, maximum, values, required=False, usual=usual)


_EDGE: Final = _free(
    "edge",
    "text",
    "bank: a bank with freeboard stands round it; sunken: nothing is heaped up, it is dug into the"
    " ground, its sill cut 3 cm into the lowest place of its rim.",
    values=("bank", "sunken"),
    usual="bank",
)
_NAME: Final = _free("name", "text", "What it is called; used as its identifier, so unique.")
_SPILLS_TO: Final = _free(
    "spills_to",
    "text",
    "Name of the element or discharge point that it spills to; empty follows the ground.",
)
_SPILL_LEVEL: Final = _free("spill_level_m", "float", "Level of its sill.", "m")
_SILL_WIDTH: Final = _free(
    "sill_width_m", "float", "Width of its level sill; empty is sized for the peak.", "m", 0
)
_CREST_LEVEL: Final = _free(
    "crest_level_m", "float", "Level of its settled crest; empty is designed.", "m"
)
_SOAK: Final = _free(
    "soak_mm_per_h", "float", "Tested soakage rate; empty is that of the soil.", "mm/h", 0
)
_START_SHARE: Final = _free(
    "start_share", "float", "Share of its volume that is full before a storm.", "", 0, 1, usual=1.0
)


_PREFERENCE: Final = _free(
    "preference",
    "float",
    "Which way out of its element water takes first, 1 before 2; where levels are empty, each lies"
    " 5 cm above the one before.",
    "",
    1,
)


def _freeboard(usual: float | None = None) -> Column:
    return _free(
        "freeboard_m", "float", "Height that must stay dry below the crest.", "m", 0, usual=usual
    )


_SET_OUT: Final = (
    _free(
        "plants",
        "text",
        "Plants of the plants file or guilds, separated by semicolons, in turn along each row.",
    ),
    _free(
        "spacing_m", "float", "Between plants; empty is the widest spacing they ask for.", "m", 0
    ),
    _free(
        "offset_m",
        "float",
        "Rows along lines: to the left of the line as it is drawn, negative to the right.",
        "m",
        usual=0.0,
    ),
)


def _depth(usual: float) -> Column:
    meaning = "Depth of the dig below the spill level."
    return _free("depth_m", "float", meaning, "m", 0, usual=usual)


def _bottom(usual: float) -> Column:
    return _free("bottom_m", "float", "Width of its bottom.", "m", 0, usual=usual)


def _side(usual: float) -> Column:
    meaning = "Batter of its sides, run per metre of rise."
    return _free("side", "float", meaning, "", 0, usual=usual)


ITEMS: Final = (
    _drawn(
        "drawn_swales",
        Geometry.LINE,
        "Swales as drawn",
        "Swales, drawn along the contour where the lower lip is to be. They are designed on the"
        " line as drawn; swale_lines holds it corrected to level.",
        _NAME,
        _SPILLS_TO,
        _free("level_m", "float", "Level of the line; empty is its mean ground level.", "m"),
        _free(
            "form",
            "text",
            "Shape of the section.",
            values=("trapezoid", "parabola", "vee"),
            usual="trapezoid",
        ),
        _free("depth_m", "float", "Depth from the lip to the floor.", "m", 0, usual=0.4),
        _free("top_m", "float", "Width at the lip, of a parabola.", "m", 0, usual=2.5),
        _bottom(0.6),
        _side(2.0),
        _SILL_WIDTH,
        _freeboard(0.15),
        _CREST_LEVEL,
        _SOAK,
    ),
    _drawn(
        "drawn_drains",
        Geometry.LINE,
        "Drains as drawn",
        "Graded drains, drawn downhill.",
        _NAME,
        _SPILLS_TO,
        _free("fall_pct", "float", "Fall of the bed; empty follows its ends.", "%", 0),
        _free("depth_m", "float", "Depth from bed to bank.", "m", 0, usual=0.5),
        _bottom(0.5),
        _side(2.0),
        _free(
            "lining",
            "text",
            "What the bed is: bare-new, bare-weathered, gravel, short-grass, grass-and-weeds,"
            " dense-weeds, stony, or a vegetal retardance class from A to E.",
            usual="short-grass",
        ),
        _free("soil", "text", "Soil of the bed, for the speed that it stands.", usual="firm-loam"),
        _freeboard(0.10),
    ),
    _drawn(
        "drain_starts",
        Geometry.POINT,
        "Starts of drains",
        "Points from which a graded line is laid along the ground.",
        _NAME,
        _free("run_per_fall", "float", "Metres along for a metre down: 400 falls at 1:400.", "", 1),
        _free("side", "text", "Which way it sets out, looking downhill.", values=("left", "right")),
        _free("max_length_m", "float", "Greatest length.", "m", 0),
    ),
    _drawn(
        "drawn_ponds",
        Geometry.POLYGON,
        "Ponds as drawn",
        "Ponds, drawn along the waterline when full.",
        _NAME,
        _SPILLS_TO,
        _SPILL_LEVEL,
        _depth(1.5),
        _side(3.0),
        _free("shelf_width_m", "float", "Width of the edge shelf.", "m", 0, usual=1.0),
        _free(
            "shelf_depth_m",
            "float",
            "Depth of water over the outer edge of the shelf, where marsh plants stand.",
            "m",
            0,
            usual=0.3,
        ),
        _free(
            "lining",
            "text",
            "What seals its bed, billed with anchor and laps; empty seals nothing.",
            values=("sheet", "clay"),
        ),
        _free("sheet_m", "float", "Width that the sheet comes in.", "m", 1, usual=6.0),
        _EDGE,
        _SILL_WIDTH,
        _freeboard(),
        _CREST_LEVEL,
        _free(
            "seepage_mm_per_h",
            "float",
            "Seepage through its bed; 0 is sealed.",
            "mm/h",
            0,
            usual=0.0,
        ),
        _START_SHARE,
    ),
    _drawn(
        "drawn_dams",
        Geometry.LINE,
        "Dams as drawn",
        "Banks across a valley, drawn along the crest from side to side. The last point is where it"
        " spills: a spillway is cut past it, through ground as it lies. The water behind it follows"
        " from the ground.",
        _NAME,
        _SPILLS_TO,
        _SPILL_LEVEL,
        _free(
            "depth_m",
            "float",
            "Water over the lowest ground on the line when full, where spill_level_m is empty.",
            "m",
            0,
            usual=1.5,
        ),
        _free("top_m", "float", "Width of the crest.", "m", 0, usual=3.0),
        _free(
            "upstream_side", "float", "Batter on the water side, run per rise.", "", 0, usual=3.0
        ),
        _free("downstream_side", "float", "Batter on the dry side.", "", 0, usual=2.0),
        _freeboard(0.30),
        _CREST_LEVEL,
        _SILL_WIDTH,
        _free(
            "seepage_mm_per_h",
            "float",
            "Seepage through its bed; 0 is sealed.",
            "mm/h",
            0,
            usual=0.0,
        ),
        _START_SHARE,
    ),
    _drawn(
        "drawn_basins",
        Geometry.POLYGON,
        "Basins as drawn",
        "Infiltration basins, mulch basins and rain gardens, drawn along the waterline when full.",
        _NAME,
        _SPILLS_TO,
        _free(
            "form",
            "text",
            "What kind of basin.",
            values=("infiltration basin", "mulch basin", "rain garden"),
            usual="infiltration basin",
        ),
        _SPILL_LEVEL,
        _depth(0.3),
        _side(2.0),
        _EDGE,
        _free(
            "fill",
            "text",
            "What fills it; sets pores and settling.",
            values=("gravel", "woodchips"),
        ),
        _free("fill_depth_m", "float", "Depth of settled fill from the floor up.", "m", 0),
        _free("void", "float", "Pores over volume of the settled fill.", "", 0, 1, usual=0.4),
        _free(
            "settle_share",
            "float",
            "Share of its depth that fill loses as it settles; empty is that of the fill.",
            "",
            0,
            0.9,
        ),
        _SILL_WIDTH,
        _freeboard(0.10),
        _CREST_LEVEL,
        _SOAK,
    ),
    _drawn(
        "drawn_tanks",
        Geometry.POINT,
        "Tanks as drawn",
        "Tanks that roofs or yards drain to.",
        _NAME,
        _SPILLS_TO,
        _free("volume_m3", "float", "Volume to the overflow.", "m³", 0, usual=10.0),
        _free("height_m", "float", "Height from the floor to the overflow.", "m", 0, usual=2.0),
        _free("base_level_m", "float", "Level of its floor; empty is the ground.", "m"),
        _free("roofs", "text", "Names of the surfaces that drain to it, separated by semicolons."),
        _free(
            "first_flush_mm",
            "float",
            "Depth of rain on the roof that is led away.",
            "mm",
            0,
            usual=0.5,
        ),
        _free(
            "overflow_mm",
            "float",
            "Inside diameter of the overflow; empty is sized, from this.",
            "mm",
            0,
            usual=100.0,
        ),
        _START_SHARE,
        _free(
            "cover_m",
            "float",
            "Ground over the lid of a buried tank; empty stands it on the ground.",
            "m",
            0,
        ),
        _free("bedding_m", "float", "Bed beneath a buried tank.", "m", 0, usual=0.1),
        _free("side", "float", "Batter of the pit that a tank is buried in.", "", 0, usual=1.0),
    ),
    _drawn(
        "drawn_beds",
        Geometry.POLYGON,
        "Raised beds as drawn",
        "Raised beds over a reservoir, drawn along their inner edge: a sealed trough, filled with"
        " gravel, beneath soil that draws the water up.",
        _NAME,
        _SPILLS_TO,
        _free("wall_m", "float", "Height of its wall over the ground.", "m", 0, usual=0.5),
        _free("reservoir_m", "float", "Depth of the gravel to the overflow.", "m", 0, usual=0.2),
        _free("soil_m", "float", "Depth of soil over the gravel.", "m", 0, usual=0.3),
        _free("void", "float", "Pores over volume of the gravel.", "", 0, 1, usual=0.35),
        _free("base_level_m", "float", "Level of its floor; empty is the ground.", "m"),
        _free("overflow_mm", "float", "Inside diameter of the overflow.", "mm", 0, usual=50.0),
        _START_SHARE,
    ),
    _drawn(
        "drawn_downpipes",
        Geometry.LINE,
        "Downpipes and troughs as drawn",
        "Ways that lead a roof, or a part of it, to any element, drawn from the roof's downpipe to"
        " the element.",
        _NAME,
        _free("roof", "text", "Name of the surface; empty is the one at its beginning."),
        _free("to_id", "text", "Element that it reaches; empty is the one at its end."),
        _free(
            "share",
            "float",
            "Share of the roof that it takes; empty shares what is left evenly.",
            "",
            0,
            1,
        ),
        _free(
            "form",
            "text",
            "pipe: closed, to its end; trough: open.",
            values=("pipe", "trough"),
            usual="pipe",
        ),
        _free(
            "fall_pct",
            "float",
            "Fall of a trough, or of the flat part of a pipe.",
            "%",
            0.1,
            100,
            usual=1.0,
        ),
        _free(
            "diameter_mm",
            "float",
            "Inside diameter of a pipe, width of a half-round trough; empty is sized for the peak.",
            "mm",
            0,
        ),
        _free(
            "first_flush_mm",
            "float",
            "Depth of rain on the roof that is led away.",
            "mm",
            0,
            usual=0.0,
        ),
    ),
    _drawn(
        "drawn_feeds",
        Geometry.LINE,
        "Feeds as drawn",
        "Pumps, and filling by hand, that keep a store full through the year; drawn from where the"
        " water is taken to the store. A storm finds the store as full as they keep it; what comes"
        " of one left on is tried.",
        _NAME,
        _free(
            "from_id",
            "text",
            "Store that it draws from; empty is the one at its beginning, or, with none there,"
            " water from outside: a tap, a well, a can.",
        ),
        _free("to_id", "text", "Store that it fills; empty is the one at its end."),
        _free("most_m3_d", "float", "Most that it brings in a day.", "m³/d", 0, usual=0.5),
        _free(
            "below_share",
            "float",
            "It runs while the store holds less than this share of its volume.",
            "",
            0,
            1,
            usual=0.5,
        ),
    ),
    _drawn(
        "drawn_pipes",
        Geometry.LINE,
        "Pipes as drawn",
        "Pipes out of an element, drawn from it to where they end.",
        _NAME,
        _free("from_id", "text", "Element that it leaves; empty is the one at its beginning."),
        _free("to_id", "text", "What it reaches; empty is what lies at its end."),
        _free(
            "diameter_mm",
            "float",
            "Inside diameter; empty is sized, from this.",
            "mm",
            0,
            usual=150.0,
        ),
        _free("from_level_m", "float", "Invert level of its inlet.", "m"),
        _free("to_level_m", "float", "Invert level of its outlet.", "m"),
        _free("roughness", "float", "Manning's n of the barrel.", "", 0, usual=0.013),
        _PREFERENCE,
        _free("bedding_m", "float", "Bed beneath it.", "m", 0, usual=0.1),
        _free(
            "trench_m",
            "float",
            "Width of its trench; empty is its outside diameter and 0.4 m, or 1.25 times it and"
            " 0.3 m, whichever is more.",
            "m",
            0.1,
        ),
        _free("cover_m", "float", "Least ground over it, else it is flagged.", "m", 0, usual=0.3),
    ),
    _drawn(
        "drawn_overflows",
        Geometry.LINE,
        "Overflows as drawn",
        "Ways that water takes over a sill, drawn from an element to the next; several may leave"
        " one element at different levels.",
        _NAME,
        _free("from_id", "text", "Element that it leaves; empty is the one at its beginning."),
        _free("to_id", "text", "What it reaches; empty is what lies at its end."),
        _free(
            "form", "text", "What kind of sill.", values=("broad", "sharp", "notch"), usual="broad"
        ),
        _free("crest_level_m", "float", "Level of the sill.", "m"),
        _SILL_WIDTH,
        _free(
            "capacity_m3_s",
            "float",
            "What the ground or channel below the sill carries safely.",
            "m³/s",
            0,
        ),
        _PREFERENCE,
        _free(
            "path_m",
            "float",
            "Width of a path that its middle crosses in a dip lined with stone, measured along the"
            " water's way; empty crosses none.",
            "m",
            0.1,
        ),
        _free(
            "dip_level_m",
            "float",
            "Level of the dip; empty is that of the sill, less a fall of 1 in 100 to there.",
            "m",
        ),
    ),
    _drawn(
        "discharge_points",
        Geometry.POINT,
        "Discharge points",
        "Stable, legal places where water may leave the site; unnamed ones do not count.",
        _free("name", "text", "What the place is called."),
        _free("level_m", "float", "Level of the water or ground there.", "m"),
    ),
    _drawn(
        "inflow_points",
        Geometry.POINT,
        "Inflows from outside",
        "Where water from outside the site arrives: an outfall, a neighbour's ditch.",
        _NAME,
        _free("into", "text", "Element that it reaches; empty follows the ground."),
        _free(
            "peak_m3_s",
            "float",
            "Highest flow in the design storm; not needed where inputs.inflows has its hydrograph.",
            "m³/s",
            0,
        ),
        _free("volume_m3", "float", "Volume in the design storm.", "m³", 0),
        _free(
            "start_h", "float", "When it begins, from the start of the storm.", "h", 0, usual=0.0
        ),
        _free("area_m2", "float", "Ground outside the site that it gathers.", "m²", 0),
        _free(
            "cover",
            "text",
            "Cover of that ground, on the usual soil; see the covers of the surfaces input.",
        ),
        _free("curve_number", "float", "Curve number of that ground, where known.", "", 1, 100),
        _free(
            "runoff_share",
            "float",
            "Share of the rain on that ground that arrives, in place of a curve number.",
            "",
            0,
            1,
        ),
        _free(
            "from_mm",
            "float",
            "Rain of a day that sends it this far; less never arrives.",
            "mm",
            0,
            usual=0.0,
        ),
    ),
    _drawn(
        "planting_zones",
        Geometry.POLYGON,
        "Planting zones as drawn",
        "Ground with one planting, whose water is followed through the year.",
        _NAME,
        _free("planting", "text", "What is planted, of the table of plantings."),
        _free("texture", "text", "Soil texture; empty is that of the soils input."),
        _free("irrigated", "bool", "Watered when the soil is drawn down; empty is true."),
        _free(
            "draws_on",
            "text",
            "Stores that water it, in order, separated by semicolons; empty asks every tank, then"
            " every pond.",
        ),
        _free("root_depth_m", "float", "Depth of soil that roots draw from.", "m", 0),
        _free(
            "available_pct",
            "float",
            "Water by volume that its soil holds for plants, where it was measured; empty follows"
            " from the texture.",
            "%",
            0,
            60,
        ),
        _free("mulch_share", "float", "Share of its ground under mulch.", "", 0, 1),
        *_SET_OUT,
        _free(
            "fill",
            "text",
            "How plants stand: each between those of the row before, beside them, or in rows along"
            " the lines of a layer.",
            values=("triangular", "square", "along"),
            usual="triangular",
        ),
        _free(
            "along",
            "text",
            "Layer whose lines the rows follow.",
            values=("swale_lines", "keylines", "cultivation_lines", "contours", "guide_lines"),
        ),
        _free("row_spacing_m", "float", "Distance between rows.", "m", 0),
        _free(
            "rows_deg",
            "float",
            "Bearing of the rows; empty is along the zone's longer side.",
            "°",
            0,
            360,
        ),
        _free("edge_m", "float", "Kept free along the zone's edge.", "m", 0, usual=0.0),
    ),
    _drawn(
        "plant_rows",
        Geometry.LINE,
        "Rows of plants as drawn",
        "Lines along which plants stand.",
        _NAME,
        *_SET_OUT,
    ),
    _drawn(
        "drawn_plants",
        Geometry.POINT,
        "Single plants as drawn",
        "Places of single plants, or of the centre of a guild.",
        _free("name", "text", "What it is called."),
        _free("plants", "text", "A plant of the plants file, or a guild."),
    ),
    _drawn(
        "drawn_pads",
        Geometry.POLYGON,
        "Pads as drawn",
        "Areas to bring to a plane, drawn along their edge: terraces, yards, raised or resurfaced"
        " beds. What else is drawn there stands on them.",
        _NAME,
        _free("level_m", "float", "Level at its middle; empty is that of the ground.", "m"),
        _free("fall_pct", "float", "Fall of the plane; 0 is level.", "%", 0, 50, usual=0.0),
        _free(
            "falls_to_deg",
            "float",
            "Compass bearing that it falls to; empty is the way that the ground falls.",
            "°",
            0,
            360,
        ),
        _side(2.0),
        _free("only", "text", "What is done; empty is both.", values=("dig", "heap")),
    ),
    _drawn(
        "drawn_tracks",
        Geometry.LINE,
        "Tracks as wanted",
        "Lines whose corners a track is to pass, from its start to its end; its way between them is"
        " found.",
        _NAME,
        _free("width_m", "float", "Width of the track.", "m", 0.5, 20, usual=3.0),
        _free("most_grade_pct", "float", "Steepest along it.", "%", 1, 40, usual=10.0),
        _free("most_cross_pct", "float", "Steepest ground across it.", "%", 1, 60, usual=35.0),
        _free(
            "radius_m",
            "float",
            "Tightest curve that the machine takes, along the middle of its way.",
            "m",
            0,
            100,
            usual=11.0,
        ),
    ),
    _drawn(
        "drawn_shade",
        Geometry.POLYGON,
        "What casts shade",
        "Buildings, trees and hedges that shade the ground, drawn round their wall or crown. Those"
        " of the surfaces input with a height_m need not be drawn again.",
        _NAME,
        _free("height_m", "float", "How far it rises above the ground.", "m", 0, 120, usual=5.0),
    ),
    _drawn(
        "stockpiles",
        Geometry.POINT,
        "Stockpiles",
        "Places for spoil that no mound needs.",
        _NAME,
    ),
    _drawn(
        "kept_hollows",
        Geometry.POINT,
        "Hollows to keep",
        "Points inside hollows whose water does not run on.",
        _NAME,
    ),
    _drawn(
        "guide_lines",
        Geometry.LINE,
        "Guide lines as drawn",
        "Lines that cultivation is to run parallel to, in place of a keyline.",
        _NAME,
    ),
    _drawn(
        "drawn_keypoints",
        Geometry.POINT,
        "Keypoints as drawn",
        "Keypoints that take the place of those that were found in the same valley.",
        _NAME,
    ),
)


def usual_number(layer: str, column: str) -> float:
    """Return the usual value of a number that may be left empty.

    Raises
    ------
    KeyError
        If there is no such column, or none is declared.
    """
    value = _usual(layer)[column]
    if not isinstance(value, float):
        raise KeyError(f"{layer}.{column} is no number")
    return value


def _usual(layer: str) -> dict[str, float | str]:
    return usual_of(next(item for item in ITEMS if item.name == layer))


def usual_of(layer: Layer) -> dict[str, float | str]:
    """Return the usual values of a layer's columns, by name."""
    return {column.name: column.usual for column in layer.columns if column.usual is not None}
