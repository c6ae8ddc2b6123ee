"""The strip of ground above a line: what sheds to it, and how far up the slope it reaches."""

from brimline.lines.strips.ground import (
    cells_of_lines,
    sheds_to,
    sheet_directions,
    strip_areas_m2,
    strips_of,
)

__all__ = ["cells_of_lines", "sheds_to", "sheet_directions", "strip_areas_m2", "strips_of"]
