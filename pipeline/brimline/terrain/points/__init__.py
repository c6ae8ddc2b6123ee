"""From scattered ground points to levels on a grid: binned means, then a triangulated surface."""

from brimline.terrain.points.bins import LowestBins, PointBins, fitting_cell_m
from brimline.terrain.points.steps import STEP_LIMIT_M, LevelStep, StepsBetween, levelled
from brimline.terrain.points.surface import gridded
from brimline.terrain.points.voids import error_of_levels_m, void_distance_m, void_errors

__all__ = [
    "STEP_LIMIT_M",
    "LevelStep",
    "LowestBins",
    "PointBins",
    "StepsBetween",
    "error_of_levels_m",
    "fitting_cell_m",
    "gridded",
    "levelled",
    "void_distance_m",
    "void_errors",
]
