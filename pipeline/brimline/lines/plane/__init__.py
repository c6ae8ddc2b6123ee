"""Lines as legs in the plane: how far points are from them, and where other lines cross them."""

from brimline.lines.plane.legs import Legs, boxes_of, crossings, legs_of, nearer_m

__all__ = ["Legs", "boxes_of", "crossings", "legs_of", "nearer_m"]
