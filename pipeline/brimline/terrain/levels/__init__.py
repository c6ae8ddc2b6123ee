"""From single levels and breaklines to a surface, its error, and where to measure next."""

from brimline.terrain.levels.error import LevelError, level_error, next_places
from brimline.terrain.levels.mesh import Crossing, LevelMesh, level_mesh, levels_on, spacing_m
from brimline.terrain.levels.spots import SpotLevel, SpotLevels, error_told

__all__ = [
    "Crossing",
    "LevelError",
    "LevelMesh",
    "SpotLevel",
    "SpotLevels",
    "error_told",
    "level_error",
    "level_mesh",
    "levels_on",
    "next_places",
    "spacing_m",
]
