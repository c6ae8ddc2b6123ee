"""The client's page, put together from its one plate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.publish.pages import printed
from brimline.publish.plates import read_plates

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


def _html(sight: Sight, plan: str, *, paper: bool) -> str | None:
    from brimline.report.client_page import client_html

    drawn = read_plates(sight, (plan,))
    return client_html(sight.results, drawn[0] if drawn else None, paper=paper)
