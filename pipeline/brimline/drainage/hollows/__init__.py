"""Closed depressions of the ground: how deep, how large, where they spill, how they nest."""

from brimline.drainage.hollows.find import Hollows, find_hollows
from brimline.drainage.hollows.outlining import hollow_outlines

__all__ = ["Hollows", "find_hollows", "hollow_outlines"]
