"""Where water comes from and runs: intakes, subcatchments, flow paths, hollows."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_INTAKE_ID: Final = Column("intake_id", "int", "Number of the intake, from 1.", minimum=1)
_ALL_AREA: Final = Column(
    "area_m2", "float", "All ground that drains to the intake, through others included.", "m²", 0
)
_OWN_AREA: Final = Column(
    "own_area_m2", "float", "Ground that drains to it first, less intakes upstream.", "m²", 0
)
_EDGE: Final = Column(
    "edge_limited",
    "bool",
    "True where the catchment reaches the edge of the data, so that the area is a lower bound.",
)

_HOLLOW: Final = (
    Column("hollow_id", "int", "Number of the hollow, from 1.", minimum=1),
    Column("area_m2", "float", "Water surface when full.", "m²", 0),
    Column("depth_m", "float", "Greatest depth when full.", "m", 0),
    Column("volume_m3", "float", "Volume to the spill level.", "m³", 0),
    Column("spill_level_m", "float", "Level at which it spills.", "m"),
    Column(
        "catchment_m2",
        "float",
        "Ground that drains to it, nested hollows included.",
        "m²",
        0,
    ),
    Column("parent_id", "int", "The hollow that takes it in when full; 0 if none.", minimum=0),
    Column("kept", "bool", "Kept as a sink: its water does not run on."),
    Column(
        "capacity_m3",
        "float",
        "What it holds to the level at which it spills, once pipes and short dams are opened.",
        "m³",
        0,
    ),
    Column(
        "arrives_m3",
        "float",
        "Runoff that reaches it in the check storm, with what hollows above it spill.",
        "m³",
        0,
    ),
    Column("fills", "bool", "The check storm fills it."),
    Column("filled_pct", "float", "Share that the check storm fills.", "%", 0, 100),
    Column("spills_m3", "float", "What runs on from it in the check storm.", "m³", 0),
    Column(
        "edge_limited",
        "bool",
        "True where its catchment reaches the edge of the data: more may reach it.",
    ),
)

ITEMS: Final = (
    Layer(
        "intakes",
        Geometry.POINT,
        "Intakes",
        "Points where water is taken in, snapped to the flow path that they stand for.",
        (
            _INTAKE_ID,
            Column("name", "text", "Name as drawn.", required=False),
            Column("snap_m", "float", "How far the point was moved.", "m", 0),
            _ALL_AREA,
            _OWN_AREA,
            Column(
                "downstream_id",
                "int",
                "The next intake down the slope; 0 where there is none.",
                minimum=0,
            ),
            _EDGE,
            Column(
                "edge_sides",
                "text",
                "Sides by which the catchment leaves the data, such as north, west.",
                required=False,
            ),
            Column(
                "missing_tiles",
                "text",
                "Tiles of inputs.tile_index that go on from there.",
                required=False,
            ),
            Column(
                "area_low_m2",
                "float",
                "5th percentile of the area over the ground that the survey leaves possible.",
                "m²",
                0,
                required=False,
                head="Area, 5 to 95 %: low",
            ),
            Column(
                "area_high_m2",
                "float",
                "95th percentile of the area over the ground that the survey leaves possible.",
                "m²",
                0,
                required=False,
                head="Area, 5 to 95 %: high",
            ),
            Column("level_m", "float", "Ground level at the snapped point.", "m"),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "intake_certainty",
        "How sure the catchment areas are",
        "Range of each intake's area, 5 to 95 %, over the ground that the survey leaves possible;"
        " empty where its catchment holds too few levels.",
        (
            _INTAKE_ID,
            Column("area_low_m2", "float", "5th percentile.", "m²", 0, required=False),
            Column("area_high_m2", "float", "95th percentile.", "m²", 0, required=False),
        ),
        published=False,
    ),
    Layer(
        "subcatchments",
        Geometry.MULTIPOLYGON,
        "Subcatchments",
        "The ground that drains to each intake before it reaches another one.",
        (
            _INTAKE_ID,
            _ALL_AREA,
            _OWN_AREA,
            Column("mean_slope_pct", "float", "Mean steepness of the own ground.", "%", 0),
            Column("relief_m", "float", "Highest less lowest ground of all that drains.", "m", 0),
            Column(
                "longest_path_m",
                "float",
                "Longest way of water to the intake, along cells.",
                "m",
                0,
            ),
            Column(
                "inside_pct", "float", "Share of all that drains inside the boundary.", "%", 0, 100
            ),
            _EDGE,
        ),
    ),
    Layer(
        "longest_paths",
        Geometry.LINE,
        "Longest flow paths",
        "The longest way of water to each intake, drawn downstream.",
        (
            _INTAKE_ID,
            Column("length_m", "float", "Length along the path.", "m", 0),
            Column("fall_m", "float", "Fall from its head to the intake.", "m", 0),
            Column("fall_pct", "float", "Mean fall.", "%", 0),
        ),
    ),
    Layer(
        "flow_paths",
        Geometry.LINE,
        "Flow paths",
        "Where water gathers above the threshold area, drawn downstream from joint to joint.",
        (
            Column("path_id", "int", "Number of the path, from 1.", minimum=1),
            Column("downstream_id", "int", "The path it runs into; 0 where it leaves.", minimum=0),
            Column("order", "int", "Stream order by Strahler.", minimum=1),
            Column("area_m2", "float", "Contributing area at its lower end.", "m²", 0),
            Column("length_m", "float", "Length.", "m", 0),
            Column("fall_pct", "float", "Mean fall on the conditioned surface.", "%", 0),
            Column(
                "on_fill_m",
                "float",
                "Length on ground filled deeper than conditioning.tell_fill_m: water crosses it"
                " only once the hollow is full.",
                "m",
                0,
            ),
            Column("deepest_fill_m", "float", "Deepest fill that it runs on.", "m", 0),
        ),
    ),
    Layer(
        "hollows",
        Geometry.MULTIPOLYGON,
        "Hollows",
        "Closed depressions of the survey surface: ponds, pits, and dams of tracks and brush.",
        _HOLLOW,
    ),
    Table(
        "hollow_list",
        "Hollows of the whole survey",
        "What the layer hollows tells, of those far from the site as well.",
        _HOLLOW,
        published=False,
    ),
)
