"""The strip of ground above a line: what sheds to it, and how far up the slope it reaches."""

from brimline.lines.strips.ground import (
    Strips,
    cells_of_lines,
    sheds_to,
    sheet_directions,
    strip_areas_m2,
    strips_of,
)

__all__ = [
    "Strips",
    "cells_of_lines",
    "sheds_to",
    "sheet_directions",
    "strip_areas_m2",
    "strips_of",
]
