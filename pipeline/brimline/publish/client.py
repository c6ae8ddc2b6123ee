"""The client's page, put together from its one plate, and the drawing set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.publish.pages import printed
from brimline.publish.plates import read_plates

DRAWINGS: Final = "drawings.html"

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.publish.sight import Sight


def write_client(sight: Sight, path: Path, plan: str) -> None:
    """Write the client's page, where the run has a design."""
    html = _html(sight, plan, paper=False)
    if html is not None:
        path.write_text(html, encoding="utf-8")


def write_client_pdf(sight: Sight, path: Path, plan: str) -> None:
    """Write the client's page as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    html = _html(sight, plan, paper=True)
    if html is not None:
        path.write_bytes(printed(html))


def write_drawings(sight: Sight, path: Path) -> None:
    """Write the drawing set, where the run has a design."""
    from brimline.report.drawings import drawings_html

    html = drawings_html(sight.results)
    if html:
        path.write_text(html, encoding="utf-8")


def write_drawings_pdf(sight: Sight, path: Path) -> None:
    """Write the drawing set as PDF, from the page that is there.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    html = sight.piece(DRAWINGS)
    if html is not None:
        path.write_bytes(printed(html))


def _html(sight: Sight, plan: str, *, paper: bool) -> str | None:
    from brimline.report.client_page import client_html

    drawn = read_plates(sight, (plan,))
    return client_html(sight.results, drawn[0] if drawn else None, paper=paper)
