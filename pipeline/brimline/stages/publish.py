"""Putting a run's results where people read them: one folder, replaced as a whole."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

import brimline
from brimline.engine import manifest
from brimline.errors import StoreError
from brimline.io import atomic, kept
from brimline.io.about import About
from brimline.io.exchange_csv import write_table_csv
from brimline.io.geopackage import write_geopackage
from brimline.io.rasters import write_raster
from brimline.layers import Layer, Raster, Table
from brimline.report.digest import pages_digest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from brimline.engine import Inputs, RunResult
    from brimline.grid import Grid
    from brimline.units import System

MANIFEST: Final = "run.json"
REPORT_PDF: Final = "report.pdf"
GEOPACKAGE: Final = "site.gpkg"
TABLES: Final = "tables"

CAUTIONS: Final = (
    (
        "These are design aids, not engineering certification; local codes and licensed practice"
        " decide."
    ),
    (
        "Dams and embankments can fail and kill: above the local height or volume limit a licensed"
        " engineer and a permit are needed."
    ),
    (
        "Wetting a slope can start a slip: hold no water above steep or made ground, or near"
        " foundations."
    ),
    (
        "Call the utility-locating service before digging. Keep the setbacks of the local code from"
        " buildings, septic fields, wells, boundaries and roads."
    ),
    (
        "Ponds drown: give them a gentle shelf, and a fence where required. Water that stands over"
        " 72 hours breeds mosquitoes. Roof water is not drinking water."
    ),
    "Water rights and drainage law: divert no water onto or away from a neighbour.",
    "The survey decides where a line goes, not its final level: set levels on site before digging.",
)


@dataclass(frozen=True, slots=True)
class Published:
    """Where the results are, and whether the folder had to be written."""

    folder: Path
    written: bool
    manifest: dict[str, Any]


def publish(
    result: RunResult,
    inputs: Inputs,
    target: Path,
    *,
    site_folder: Path,
    site_name: str,
    units: System,
    grid: Grid,
    pdf: bool = False,
    keep_runs: int = 0,
    told: Callable[[str], None] = lambda _: None,
) -> Published:
    """Write a run folder beside the old one and put it in its place.

    A folder that already holds the same results of the same version is left alone.

    Parameters
    ----------
    units : that pages show; layers are SI.
    pdf : print the report as PDF too.
    keep_runs : how many earlier runs stay beside `target`, under their dates.
    told : hears what is being written.

    Raises
    ------
    StoreError
        If the folder cannot be written, or holds something else than a run; what was there
        before is untouched. Also if a PDF is wanted and the library that prints is missing.
    """
    made = manifest(result, inputs, version=brimline.__version__, base=site_folder)
    made["pages"] = pages_digest()
    atomic.recover(target)
    before = _read_manifest(target)
    if before is not None and _same(before, made) and (not pdf or (target / REPORT_PDF).exists()):
        return Published(target, written=False, manifest=before)
    if target.exists() and before is None and any(target.iterdir()):
        raise StoreError(
            f"{target} holds something that is not a run of brimline and would be replaced; "
            "name another folder with --out, or empty it"
        )
    # heavy, and only for a run that has something to write
    from brimline.stages.pages import plain_figures, results_of, write_pages

    folder = atomic.new_folder_beside(target)
    try:
        _fill(folder, result, made, grid, site_name=site_name, told=told)
        results = results_of(
            result, made, grid, site_name=site_name, units=units, cautions=CAUTIONS
        )
        write_pages(folder, results, pdf=pdf, told=told)
        made |= plain_figures(results)
        atomic.write_text(folder / MANIFEST, json.dumps(made, indent=2, ensure_ascii=False) + "\n")
        if before is not None and keep_runs:
            kept.keep_dated(target, before["finished"])
        atomic.replace_folder(folder, target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)  # what is half done takes room on a full disk
        raise
    kept.forget_older(target, keep_runs)
    return Published(target, written=True, manifest=made)


def _fill(
    folder: Path,
    result: RunResult,
    made: dict[str, Any],
    grid: Grid,
    *,
    site_name: str,
    told: Callable[[str], None],
) -> None:
    """Write the rasters, the GeoPackage, every table as CSV, and what is taken to the site."""
    from brimline.report.sld import layer_style
    from brimline.stages.exchange import write_exchange

    rows = []
    for item in result.published:
        if isinstance(item, Raster):
            told(f"writing {item.name}.tif")
            (folder / "rasters").mkdir(exist_ok=True)
            write_raster(
                folder / "rasters" / f"{item.name}.tif", result.value(item.name), grid, item
            )
        elif isinstance(item, Layer | Table):
            rows.append((item, result.value(item.name)))
    if rows:  # a run that was stopped early may hold rasters only
        told(f"writing {GEOPACKAGE}")
        about = About(
            title=site_name,
            description=f"Land and water at {site_name}, by brimline {brimline.__version__}; SI.",
            cautions=CAUTIONS,
            details={"versions": made["versions"], "finished": made["finished"]},
            styles={item.name: layer_style(item) for item, _ in rows if isinstance(item, Layer)},
        )
        write_geopackage(folder / GEOPACKAGE, rows, crs=grid.crs, about=about)
        _write_tables(folder / TABLES, rows)

    moment = datetime.fromisoformat(made["finished"])
    write_exchange(folder, result, crs=grid.crs, name=site_name, written_at=moment, told=told)


def _write_tables(folder: Path, rows: list[tuple[Layer | Table, Any]]) -> None:
    """Write every table that holds rows as CSV too, for spreadsheets."""
    for item, frame in rows:
        if isinstance(item, Table) and len(frame):
            folder.mkdir(exist_ok=True)
            write_table_csv(folder / f"{item.name}.csv", frame, item)


def _same(before: dict[str, Any], made: dict[str, Any]) -> bool:
    same = ("outputs", "brimline", "pages", "parameters", "problems")
    return all(before.get(key) == made[key] for key in same)


def _read_manifest(target: Path) -> dict[str, Any] | None:
    try:
        found = json.loads((target / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) and "brimline" in found else None
