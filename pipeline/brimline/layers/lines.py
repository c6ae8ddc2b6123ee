"""Lines on the ground: contours, swales, drains, valleys, keylines."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer

_LENGTH: Final = Column("length_m", "float", "Length along the ground plan.", "m", 0)
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
        "Swale lines",
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
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "drain_lines",
        Geometry.LINE,
        "Drain lines",
        "Lines that fall gently along the slope, drawn downhill.",
        (
            Column("drain_id", "int", "Number of the line, from 1.", minimum=1),
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
        "keypoints",
        Geometry.POINT,
        "Keypoints",
        "Where a primary valley's floor turns from steep to gentle.",
        (
            Column("keypoint_id", "int", "Number of the keypoint, from 1.", minimum=1),
            Column("valley_id", "int", "The valley line that it lies on.", minimum=1),
            _LEVEL,
            Column("slope_above_pct", "float", "Fall of the valley floor above.", "%", 0),
            Column("slope_below_pct", "float", "Fall of the valley floor below.", "%", 0),
            Column(
                "confidence",
                "float",
                "How sure that the slope changes here and not by survey noise, 0 to 1.",
                "",
                0,
                1,
            ),
        ),
    ),
    Layer(
        "keylines",
        Geometry.LINE,
        "Keylines",
        "The level line through each keypoint inside its valley.",
        (
            Column("keyline_id", "int", "Number of the keyline, from 1.", minimum=1),
            Column("keypoint_id", "int", "The keypoint that it runs through.", minimum=1),
            _LEVEL,
            _LENGTH,
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
                "Signed mean fall from the valley towards the ridges: positive spreads water.",
                "%",
            ),
        ),
    ),
)
