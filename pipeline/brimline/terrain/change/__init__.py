"""What changed between two surveys of the same ground, and how far that can be told."""

from brimline.terrain.change.detection import (
    detection_level_m,
    detection_t,
    mean_error_ratio,
    several_at_once_t,
)
from brimline.terrain.change.difference import SurfaceChange, Volume, difference
from brimline.terrain.change.shift import Shift, find_shift

__all__ = [
    "Shift",
    "SurfaceChange",
    "Volume",
    "detection_level_m",
    "detection_t",
    "difference",
    "find_shift",
    "mean_error_ratio",
    "several_at_once_t",
]
