"""The report, put together from its plates; the figures that the screen and run.json tell."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from brimline.errors import StoreError
from brimline.publish.plates import read_plates
from brimline.report.attention import flagged
from brimline.report.numbers import figures

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from brimline.publish.sight import Sight
    from brimline.report import Results
    from brimline.report.plates.plate import Plate

_TOLD: Final = ("layer", "title", "code", "severity", "rows")


def write_figures(sight: Sight, path: Path) -> None:
    """Write the report's figures and its count of flags as the manifest holds them."""
    path.write_text(json.dumps(plain_figures(sight.results)), encoding="utf-8")


def write_report(sight: Sight, path: Path, *plates: str) -> None:
    """Write the report."""
    from brimline.report.page import report_html

    path.write_text(report_html(sight.results, read_plates(sight, plates)), encoding="utf-8")


def write_notes(sight: Sight, path: Path) -> None:
    """Write the notes from the ground, where there are any."""
    from brimline.report.notes_page import notes_html

    html = notes_html(sight.results)
    if html:
        path.write_text(html, encoding="utf-8")


def write_survey(sight: Sight, path: Path) -> None:
    """Write what the ground was taken from, where the run got so far."""
    from brimline.report.survey_page import survey_html

    html = survey_html(sight.results)
    if html:
        path.write_text(html, encoding="utf-8")


def write_pdf(sight: Sight, path: Path, *plates: str) -> None:
    """Write the report as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    path.write_bytes(pdf_bytes(sight.results, read_plates(sight, plates)))


def plain_figures(results: Results) -> dict[str, Any]:
    """Return the report's figures and its count of flags as plain values."""
    return {
        "figures": [asdict(figure) for figure in figures(results)],
        "flagged": [{name: getattr(flag, name) for name in _TOLD} for flag in flagged(results)],
    }


def pdf_bytes(results: Results, plates: Sequence[Plate] | None = None) -> bytes:
    """Return the report as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    from brimline.report.page import report_html

    return printed(report_html(results, plates, paper=True))


def printed(html: str) -> bytes:
    """Return a page as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    content: bytes = weasyprint_or_refuse().HTML(string=html).write_pdf()
    return content


def weasyprint_or_refuse() -> Any:  # noqa: ANN401 - a module without types
    """Return the library that prints, or say how to get it.

    Raises
    ------
    StoreError
        If it is not installed, or a library beneath it is missing.
    """
    try:
        import weasyprint
    except (ImportError, OSError) as error:
        raise StoreError(
            f"a PDF needs the library weasyprint, which cannot be used here ({error}); install it "
            "with: pip install 'brimline[pdf]', or print report.html from a browser"
        ) from error
    return weasyprint
