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
        " shortest and the longest day: shaded by the ground, by surfaces with a height and by what"
        " was drawn as casting shade.",
        "h",
        bands=PERIODS,
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
    ),
    Raster(
        "sky_share",
        "float32",
        _NAN,
        "Share of the sky",
        "Share of the sky that the ground sees, 1 on open level ground: where it is low, nights are"
        " milder and days darker.",
    ),
    Raster(
        "soil_loss_t_ha",
        "float32",
        _NAN,
        "Soil that rain may take",
        "Mean loss by sheet and rill in a year, by the revised universal soil loss equation; empty"
        " where water runs in paths, for which it was not made.",
        "t/ha",
    ),
    Raster(
        "deposit_t_ha",
        "float32",
        _NAN,
        "Soil that settles",
        "Soil from above that comes to lie in a year where water can carry no more: where, rather"
        " than how much.",
        "t/ha",
    ),
    Raster(
        "cold_air",
        "uint8",
        255,
        "Cold air",
        "1 where cold air pools on still, clear nights: low among its surroundings, not steep, not"
        " convex. It ranks places, it gives no degrees; walls, banks and hedges that dam it are not"
        " seen.",
        codes=True,
    ),
    Raster(
        "growing",
        "int32",
        0,
        "What cells offer",
        "Hundreds: sun in the growing season, 1 shade, 2 part, 3 full; tens: wetness by rank, 1"
        " dry, 2 moist, 3 wet; ones: 1 free of cold air, 2 where it pools.",
        codes=True,
    ),
    Table(
        "zone_reading",
        "What the zones offer",
        "Sun, cold, wetness, slope and loss of soil of each planting zone, in classes.",
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
            Column("cold_share", "float", "Share where cold air pools.", "", 0, 1),
            Column("cold_class", "text", "Cold air.", values=("free", "mixed", "frost hollow")),
            Column("wet_share", "float", "Share that ranks as wet on this site.", "", 0, 1),
            Column("dry_share", "float", "Share that ranks as dry on this site.", "", 0, 1),
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
        "tracks",
        Geometry.LINE,
        "Tracks",
        "Ways between the points of drawn_tracks that keep to a grade and a slope across, with the"
        " least earth; the straight line, flagged, where there is none.",
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
                "cut_m3",
                "float",
                "Dug on the upper side and heaped on the lower.",
                "m³",
                0,
                required=False,
            ),
            Column("crossings", "int", "Flow paths that it crosses.", "", 0),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "track_crossings",
        Geometry.POINT,
        "Where tracks cross water",
        "Crossings of flow paths, with the culvert that passes the peak without water above its"
        " crown.",
        (
            Column("crossing_id", "text", "Identifier."),
            Column("track_id", "text", "Name of the track."),
            Column("chainage_m", "float", "Distance along the track.", "m", 0),
            Column("area_m2", "float", "Ground that drains there.", "m²", 0),
            Column(
                "peak_m3_s", "float", "Peak of the design storm, by the rational method.", "m³/s", 0
            ),
            Column(
                "diameter_mm",
                "float",
                "Smallest stocked pipe that passes it.",
                "mm",
                0,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
)
