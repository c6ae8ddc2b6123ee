"""Lines that fall evenly along the ground: drains and off-contour conveyance."""

from brimline.lines.graded.between import NoLine, graded_between
from brimline.lines.graded.from_start import GradedLine, graded_line

__all__ = ["GradedLine", "NoLine", "graded_between", "graded_line"]
