"""Lines that fall evenly along the ground: drains and off-contour conveyance."""

from brimline.lines.graded.asked import BetweenEnds, FromStart, GradingGround
from brimline.lines.graded.between import NoLine, graded_between
from brimline.lines.graded.from_start import GradedLine, graded_line

__all__ = [
    "BetweenEnds",
    "FromStart",
    "GradedLine",
    "GradingGround",
    "NoLine",
    "graded_between",
    "graded_line",
]
