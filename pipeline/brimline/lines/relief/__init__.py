"""Valley and ridge lines: where ground gathers water and where it parts."""

from brimline.lines.relief.ridges import RidgeLine, ridge_lines
from brimline.lines.relief.tracing import Course
from brimline.lines.relief.valleys import ValleyLine, valley_lines

__all__ = ["Course", "RidgeLine", "ValleyLine", "ridge_lines", "valley_lines"]
