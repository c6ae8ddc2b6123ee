"""The map page, put together from its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.report.map_data import part_json
from brimline.report.map_page import map_html

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.publish.sight import Sight

PARTS: Final = "parts/map/"


def write_part(sight: Sight, path: Path, name: str) -> None:
    """Write one part of what the page carries as JSON, where the run has it."""
    text = part_json(sight.results, name)
    if text is not None:
        path.write_text(text, encoding="utf-8")


def write_map(sight: Sight, path: Path) -> None:
    """Write the map page."""
    html = map_html(sight.results, lambda name: sight.piece(PARTS + name))
    path.write_text(html, encoding="utf-8")
