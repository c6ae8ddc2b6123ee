"""From scattered ground points to levels on a grid: binned means, then a triangulated surface."""

from brimline.terrain.points.bins import LowestBins, PointBins, fitting_cell_m
from brimline.terrain.points.steps import LevelStep, StepsBetween
from brimline.terrain.points.surface import gridded

__all__ = ["LevelStep", "LowestBins", "PointBins", "StepsBetween", "fitting_cell_m", "gridded"]
