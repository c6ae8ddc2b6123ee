"""Which of several courses are valleys of their own, and which are threads in one valley."""

from brimline.lines.relief.parted.drawn import Drawn

__all__ = ["Drawn"]
