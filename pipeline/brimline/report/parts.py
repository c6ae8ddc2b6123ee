"""Which part of the report a figure, plate or table belongs to: design first, evidence after."""

from __future__ import annotations

from typing import Final, Literal

from brimline.layers.themes import DESIGN, PROPOSALS, theme_of

Part = Literal["design", "evidence", "proposals", "work"]

_PLATES: Final[dict[str, Part]] = {
    **dict.fromkeys(
        ("concept", "as-built", "as-built-levels", "cascade-plan", "cascade-diagram", "earthworks",
         "staging"),
        "design",
    ),
    **dict.fromkeys(("level-lines", "key-lines", "pond-sites"), "proposals"),
}  # fmt: skip
_TABLES: Final[dict[str, Part]] = {
    **dict.fromkeys(
        ("as_built_findings", "as_built_elements", "as_built_sills", "as_built_stakes", "storms",
         "earth_volumes", "spoil_hauls", "building_steps", "bill", "storm_balance", "site_years"),
        "design",
    ),
    "cultivation_families": "proposals",
    **dict.fromkeys(("advice", "cascade_findings", "cascade_mends"), "work"),
}  # fmt: skip


def part_of_plate(name: str) -> Part:
    """Return where a plate stands."""
    return _PLATES.get(name, "evidence")


def part_of_rows(name: str) -> Part:
    """Return where a layer or table stands, or a figure that is computed from it."""
    theme = theme_of(name)
    told: Part = "design" if theme == DESIGN else "proposals" if theme == PROPOSALS else "evidence"
    return _TABLES.get(name, told)
