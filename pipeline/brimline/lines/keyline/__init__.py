"""Keypoints on valley floors, keylines through them, and the cultivation lines beside these."""

from brimline.lines.keyline.cultivation import (
    CultivationLine,
    Family,
    cultivation_lines,
    families,
)
from brimline.lines.keyline.keylines import Keyline, guide_line, keyline
from brimline.lines.keyline.keypoints import Keypoint, find_keypoints, given_keypoint

__all__ = [
    "CultivationLine",
    "Family",
    "Keyline",
    "Keypoint",
    "cultivation_lines",
    "families",
    "find_keypoints",
    "given_keypoint",
    "guide_line",
    "keyline",
]
