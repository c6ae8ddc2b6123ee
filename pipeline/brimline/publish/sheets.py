"""Staking sheets, each a piece of its own."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from brimline.publish.pages import printed

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.publish.sight import Sight

PARTS: Final = "parts/sheets/"
HAND: Final = "stakes/by_hand.html"


def write_sheet(sight: Sight, path: Path, name: str) -> None:
    """Write the sheet of one element as JSON."""
    from brimline.report.sheets import sheet_of

    path.write_text(json.dumps(sheet_of(sight.results, name)), encoding="utf-8")


def write_hand(sight: Sight, path: Path) -> None:
    """Write the sheets for setting out by hand, where anything is staked."""
    from brimline.report.hand import hand_html

    text = hand_html(sight.results)
    if text:
        path.write_text(text, encoding="utf-8")


def write_sheets(sight: Sight, path: Path) -> None:
    """Write all sheets as one page to print, where anything is staked."""
    html = _html(sight)
    if html:
        path.write_text(html, encoding="utf-8")


def write_sheets_pdf(sight: Sight, path: Path) -> None:
    """Write the same as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    html = _html(sight)
    if html:
        path.write_bytes(printed(html))


def write_hand_pdf(sight: Sight, path: Path) -> None:
    """Write the sheets for setting out by hand as PDF, from the page that is there.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    html = sight.piece(HAND)
    if html is not None:
        path.write_bytes(printed(html))


def _html(sight: Sight) -> str:
    from brimline.report.sheets import StakingSheet, sheets_html, staked

    texts = [sight.piece(PARTS + name) for name in staked(sight.results)]
    sheets = [StakingSheet.of_plain(json.loads(text)) for text in texts if text is not None]
    return sheets_html(sight.results, sheets) if sheets else ""
