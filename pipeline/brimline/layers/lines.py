"""Lines on the ground: contours, swales, drains, valleys, keylines."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_LENGTH: Final = Column("length_m", "float", "Length along the ground plan.", "m", 0)
_LEVEL_RMS: Final = Column(
    "level_rms_m",
    "float",
    "Root mean square of the departure from level along it: how level it is as a whole.",
    "m",
    0,
    required=False,
)
_LEVEL: Final = Column("level_m", "float", "Level of the line.", "m")

ITEMS: Final = (
    Layer(
        "contours",
        Geometry.MULTILINE,
        "Contours",
        "Lines of equal level of the survey surface, smoothed as configured.",
        (_LEVEL, Column("index", "bool", "True for the thicker, labelled contours.")),
    ),
    Layer(
        "swale_lines",
        Geometry.LINE,
        "Proposed swale lines",
        "Level lines on which a swale could be dug. Levels are set on site before digging.",
        (
            Column("swale_id", "int", "Number of the line, from 1, top down.", minimum=1),
            _LEVEL,
            _LENGTH,
            Column(
                "level_error_m",
                "float",
                "Largest departure of the drawn line from level on the survey surface.",
                "m",
                0,
            ),
            _LEVEL_RMS,
            Column("mean_slope_pct", "float", "Mean steepness of the ground along it.", "%", 0),
            Column(
                "spacing_m",
                "float",
                "Mean distance up the slope to the next row above or the divide.",
                "m",
                0,
            ),
            Column(
                "catchment_m2", "float", "Ground that sheds to it, rows above excluded.", "m²", 0
            ),
            Column("must_hold_m3", "float", "Runoff of that ground in the design storm.", "m³", 0),
            Column("holds_m3", "float", "What it stores and soaks in during the storm.", "m³", 0),
            Column("from_above_m3", "float", "What rows above pass on to it in it.", "m³", 0),
            Column(
                "passes_on_m3",
                "float",
                "What it cannot hold of both, and passes on over a sill.",
                "m³",
                0,
            ),
            Column(
                "passes_to",
                "int",
                "The row below that takes that; 0 if it passes nothing on, or to no row.",
                minimum=0,
            ),
            Column(
                "stack_id",
                "int",
                "Number of the rows, one below the other, that are judged and sized together.",
                minimum=1,
            ),
            Column(
                "depth_m",
                "float",
                "Depth to which a proposed row is to be dug to hold that; empty if drawn.",
                "m",
                0,
                required=False,
            ),
            Column(
                "kept_m2",
                "float",
                "What it keeps of the storm for a metre of row: m³ by m.",
                "m²",
                0,
            ),
            Column(
                "rank",
                "int",
                "Place of a proposed row by what it keeps for a metre, 1 the best; 0 if drawn.",
                minimum=0,
            ),
            Column("soil", "text", "Texture of the soil that most of it lies in.", required=False),
            Column("drawn", "bool", "True where a person drew it, false where it is a proposal."),
            Column("name", "text", "Name as drawn.", required=False),
            Column("moved_m", "float", "Farthest that a drawn row was moved.", "m", 0),
            Column(
                "moved_level_m",
                "float",
                "Largest height between a drawn row and its corrected level.",
                "m",
                0,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "drain_lines",
        Geometry.LINE,
        "Proposed drain lines",
        "Lines that fall gently along the slope, drawn downhill.",
        (
            Column("drain_id", "int", "Number of the line, from 1.", minimum=1),
            Column("name", "text", "Name as drawn.", required=False),
            Column("from_level_m", "float", "Ground level at the upper end.", "m"),
            Column("to_level_m", "float", "Ground level at the lower end.", "m"),
            _LENGTH,
            Column("fall_pct", "float", "Mean fall.", "%", 0),
            Column(
                "fall_error_m",
                "float",
                "Largest departure of the ground along the line from the stated fall.",
                "m",
                0,
            ),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "valley_lines",
        Geometry.LINE,
        "Valley lines",
        "Floors of valleys on the smoothed survey surface, drawn downstream.",
        (
            Column("valley_id", "int", "Number of the valley, most ground first.", minimum=1),
            Column("downstream_id", "int", "The valley that it runs into; 0 if none.", minimum=0),
            Column("order", "int", "Order by Strahler.", minimum=1),
            Column("primary", "bool", "Runs from a ridge without valleys of note beside it."),
            Column("area_m2", "float", "Ground that gathers at its lower end.", "m²", 0),
            _LENGTH,
            Column(
                "fall_pct", "float", "Mean fall; empty beside missing data.", "%", required=False
            ),
        ),
    ),
    Layer(
        "ridge_lines",
        Geometry.LINE,
        "Ridge lines",
        "Crests of ridges and spurs on the smoothed survey surface, drawn downwards.",
        (
            Column("ridge_id", "int", "Number of the ridge, most ground first.", minimum=1),
            Column("parent_id", "int", "The ridge that it leaves; 0 if none.", minimum=0),
            Column("order", "int", "Order by Strahler on the surface upside down.", minimum=1),
            _LENGTH,
            Column("fall_pct", "float", "Mean fall from end to end.", "%", required=False),
        ),
    ),
    Layer(
        "keypoints",
        Geometry.POINT,
        "Keypoints",
        "Where a primary valley's floor turns from steep to gentle.",
        (
            Column("keypoint_id", "int", "Number of the keypoint, from 1.", minimum=1),
            Column("valley_id", "int", "The valley line that it lies on; 0 if none.", minimum=0),
            _LEVEL,
            Column(
                "slope_above_pct", "float", "Fall of the valley floor above.", "%", required=False
            ),
            Column(
                "slope_below_pct", "float", "Fall of the valley floor below.", "%", required=False
            ),
            Column(
                "confidence",
                "float",
                "Share of floors that the survey's error leaves possible on which a keypoint lies"
                " within 10 m of this one along the floor, 0 to 1; 1 where a person gave it.",
                "",
                0,
                1,
            ),
            Column("kind", "text", "How it was placed: break, inflection, or given by a person."),
        ),
    ),
    Layer(
        "keylines",
        Geometry.LINE,
        "Keylines",
        "The level line through each keypoint inside its valley, trimmed to the ground that is"
        " worked; a drawn guide line as it was drawn.",
        (
            Column(
                "keyline_id",
                "int",
                "Number of the keyline, from 1. Where a keep-out breaks one, the longest piece"
                " keeps the number that its cultivation lines refer to.",
                minimum=1,
            ),
            Column(
                "keypoint_id",
                "int",
                "The keypoint that it runs through; 0 for a guide line.",
                minimum=0,
            ),
            Column(
                "kind",
                "text",
                "keypoint: through a keypoint; drawn: a guide line that a person drew; chosen: the"
                " level line across a valley beside which most length falls from valley to ridge.",
                values=("keypoint", "drawn", "chosen"),
            ),
            _LEVEL,
            _LENGTH,
            Column("level_error_m", "float", "Largest departure from level.", "m", 0),
            _LEVEL_RMS,
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "cultivation_lines",
        Geometry.LINE,
        "Cultivation lines",
        "Parallels to the keyline at the implement's width, trimmed to the ground that is worked.",
        (
            Column("line_id", "int", "Number of the line, from 1.", minimum=1),
            Column("keyline_id", "int", "The keyline that it is parallel to.", minimum=1),
            Column(
                "side", "text", "Upslope or downslope of the keyline.", values=("above", "below")
            ),
            Column("offset_m", "float", "Distance from the keyline.", "m", 0),
            Column(
                "fall_to_ridge_pct",
                "float",
                "Signed mean fall from the valley towards the ridges: positive spreads water; empty"
                " where it is not known which way that is.",
                "%",
                required=False,
            ),
            _LENGTH,
            Column(
                "share_right_pct",
                "float",
                "Share of its length that falls from valley to ridge.",
                "%",
                0,
                100,
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "cultivation_families",
        "Cultivation lines by keyline",
        "All lines on one side of a keyline together, and whether they carry water to the ridges.",
        (
            Column("keyline_id", "int", "The keyline that they are parallel to.", minimum=1),
            Column(
                "side", "text", "Upslope or downslope of the keyline.", values=("above", "below")
            ),
            Column("lines", "int", "How many lines.", minimum=1),
            Column("length_m", "float", "Their length along the ground plan.", "m", 0),
            Column(
                "fall_to_ridge_pct",
                "float",
                "Signed mean fall from the valley towards the ridges: positive spreads water.",
                "%",
            ),
            Column(
                "share_right_pct",
                "float",
                "Share of their length that falls from valley to ridge.",
                "%",
                0,
                100,
            ),
            FLAG_COLUMN,
        ),
    ),
)
