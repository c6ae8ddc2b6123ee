"""Contours: lines of equal level, traced exactly on the surface that is given."""

from brimline.lines.contours.levels import contour_levels, is_index
from brimline.lines.contours.trace import contours, drawn_contours

__all__ = ["contour_levels", "contours", "drawn_contours", "is_index"]
