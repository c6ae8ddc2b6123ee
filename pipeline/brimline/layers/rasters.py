"""The rasters of a run, all on one grid."""

from __future__ import annotations

import math
from typing import Final

from brimline.grid import LABEL_NONE, NO_DATA
from brimline.layers.schema import Raster

_NAN: Final = math.nan

ITEMS: Final = (
    Raster("elevation", "float32", _NAN, "Elevation", "Bare-earth survey surface.", "m"),
    Raster(
        "surveyed",
        "float32",
        _NAN,
        "Elevation as surveyed",
        "The survey, before roofs are taken off and walls are put on.",
        "m",
        published=False,
    ),
    Raster(
        "conditioned",
        "float32",
        _NAN,
        "Conditioned elevation",
        "Survey surface with culverts burned, short dams breached and other hollows filled, so that"
        " every cell drains. For tracing water only: never set out levels from it.",
        "m",
    ),
    Raster(
        "level_error_m",
        "float32",
        _NAN,
        "Error of the surface",
        "Standard error of the surface between single levels, or between the points of a cloud:"
        " 90 % of the ground lies within 1.645 of it.",
        "m",
    ),
    Raster(
        "ground_points",
        "int32",
        None,
        "Ground points",
        "Points of the cloud that lie in the cell and made its level; 0 where the level is drawn"
        " between others, or there is none.",
    ),
    Raster(
        "void_m",
        "float32",
        _NAN,
        "Distance to points",
        "How far the cell is from the nearest one that holds ground points of the cloud.",
        "m",
    ),
    Raster(
        "canopy_m",
        "float32",
        _NAN,
        "Height over the ground",
        "How high the highest point of the cloud lies over the ground: trees, roofs, wires.",
        "m",
    ),
    Raster("hillshade", "uint8", 0, "Hillshade", "Shaded relief, light from the north-west."),
    Raster("slope_pct", "float32", _NAN, "Slope", "Steepness of the survey surface.", "%"),
    Raster(
        "curvature",
        "float32",
        _NAN,
        "Curvature",
        "Bend of the smoothed surface along the contour: positive where ground gathers water.",
        "1/m",
    ),
    Raster(
        "flow_direction",
        "uint8",
        NO_DATA,
        "Flow direction",
        "The neighbour that receives: 0 E, 1 NE, 2 N, 3 NW, 4 W, 5 SW, 6 S, 7 SE; 8 outlet or kept"
        " sink.",
        codes=True,
    ),
    Raster(
        "contributing_area_m2",
        "float64",
        _NAN,
        "Contributing area",
        "Ground that drains through the cell, itself included.",
        "m²",
    ),
    Raster(
        "wetness",
        "float32",
        _NAN,
        "Wetness index",
        "Natural logarithm of contributing area per contour width over slope: high where soil stays"
        " wet.",
    ),
    Raster(
        "subcatchment",
        "int32",
        LABEL_NONE,
        "Subcatchment",
        "The intake_id that the cell drains to first; 0 where it reaches none.",
        codes=True,
    ),
    Raster(
        "catchment_chance",
        "float32",
        _NAN,
        "Catchment chance",
        "Share of the surfaces that the survey leaves possible on which the cell drains to an"
        " intake.",
    ),
    Raster(
        "standing_level_m",
        "float32",
        _NAN,
        "Ground that elements stand on",
        "The survey without its noise: levels that elements are designed from.",
        "m",
        published=False,
    ),
    Raster(
        "kept_sink",
        "uint8",
        NO_DATA,
        "Kept sinks",
        "1 where a hollow is kept as a sink: its water does not run on.",
        published=False,
        codes=True,
    ),
    Raster(
        "other_sink",
        "uint8",
        NO_DATA,
        "Sinks that could as well be kept",
        "1 where a hollow would be a sink if those whose storm brings between half and twice what"
        " they hold were taken the other way: the filled ones kept, the kept ones filled.",
        published=False,
        codes=True,
    ),
    Raster(
        "hollow_label",
        "int32",
        LABEL_NONE,
        "Hollows",
        "The innermost hollow in which the cell lies under water.",
        published=False,
        codes=True,
    ),
    Raster(
        "near_ground",
        "uint8",
        None,
        "Ground near the site",
        "1 on the boundary, on all that drains to it or its intakes, and on a margin.",
        published=False,
        codes=True,
        near=True,
    ),
    Raster(
        "near_direction",
        "uint8",
        NO_DATA,
        "Flow direction near the site",
        "As flow_direction; 8 as well where water leaves the block of cells near the site.",
        published=False,
        codes=True,
        near=True,
    ),
    Raster(
        "design_surface",
        "float32",
        _NAN,
        "Designed surface",
        "Survey surface with all drawn elements dug and heaped up, banks settled; the mean of each"
        " cell, so narrow crests and floors are smoothed. Stakes have the exact levels.",
        "m",
    ),
    Raster(
        "flood_depth_m",
        "float32",
        _NAN,
        "Greatest depth of water",
        "Deepest water on the designed surface in the design storm, by shallow-water flow.",
        "m",
    ),
    Raster(
        "flood_speed_m_s",
        "float32",
        _NAN,
        "Greatest speed of water",
        "Fastest water on the designed surface in the design storm, where deeper than 1 mm.",
        "m/s",
    ),
    Raster(
        "surface_runoff",
        "float32",
        _NAN,
        "Runoff share",
        "Share of rain that runs off, from the surfaces input.",
        published=False,
    ),
)
