"""What a site is read for: sun, cold air, soil that may be lost, where things would grow."""

from __future__ import annotations

import math
from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Raster, Table

_NAN: Final = math.nan
PERIODS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December", "shortest day", "longest day",
)  # fmt: skip

ITEMS: Final = (
    Raster(
        "sun_h",
        "float32",
        _NAN,
        "Hours of sun",
        "Hours a day that the sun reaches the ground under a clear sky, by month and for the"
        " shortest and the longest day: shaded by the ground and by the obstructions.",
        "h",
        bands=PERIODS,
        step=0.05,
        near=True,
    ),
    Raster(
        "sun_mj_m2",
        "float32",
        _NAN,
        "Energy of the sun",
        "What sun and clear sky bring to the sloping ground in a day, by month and for the shortest"
        " and the longest day. Clouds take a third to a half off it in most climates.",
        "MJ/m²",
        bands=PERIODS,
        step=0.05,
        near=True,
    ),
    Raster(
        "sky_share",
        "float32",
        _NAN,
        "Share of the sky",
        "Share of the sky that the ground sees, 1 on open level ground: where it is low, nights are"
        " milder and days darker.",
        step=0.01,
        near=True,
    ),
    Raster(
        "shelter_deg",
        "float32",
        _NAN,
        "Shelter from wind",
        "Mean angle to the highest that stands within wind.reach_m towards the stated winds, or all"
        " round where none is stated; below 0 where the ground falls away. The ground and the"
        " obstructions count, all as solid.",
        "°",
        step=0.05,
        near=True,
    ),
    Raster(
        "aspect_deg",
        "float32",
        _NAN,
        "Ground faces",
        "Compass bearing that the smoothed ground falls to; empty where it is all but level.",
        "°",
        step=1.0,
        near=True,
    ),
    Raster(
        "machine_ground",
        "uint8",
        255,
        "Ground for machines",
        "1 where the stated machine works: no steeper than growing.machine_pct over the width of"
        " growing.machine_width_m. Wet ground, stones and gates are not seen.",
        codes=True,
        near=True,
    ),
    Raster(
        "soil_wetness",
        "float32",
        _NAN,
        "Wetness of the soil",
        "Logarithm of area per contour width over slope (topographic wetness index), over means of"
        " springs.over_m with water spread on hillslopes: it ranks the places of a site.",
        near=True,
    ),
    Raster(
        "soil_depth_m",
        "float32",
        _NAN,
        "Depth of soil",
        "As soils say; elsewhere a guess by slope between the usual depths, for comparing places:"
        " only a spade tells.",
        "m",
        near=True,
    ),
    Raster(
        "soil_dug",
        "uint8",
        255,
        "Where soil was dug",
        "1 where the depth of soil is as dug.",
        published=False,
        codes=True,
        near=True,
    ),
    Raster(
        "soil_loss_t_ha",
        "float32",
        _NAN,
        "Soil that rain may take",
        "Mean loss by sheet and rill in a year, by the revised universal soil loss equation; empty"
        " where water runs in paths, for which it was not made.",
        "t/ha",
        near=True,
    ),
    Raster(
        "deposit_t_ha",
        "float32",
        _NAN,
        "Soil that settles",
        "Soil from above that comes to lie in a year where water can carry no more: where, rather"
        " than how much.",
        "t/ha",
        near=True,
    ),
    Raster(
        "cold_air",
        "uint8",
        255,
        "Cold air",
        "1 where cold air pools on still, clear nights: low among its surroundings, not steep, not"
        " convex; 255 where the survey shows too little ground to tell. It ranks places, it gives"
        " no degrees; walls, banks and hedges that dam it are not seen.",
        codes=True,
        near=True,
    ),
    Raster(
        "growing",
        "int32",
        0,
        "What cells offer",
        "Digits from the left: sun in the growing season, 1 shade, 2 part, 3 full; wind, 1 exposed,"
        " 2 part, 3 sheltered; depth of soil, 1 thin, 2 medium, 3 deep; slope, 1 gentle to 4 very"
        " steep; wetness by rank, 1 dry, 2 moist, 3 wet; cold air, 1 free, 2 where it pools. A 0 is"
        " not known.",
        codes=True,
        near=True,
    ),
    Table(
        "zone_reading",
        "What the zones offer",
        "Sun, cold, wind, wetness, depth, slope and loss of soil of each zone, in classes.",
        (
            Column("zone_id", "text", "Name of the zone."),
            Column("area_m2", "float", "Ground of the zone on the grid.", "m²", 0),
            Column(
                "sun_season_h", "float", "Sun a day in the growing season.", "h", 0, required=False
            ),
            Column("sun_winter_h", "float", "Sun on the shortest day.", "h", 0, required=False),
            Column(
                "sun_class",
                "text",
                "Sun in the growing season.",
                values=("shade", "part", "full"),
                required=False,
            ),
            Column("cold_share", "float", "Share where cold air pools.", "", 0, 1, required=False),
            Column(
                "cold_class",
                "text",
                "Cold air; empty where the survey is too narrow to tell.",
                values=("free", "mixed", "frost hollow"),
                required=False,
            ),
            Column(
                "shelter_deg",
                "float",
                "Mean angle to what shelters from wind.",
                "°",
                -90,
                90,
                required=False,
            ),
            Column(
                "wind_class",
                "text",
                "Wind.",
                values=("exposed", "part", "sheltered"),
                required=False,
            ),
            Column("wet_share", "float", "Share that ranks as wet on this site.", "", 0, 1),
            Column("dry_share", "float", "Share that ranks as dry on this site.", "", 0, 1),
            Column("springs", "int", "Places in it where springs are likely.", "", 0),
            Column("depth_m", "float", "Mean depth of soil.", "m", 0, required=False),
            Column(
                "depth_class",
                "text",
                "Depth of soil.",
                values=("thin", "medium", "deep"),
                required=False,
            ),
            Column(
                "dug_share", "float", "Share whose depth was dug; the rest is a guess.", "", 0, 1
            ),
            Column("slope_pct", "float", "Mean slope.", "%", 0),
            Column(
                "slope_class",
                "text",
                "Slope.",
                values=("gentle", "moderate", "steep", "very steep"),
            ),
            Column("faces", "text", "Way that the ground falls, as a compass point."),
            Column("machine_share", "float", "Share that the machine at hand works.", "", 0, 1),
            Column(
                "soil_loss_t_ha", "float", "Mean loss of soil in a year.", "t/ha", 0, required=False
            ),
        ),
    ),
    Layer(
        "springs",
        Geometry.POINT,
        "Where springs are likely",
        "Upper ends of ground that water from above would saturate first, by the ground's shape"
        " alone: rock and layers of clay decide where it comes out. Walk there after a wet spell"
        " before anything is built or planted on it.",
        (
            Column("spring_id", "int", "Number, the wettest first.", "", 1),
            Column("level_m", "float", "Level of the ground there.", "m"),
            Column("area_m2", "float", "Ground that drains there.", "m²", 0),
            Column("wetness", "float", "Wetness index there, without its noise."),
            Column("above_pct", "float", "Steepest rise above it.", "%", 0),
            Column("below_pct", "float", "Fall of the ground below it.", "%", 0),
        ),
    ),
    Layer(
        "tracks",
        Geometry.LINE,
        "Tracks",
        "Ways between the points of drawn_tracks that keep to a grade, slope across and the curves"
        " of a machine, with the least earth; the straight line, flagged, where there is none.",
        (
            Column("track_id", "text", "Name of the track."),
            Column("width_m", "float", "Width of its bench.", "m", 0),
            Column("length_m", "float", "Length along it.", "m", 0),
            Column("direct_m", "float", "Length of the line as drawn.", "m", 0),
            Column(
                "grade_pct",
                "float",
                "Steepest along it, from place to place.",
                "%",
                0,
                required=False,
            ),
            Column("cross_pct", "float", "Steepest ground across it.", "%", 0, required=False),
            Column(
                "radius_m",
                "float",
                "Tightest of its curves; empty is straight.",
                "m",
                0,
                required=False,
            ),
            Column(
                "cut_m3",
                "float",
                "Dug on the upper side and heaped on the lower.",
                "m³",
                0,
                required=False,
            ),
            Column("crossings", "int", "Flow paths that it crosses.", "", 0),
            Column(
                "needs_grade_pct",
                "float",
                "Where there is none: the gentlest grade, in whole percent, that a way would keep"
                " to; empty where none up to 25 % does, so that something else is in the way.",
                "%",
                0,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "track_crossings",
        Geometry.POINT,
        "Where tracks cross water",
        "Crossings of flow paths: a dip, the culvert that passes the peak without water above its"
        " crown, or a ford.",
        (
            Column("crossing_id", "text", "Identifier."),
            Column("track_id", "text", "Name of the track."),
            Column("chainage_m", "float", "Distance along the track.", "m", 0),
            Column("area_m2", "float", "Ground that drains there.", "m²", 0),
            Column(
                "peak_m3_s", "float", "Peak of the design storm, by the rational method.", "m³/s", 0
            ),
            Column("way", "text", "What is built there.", values=("dip", "culvert", "ford")),
            Column("barrels", "int", "Pipes of a culvert, beside each other.", "", 0),
            Column(
                "diameter_mm",
                "float",
                "Inside diameter of each: the smallest stocked that passes the peak.",
                "mm",
                0,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
)
