"""The pages and styles of a run folder, made from the run's results."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.stage import GRID
from brimline.errors import StoreError
from brimline.io import atomic
from brimline.layers import Raster
from brimline.report import Results, figures, flagged, map_html, report_html, sheets_html, styles
from brimline.stages.publish import REPORT_PDF

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from brimline.engine import RunResult
    from brimline.grid import Grid
    from brimline.units import System

REPORT: Final = "report.html"
MAP: Final = "map.html"
STYLES: Final = "styles"
SHEETS: Final = "stakes/sheets.html"


def results_of(
    run: RunResult,
    made: Mapping[str, Any],
    grid: Grid,
    *,
    site_name: str,
    units: System,
    cautions: tuple[str, ...],
) -> Results:
    """Gather what a run published, and its facts, into the value that pages are made from."""
    frames: dict[str, Any] = {}
    rasters: dict[str, Any] = {}
    for item in run.published:
        held = rasters if isinstance(item, Raster) else frames
        held[item.name] = run.value(item.name)
    facts = {name: run.value(name) for name in run.fact_names if name != GRID}
    return Results(site_name, units, grid, frames, rasters, made, facts, cautions)


def write_pages(
    folder: Path, results: Results, *, pdf: bool, told: Callable[[str], None] = lambda _: None
) -> None:
    """Write the report, staking sheets, the map page and a style for each layer.

    Parameters
    ----------
    pdf : write the report as PDF too.
    told : hears what is being drawn.

    Raises
    ------
    StoreError
        If a file cannot be written, or a PDF is wanted and cannot be made.
    """
    told("drawing the report")
    atomic.write_text(
        folder / REPORT, report_html(results, told=lambda title: told(f"drawing: {title}"))
    )
    sheets = sheets_html(results, told)
    if sheets:
        (folder / SHEETS).parent.mkdir(exist_ok=True)
        atomic.write_text(folder / SHEETS, sheets)
    told("drawing the map page")
    atomic.write_text(folder / MAP, map_html(results))
    (folder / STYLES).mkdir(exist_ok=True)
    for name, text in styles(results).items():
        atomic.write_text(folder / STYLES / f"{name}.sld", text)
    if pdf:
        told("printing the report")
        atomic.write_bytes(folder / REPORT_PDF, pdf_bytes(results))


def plain_figures(results: Results) -> dict[str, Any]:
    """Return the report's figures and its count of flags as the manifest holds them."""
    return {
        "figures": [asdict(figure) for figure in figures(results)],
        "flagged": [
            {
                "layer": flag.layer,
                "title": flag.title,
                "code": flag.code,
                "severity": flag.severity,
                "rows": list(flag.rows),
            }
            for flag in flagged(results)
        ],
    }


def pdf_bytes(results: Results) -> bytes:
    """Return the report as PDF.

    Raises
    ------
    StoreError
        If the printer's library is not installed.
    """
    html = weasyprint_or_refuse().HTML(string=report_html(results, paper=True))
    content: bytes = html.write_pdf()
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
