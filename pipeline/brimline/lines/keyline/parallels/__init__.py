"""Lines parallel to a guide, at an exact distance and no tighter than a tractor turns."""

from brimline.lines.keyline.parallels.beside import family, parallels
from brimline.lines.keyline.parallels.easing import eased
from brimline.lines.keyline.parallels.outlines import parallel

__all__ = ["eased", "family", "parallel", "parallels"]
