"""The ground behind each intake: snapping, nested subcatchments, distances, heights."""

from brimline.drainage.catchments.distances import (
    LongestPaths,
    distance_to_intake,
    longest_paths,
)
from brimline.drainage.catchments.heights import height_above_drainage
from brimline.drainage.catchments.snapping import Snapped, snap
from brimline.drainage.catchments.subcatchments import Subcatchments, subcatchments

__all__ = [
    "LongestPaths",
    "Snapped",
    "Subcatchments",
    "distance_to_intake",
    "height_above_drainage",
    "longest_paths",
    "snap",
    "subcatchments",
]
