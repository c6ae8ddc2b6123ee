"""Carving and mounding a ground: shapes, how they meet, and the surface that they make."""

from brimline.terrain.shaping.along import Bank, Channel, notch
from brimline.terrain.shaping.areas import Bowl, Pad
from brimline.terrain.shaping.compose import Composed, Placed, composed
from brimline.terrain.shaping.everywhere import Everywhere, everywhere
from brimline.terrain.shaping.shapes import GroundShape, LevelAlong, Levels, LevelsAt, beside
from brimline.terrain.shaping.surface import DesignSurface, Shaped, SurfaceBlock, design

__all__ = [
    "Bank",
    "Bowl",
    "Channel",
    "Composed",
    "DesignSurface",
    "Everywhere",
    "GroundShape",
    "LevelAlong",
    "Levels",
    "LevelsAt",
    "Pad",
    "Placed",
    "Shaped",
    "SurfaceBlock",
    "beside",
    "composed",
    "design",
    "everywhere",
    "notch",
]
