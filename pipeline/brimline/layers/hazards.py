"""What a failed bank would do."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer

ITEMS: Final = (
    Layer(
        "bank_hazards",
        Geometry.ANY,
        "Banks, and the way of their water if they failed",
        "Every element that holds water above the ground, and what lies within the way that its"
        " water would take. A screening against thresholds of [hazard], no engineer's assessment.",
        (
            Column("element_id", "text", "Element whose bank it is."),
            Column("height_m", "float", "Crest over the lowest ground under its bank.", "m", 0),
            Column("water_m", "float", "Water against the bank there, full to the sill.", "m", 0),
            Column(
                "held_m3", "float", "Volume that only its bank holds back, to the crest.", "m³", 0
            ),
            Column("height_volume_m4", "float", "Height times volume.", "m⁴", 0),
            Column(
                "peak_m3_s",
                "float",
                "Peak of the water let go, Froehlich 1995: an order of magnitude, found on dams far"
                " larger than these.",
                "m³/s",
                0,
            ),
            Column(
                "rating_m2_s",
                "float",
                "Depth times speed (plus 0.5 m/s) right below the bank, were it gone at once: an"
                " upper bound. From 0.75 dangerous for some, 1.25 for most, 2.5 for all.",
                "m²/s",
                0,
            ),
            Column("building_id", "text", "First building in the way.", required=False),
            Column(
                "building_m", "float", "Water's way to it along the ground.", "m", 0, required=False
            ),
            Column("buildings", "int", "Buildings in the way.", minimum=0),
            Column("road_id", "text", "First road or paving in the way.", required=False),
            Column(
                "road_m", "float", "Water's way to it along the ground.", "m", 0, required=False
            ),
            Column("roads", "int", "Roads and pavings in the way.", minimum=0),
            Column(
                "leaves_m",
                "float",
                "Water's way to where it leaves the boundary; empty where it stays.",
                "m",
                0,
                required=False,
            ),
            Column(
                "emergency_way",
                "text",
                "What water that no pipe takes runs over on its way out: ground as it lies, the"
                " bank's own fill, or none is drawn.",
                values=("natural ground", "fill", "none"),
            ),
            FLAG_COLUMN,
            Column("notes", "text", "What the flags mean here, in words.", required=False),
        ),
    ),
)
