"""The weather: design storms, runoff, hydrographs, soaking in, daily records.

What is here
------------
covers
    Ground covers by plain name (roof, pasture, woods ...) and hydrologic soil groups.
curve_numbers
    NRCS curve numbers by cover and soil, composite, for dry and wet ground.
coefficients
    Runoff coefficients for the rational method.
runoff
    Runoff depth and excess rain by the NRCS relation, of mixed ground part by part; rational peak.
concentration
    Time of concentration by segments of the longest flow path, or after Kirpich.
ddf
    Depth-duration-frequency tables.
storms
    Design storms: alternating block, NRCS 24-hour distributions, even, or observed.
hydrographs
    Flow over time as a value: volume, peak, mean over steps, sums; from a peak and a volume.
unit_hydrographs
    From a storm on a catchment or a roof to its hydrograph.
ground
    Covers and soils of each subcatchment, counted from grids; composite curve numbers.
design
    Depth and runoff of one design rain, for rules of thumb.
infiltration
    Green-Ampt under standing water and under rain, soils by texture, tested rates made safe.
    Imported by its own name, because it loads the compiler.

Lengths of rain are in millimetres, areas in square metres, flows in cubic metres per second. All
of it is arrays and plain values: no files.
"""

from brimline.rainfall.coefficients import composite_coefficient, runoff_coefficient
from brimline.rainfall.concentration import (
    PathFlow,
    Segment,
    concentration_h,
    kirpich_doubts,
    kirpich_h,
    lag_h,
    segments_along_path,
)
from brimline.rainfall.covers import COVERS, SOIL_GROUPS, Cover, cover, soil_group
from brimline.rainfall.curve_numbers import (
    antecedent_curve_number,
    composite_curve_number,
    curve_number,
    curve_number_for_ratio_005,
)
from brimline.rainfall.ddf import DepthTable
from brimline.rainfall.design import DesignRain, design_rain
from brimline.rainfall.ground import CoverOnSoil, GroundClass, ground_of
from brimline.rainfall.hydrographs import Hydrograph, peak_and_volume, sum_hydrographs
from brimline.rainfall.outside import OutsideGround
from brimline.rainfall.runoff import (
    MixedGround,
    excess_mm,
    rational_peak_m3_s,
    retention_mm,
    runoff_depth_mm,
)
from brimline.rainfall.storms import (
    RunStorms,
    Storm,
    StormRequest,
    alternating_block,
    design_storm,
    design_storms,
    nrcs_24h,
    observed,
    uniform,
)
from brimline.rainfall.unit_hydrographs import (
    hydrograph,
    roof_hydrograph,
    route_excess,
    unit_hydrograph,
)

__all__ = [
    "COVERS",
    "SOIL_GROUPS",
    "Cover",
    "CoverOnSoil",
    "DepthTable",
    "DesignRain",
    "GroundClass",
    "Hydrograph",
    "MixedGround",
    "OutsideGround",
    "PathFlow",
    "RunStorms",
    "Segment",
    "Storm",
    "StormRequest",
    "alternating_block",
    "antecedent_curve_number",
    "composite_coefficient",
    "composite_curve_number",
    "concentration_h",
    "cover",
    "curve_number",
    "curve_number_for_ratio_005",
    "design_rain",
    "design_storm",
    "design_storms",
    "excess_mm",
    "ground_of",
    "hydrograph",
    "kirpich_doubts",
    "kirpich_h",
    "lag_h",
    "nrcs_24h",
    "observed",
    "peak_and_volume",
    "rational_peak_m3_s",
    "retention_mm",
    "roof_hydrograph",
    "route_excess",
    "runoff_coefficient",
    "runoff_depth_mm",
    "segments_along_path",
    "soil_group",
    "sum_hydrographs",
    "uniform",
    "unit_hydrograph",
]
