"""What layers are about: the order and the headings under which people find them, everywhere."""

from __future__ import annotations

from typing import Final

DESIGN: Final = "Design"
PROPOSALS: Final = "Proposals"
CHECKS: Final = "Checks"
# in reading order; what no theme names is a check of the design
THEMES: Final[dict[str, tuple[str, ...]]] = {
    DESIGN: ("elements", "overflows", "downpipes", "pads", "zones", "plants", "stakes", "notes"),
    "Site": (
        "boundary", "keep_out", "surfaces", "obstructions", "raised_areas", "soils", "culverts",
        "contours", "levels", "measure_next",
    ),
    "Water": (
        "intakes", "subcatchments", "flow_paths", "longest_paths", "hollows", "valley_lines",
        "ridge_lines", "springs",
    ),
    PROPOSALS: (
        "pond_sites", "pond_banks", "swale_lines", "drain_lines", "keypoints", "keylines",
        "cultivation_lines", "tracks", "track_crossings",
    ),
    CHECKS: (),
}  # fmt: skip
# what the file of the design alone holds: what is built, and what it must keep clear of
DESIGN_FILE: Final = ("boundary", "keep_out", *THEMES[DESIGN])
_THEME: Final = {name: theme for theme, names in THEMES.items() for name in names}
_ORDER: Final = {name: place for place, name in enumerate(_THEME)}


def theme_of(name: str) -> str:
    """Return the theme of a layer."""
    return _THEME.get(name, CHECKS)


def place_of(name: str) -> int:
    """Return where a layer stands among all; those that no theme names come last."""
    return _ORDER.get(name, len(_ORDER))
