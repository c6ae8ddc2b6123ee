"""What a run takes from the person, cleaned and on the run's own grid and CRS."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer

_KEPT_CLEAR: Final = (
    Column(
        "kind", "text", "What is kept clear: building, septic, well, utility, tree, road, other."
    ),
    Column("setback_m", "float", "Clear distance around the drawn feature.", "m", 0),
    Column("name", "text", "Name as drawn.", required=False),
)

ITEMS: Final = (
    Layer(
        "boundary",
        Geometry.MULTIPOLYGON,
        "Boundary",
        "The site's outline, repaired where it was invalid and in the run's CRS.",
        (
            Column("name", "text", "Name of the site."),
            Column("area_m2", "float", "Area inside the outline.", "m²", 0),
        ),
    ),
    Layer(
        "raised_areas",
        Geometry.MULTIPOLYGON,
        "What stands on the ground",
        "Places that stand up behind steep jumps, as roofs, hedges and trees do where the elevation"
        " is a surface and not bare ground.",
        (
            Column("area_id", "int", "Number of the place, from 1.", minimum=1),
            Column("area_m2", "float", "Area.", "m²", 0),
            Column("height_m", "float", "Median height over the nearest ground.", "m"),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "intakes_drawn",
        Geometry.POINT,
        "Intakes as drawn",
        "Points where water is taken in, where the person drew them.",
        (
            Column("intake_id", "int", "Number of the intake, from 1.", minimum=1),
            Column("name", "text", "Name as drawn.", required=False),
            Column("snap", "bool", "True to move it onto its flow path."),
        ),
        published=False,
    ),
    Layer(
        "intakes_snapped",
        Geometry.POINT,
        "Intakes on their cells",
        "Intakes after snapping, before their catchments are known.",
        (
            Column("intake_id", "int", "Number of the intake, from 1.", minimum=1),
            Column("name", "text", "Name as drawn.", required=False),
            Column("row", "int", "Row of its cell.", minimum=0),
            Column("col", "int", "Column of its cell.", minimum=0),
            Column("snap_m", "float", "How far the point was moved.", "m", 0),
            Column("flag", "text", "Flags of snapping.", required=False),
        ),
        published=False,
    ),
    Layer(
        "keep_out",
        Geometry.MULTIPOLYGON,
        "Keep-out areas",
        "Ground that no line or element may enter, setback included.",
        _KEPT_CLEAR,
    ),
    Layer(
        "keep_out_drawn",
        Geometry.ANY,
        "What is kept clear of",
        "Buildings, wells, trees and the like as drawn: points, lines or areas without a setback.",
        _KEPT_CLEAR,
        published=False,
    ),
    Layer(
        "surfaces",
        Geometry.MULTIPOLYGON,
        "Surfaces",
        "Roofs, yards, tracks and land cover as drawn.",
        (
            Column("cover", "text", "What covers the ground."),
            Column(
                "runoff_coefficient",
                "float",
                "Share of rain that runs off, where it was given.",
                "",
                0,
                1,
                required=False,
            ),
            Column(
                "height_m",
                "float",
                "How far it rises above the ground and shades it, where it was given.",
                "m",
                0,
                required=False,
            ),
            Column("name", "text", "Name as drawn.", required=False),
        ),
    ),
    Layer(
        "obstructions",
        Geometry.MULTIPOLYGON,
        "What keeps off sun and wind",
        "Buildings, trees and hedges with the height that sun and wind are worked out with: as"
        " given, else a usual one.",
        (
            Column("name", "text", "Name as drawn."),
            Column("kind", "text", "Cover of the surface, building, tree, or drawn."),
            Column("height_m", "float", "How far it rises above the ground.", "m", 0),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "soils",
        Geometry.MULTIPOLYGON,
        "Soils",
        "Soil areas as drawn.",
        (
            Column(
                "group",
                "text",
                "Hydrologic soil group.",
                values=("A", "B", "C", "D"),
                required=False,
            ),
            Column("texture", "text", "Soil texture class.", required=False),
            Column("soak_mm_per_h", "float", "Tested soakage rate.", "mm/h", 0, required=False),
            Column("depth_m", "float", "Depth that roots can use, as dug.", "m", 0, required=False),
        ),
    ),
    Layer(
        "levels",
        Geometry.POINT_Z,
        "Levels",
        "The single levels that the surface was laid through, as read.",
        (
            Column("row", "int", "Row in their file.", minimum=1),
            Column("name", "text", "Name as written.", required=False),
            Column("code", "text", "What was written of it.", required=False),
            Column("level_m", "float", "Level.", "m"),
            Column(
                "left_out_m",
                "float",
                "What the surface without it would be off there, upwards; empty on breaklines and"
                " at the rim.",
                "m",
                required=False,
            ),
        ),
    ),
    Layer(
        "measure_next",
        Geometry.POINT,
        "Measure here next",
        "Places inside the boundary where one more level would tell most, the best first, each as"
        " if those before it had been measured.",
        (
            Column("rank", "int", "Order, from 1.", minimum=1),
            Column("level_error_m", "float", "Standard error of the surface there now.", "m", 0),
        ),
    ),
    Layer(
        "culverts",
        Geometry.LINE,
        "Culverts",
        "Pipes and drains under tracks, along which the surface is opened for flow.",
        (
            Column("name", "text", "Name as drawn.", required=False),
            Column(
                "diameter_m",
                "float",
                "Inside diameter, where it was given.",
                "m",
                0,
                required=False,
            ),
        ),
    ),
)
