"""Carving and mounding a ground: shapes, how they meet, and the surface that they make."""

from brimline.terrain.shaping.along import Bank, Channel, notch
from brimline.terrain.shaping.areas import Bowl, Pad
from brimline.terrain.shaping.compose import Composed, Placed, composed
from brimline.terrain.shaping.everywhere import Everywhere, everywhere
from brimline.terrain.shaping.shapes import LevelAlong, Levels, LevelsAt, Shape, beside
from brimline.terrain.shaping.surface import Design, Piece, Shaped, design

__all__ = [
    "Bank",
    "Bowl",
    "Channel",
    "Composed",
    "Design",
    "Everywhere",
    "LevelAlong",
    "Levels",
    "LevelsAt",
    "Pad",
    "Piece",
    "Placed",
    "Shape",
    "Shaped",
    "beside",
    "composed",
    "design",
    "everywhere",
    "notch",
]
