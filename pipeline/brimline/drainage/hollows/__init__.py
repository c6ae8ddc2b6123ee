"""Closed depressions of the ground: how deep, how large, where they spill, how they nest."""

from brimline.drainage.hollows.find import Hollows, find_hollows

__all__ = ["Hollows", "find_hollows"]
