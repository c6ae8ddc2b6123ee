"""Two runs of a site read, held against each other, and what that is written as."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from pyproj import CRS

import brimline
from brimline.compare import (
    LINES,
    RunElement,
    RunIntake,
    RunLine,
    SiteRun,
    compare_runs,
    told_shift,
)
from brimline.drainage.certainty import SURVEY_CLASSES
from brimline.engine.journal import now_text
from brimline.errors import InputError, StoreError
from brimline.grid.shapes import cells_inside
from brimline.io import atomic
from brimline.io.about import About
from brimline.io.crs import same
from brimline.io.geopackage import write_geopackage
from brimline.io.rasters import write_raster
from brimline.io.vectors import read_layer
from brimline.layers import layer, raster, table
from brimline.lines.sample import on_grid
from brimline.report.change_page import change_html
from brimline.stages._frames import frame_of, table_of, values_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import shapely
    from geopandas import GeoDataFrame

    from brimline.compare import RunsCompared
    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.io.rasters import OnGrid
    from brimline.io.runs import RunFolder

GEOPACKAGE: Final = "change.gpkg"
MANIFEST: Final = "compare.json"
PAGE: Final = "compare.html"

_LAYERS: Final = ("change_areas", "intake_changes", "line_changes", "element_changes")
# id and level of the lines that are compared; lines that fall have no one level
_COLUMNS: Final = {
    "swale_lines": ("swale_id", "level_m"),
    "drain_lines": ("drain_id", "from_level_m"),
    "keylines": ("keyline_id", "level_m"),
    "cultivation_lines": ("line_id", ""),
}


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """What was found.

    Parameters
    ----------
    frames : rows by layer or table.
    plain : figures as plain values, what ``compare.json`` holds.
    """

    found: RunsCompared
    name: str
    frames: dict[str, Any]
    plain: dict[str, Any]


def compare(
    then: RunFolder,
    now: RunFolder,
    *,
    confidence: float = 0.95,
    take_off_shift: bool = True,
    stable: Path | None = None,
) -> Comparison:
    """Compare two runs on the old one's grid.

    A shift is sought on ground that nobody works on: the polygons of `stable`, or else all that
    lies farther than a margin from every element of either run.

    Parameters
    ----------
    stable : file of polygons of ground known not to have changed.
    confidence : of the level of detection and of every uncertainty.
    take_off_shift : False leaves a shift that lies on all ground alike in the change.

    Raises
    ------
    InputError
        If the two do not lie in one CRS, share no ground, or lack elevation, or if the stable
        ground cannot be read or covers nothing of what is compared.
    """
    old, new = then.raster("elevation"), now.raster("elevation")
    grid, new_m = old.grid, _on_grid(new, old.grid, now)
    both = np.isfinite(old.array) & np.isfinite(new_m)
    if not both.any():
        raise InputError.of(
            "shares no ground with the old run",
            mend="compare two runs of one site",
            source=str(now.folder),
        )
    found = compare_runs(
        _site_run(then, old.array), _site_run(now, new_m), grid,
        confidence=confidence, take_off_shift=take_off_shift,
        stable=None if stable is None else _stable(stable, grid, both),
    )  # fmt: skip
    records: dict[str, Sequence[Any]] = {
        "change_areas": found.areas,
        "intake_changes": found.intakes,
        "line_changes": found.lines,
        "element_changes": found.elements,
    }
    frames: dict[str, Any] = {
        name: frame_of(rows, [row.shape for row in rows], name, grid)
        for name, rows in records.items()
    }
    frames["change_findings"] = table_of(
        [
            values_of(one, table("change_findings")) | {"rank": rank}
            for rank, one in enumerate(found.findings, start=1)
        ],
        "change_findings",
    )
    plain = _plain(then, now, found, take_off_shift=take_off_shift) | {
        "findings": [asdict(finding) for finding in found.findings],
        "counts": {
            name: dict(Counter(row.status for row in rows))
            for name, rows in (
                ("intake_changes", found.intakes), ("line_changes", found.lines),
                ("element_changes", found.elements),
            )
            if rows
        },
    }  # fmt: skip
    return Comparison(found, then.name, frames, json.loads(json.dumps(plain, default=_number)))


def write_comparison(found: Comparison, target: Path) -> None:
    """Write a comparison's folder, as a whole or not at all.

    Raises
    ------
    StoreError
        If it cannot be written, or the folder holds something else than a comparison.
    """
    atomic.recover(target)
    if target.exists() and not (target / MANIFEST).exists() and any(target.iterdir()):
        raise StoreError(
            f"{target} holds something that is not a comparison and would be replaced; "
            "name another folder with --out, or empty it"
        )
    folder = atomic.new_folder_beside(target)
    try:
        (folder / "rasters").mkdir()
        grid = found.found.pair.grid
        write_raster(
            folder / "rasters" / "change_m.tif",
            found.found.pair.change.change_m,
            grid,
            raster("change_m"),
        )
        about = About(
            title=f"{found.name}: what changed",
            description=f"Two runs compared by brimline {brimline.__version__}; SI.",
        )
        items: list[tuple[Any, Any]] = [(table("change_findings"), found.frames["change_findings"])]
        items += [(layer(name), found.frames[name]) for name in _LAYERS]
        write_geopackage(folder / GEOPACKAGE, items, crs=grid.crs, about=about)
        atomic.write_text(
            folder / MANIFEST, json.dumps(found.plain, indent=2, ensure_ascii=False) + "\n"
        )
        atomic.write_text(
            folder / PAGE,
            change_html(found.plain, found.frames, found.found.pair.change.change_m,
                        found.found.pair.change.patches,
                        found.found.pair.then.elevation_m, grid),
        )  # fmt: skip
        atomic.replace_folder(folder, target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _on_grid(new: OnGrid, grid: Grid, run: RunFolder) -> Elevation:
    """Bring the new elevation to the old grid."""
    if not same(CRS.from_user_input(new.grid.crs), CRS.from_user_input(grid.crs)):
        raise InputError.of(
            f"lies in {new.grid.crs}, the old run in {grid.crs}",
            mend="run both surveys in one CRS: set crs under [terrain], or project the elevation",
            source=str(run.folder),
        )
    return on_grid(new.array, new.grid, grid)


def _stable(file: Path, grid: Grid, compared: BoolGrid) -> tuple[BoolGrid, str]:
    shapes = read_layer(file, kinds={"polygon"}, crs=grid.crs).usable().geometry
    found: BoolGrid = cells_inside(shapes, grid) & compared
    if not found.any():
        raise InputError.of(
            "covers no ground that both runs have",
            mend="draw polygons on ground that lies in both surveys",
            source=str(file),
        )
    return found, f"the polygons of {file.name}"


def _site_run(run: RunFolder, elevation_m: Elevation) -> SiteRun:
    made = frozenset(LINES) & run.layers
    direction = run.folder / "rasters" / "flow_direction.tif"
    return SiteRun(
        elevation_m,
        _error_m(run),
        _correlation_m(run),
        tuple(
            RunIntake(
                int(row.intake_id), _text(row.name), float(row.area_m2),
                _maybe(row, "area_low_m2"), _maybe(row, "area_high_m2"), row.geometry,
            )
            for row in _rows(run.layer("intakes"))
        ),
        tuple(
            RunLine(name, str(getattr(row, _COLUMNS[name][0])), _maybe(row, _COLUMNS[name][1]),
                    row.geometry)
            for name in sorted(made)
            for row in _rows(run.layer(name))
        ),
        made,
        tuple(
            RunElement(
                row.element_id, row.kind, float(row.storage_m3), float(row.spill_level_m),
                _text(row.spills_to), tuple(filter(None, _text(row.flag).split(";"))),
                float(row.footprint_m2), row.geometry,
            )
            for row in _rows(run.layer("elements"))
            if row.geometry is not None
        ),
        run.raster("flow_direction").array if direction.exists() else None,
        tuple(_buildings(run)),
        run.manifest.get("headline", {}).get("cost"),
    )  # fmt: skip


def _rows(frame: GeoDataFrame | None) -> Iterable[Any]:
    return () if frame is None else frame.itertuples(index=False)


def _buildings(run: RunFolder) -> Iterable[tuple[str, shapely.Geometry]]:
    for row in _rows(run.layer("keep_out")):
        if row.kind == "building":
            yield _text(row.name), row.geometry
    for row in _rows(run.layer("surfaces")):
        if row.cover == "roof":
            yield _text(row.name), row.geometry


def _maybe(row: Any, column: str) -> float | None:  # noqa: ANN401 - a row of a layer
    value = getattr(row, column, None) if column else None
    return None if value is None or pd.isna(value) else float(value)


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _error_m(run: RunFolder) -> float:
    stated = run.parameter("survey", "rmse_m")
    if stated is not None:
        return float(stated)
    return SURVEY_CLASSES[run.parameter("survey", "accuracy_class") or "QL2"].rmse_m


def _correlation_m(run: RunFolder) -> float:
    return float(run.parameter("survey", "correlation_m") or 0.0)


def _plain(
    then: RunFolder, now: RunFolder, found: RunsCompared, *, take_off_shift: bool
) -> dict[str, Any]:
    pair, change = found.pair, found.pair.change
    volumes = {
        kind: asdict(volume) | {"error_m3": volume.error_m3}
        for kind, volume in (("cut", change.cut), ("fill", change.fill))
    }
    compared = int(np.isfinite(change.change_m).sum()) * pair.grid.cell_area_m2
    return {
        "brimline": brimline.__version__,
        "finished": now_text(),
        "site": then.name,
        "units": then.parameter("site", "units") or "metric",
        "then": {"folder": str(then.folder), "finished": then.manifest.get("finished")},
        "now": {"folder": str(now.folder), "finished": now.manifest.get("finished")},
        "compared_m2": compared,
        "error_then_m": pair.then.error_m,
        "error_now_m": pair.now.error_m,
        "error_used_m": change.sigma_m,
        "correlation_m": pair.correlation_m,
        "confidence": change.confidence,
        "detection_m": change.detection_m,
        "shift": asdict(change.shift) | {"told": told_shift(change.shift)},
        "shift_taken_off": take_off_shift and change.shift.kind != "none",
        "changed_areas": len(change.by_patch),
        **volumes,
        "stable_m2": int(found.stable.sum()) * pair.grid.cell_area_m2,
        "stable_from": found.stable_from,
        "net_m3": change.net_m3,
        "net_error_m3": change.net_error_m3,
    }


def _number(value: object) -> object:
    return value.item() if isinstance(value, np.generic) else str(value)
