"""Keypoints on valley floors, keylines through them, and the cultivation lines beside these."""

from brimline.lines.keyline.choosing import Chosen, chosen_guides, places_on_floors
from brimline.lines.keyline.cultivation import (
    CultivationLine,
    Family,
    cultivation_lines,
    cultivation_of_all,
    families,
)
from brimline.lines.keyline.guides import guide_line
from brimline.lines.keyline.keylines import Keyline, keyline, keylines
from brimline.lines.keyline.keypoints import Keypoint, find_keypoints, given_keypoint
from brimline.lines.keyline.pattern import Country, Pattern, Ploughing, pattern, with_given
from brimline.lines.keyline.shares import kept_apart
from brimline.lines.keyline.trimming import trimmed
from brimline.lines.keyline.working import Useful

__all__ = [
    "Chosen",
    "Country",
    "CultivationLine",
    "Family",
    "Keyline",
    "Keypoint",
    "Pattern",
    "Ploughing",
    "Useful",
    "chosen_guides",
    "cultivation_lines",
    "cultivation_of_all",
    "families",
    "find_keypoints",
    "given_keypoint",
    "guide_line",
    "kept_apart",
    "keyline",
    "keylines",
    "pattern",
    "places_on_floors",
    "trimmed",
    "with_given",
]
