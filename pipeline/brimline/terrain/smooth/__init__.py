"""Taking survey noise off a surface, by a stated amount."""

from brimline.terrain.smooth.bell import smoothed

__all__ = ["smoothed"]
