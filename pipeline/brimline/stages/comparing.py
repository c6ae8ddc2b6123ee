"""Two runs of a site held against each other, and what that is written as."""

from __future__ import annotations

import json
import shutil
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from pyproj import CRS

import brimline
from brimline.drainage.certainty import SURVEY_CLASSES
from brimline.engine.journal import now_text
from brimline.errors import InputError, StoreError
from brimline.io import atomic
from brimline.io.about import About
from brimline.io.crs import same
from brimline.io.frames import conformed, empty
from brimline.io.geopackage import write_geopackage
from brimline.io.rasters import write_raster
from brimline.layers import layer, raster, table
from brimline.lines.sample import on_grid
from brimline.report.change_page import change_html
from brimline.stages import _compare_rows as rows
from brimline.stages._compare_findings import findings, told_shift
from brimline.stages._compare_rows import Pair
from brimline.stages._compare_stable import stable_ground
from brimline.stages._frames import frame_of
from brimline.terrain.change import difference

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from brimline.grid import Elevation, Grid
    from brimline.io.rasters import OnGrid
    from brimline.io.runs import RunFolder

GEOPACKAGE: Final = "change.gpkg"
MANIFEST: Final = "compare.json"
PAGE: Final = "compare.html"

_MAKERS: Final[dict[str, Callable[[Pair], Iterator[tuple[dict[str, Any], Any]]]]] = {
    "change_areas": rows.area_rows,
    "intake_changes": rows.intake_rows,
    "line_changes": rows.line_rows,
    "element_changes": rows.element_rows,
}


@dataclass(frozen=True, slots=True)
class Comparison:
    """What was found.

    Parameters
    ----------
    frames : rows by layer or table.
    plain : figures as plain values, what ``compare.json`` holds.
    """

    pair: Pair
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
    new_m = _on_grid(new, old.grid, now)
    if not (np.isfinite(old.array) & np.isfinite(new_m)).any():
        raise InputError.of(
            "shares no ground with the old run",
            mend="compare two runs of one site",
            source=str(now.folder),
        )
    correlation = max(_correlation_m(then), _correlation_m(now))
    both = np.isfinite(old.array) & np.isfinite(new_m)
    mask, mask_from = stable_ground((then, now), old.grid, both, stable)
    change = difference(
        old.array, new_m, old.grid.cell_m,
        error_then_m=_error_m(then), error_now_m=_error_m(now), correlation_m=correlation,
        confidence=confidence, take_off_shift=take_off_shift, stable=mask,
    )  # fmt: skip
    pair = Pair(then, now, old.grid, old.array, change, correlation)
    made = {name: list(make(pair)) for name, make in _MAKERS.items()}
    frames: dict[str, Any] = {
        name: frame_of([row for row, _ in found], [shape for _, shape in found], name, pair.grid)
        for name, found in made.items()
    }
    plain_rows = {name: [row for row, _ in found] for name, found in made.items()}
    found = findings(
        pair,
        plain_rows["intake_changes"], plain_rows["line_changes"], plain_rows["element_changes"],
    )  # fmt: skip
    frames["change_findings"] = _finding_table(found)
    plain = _plain(pair, take_off_shift=take_off_shift) | {
        "stable_m2": int(mask.sum()) * pair.grid.cell_area_m2,
        "stable_from": mask_from,
        "findings": [asdict(finding) for finding in found],
        "counts": {
            name: dict(pd.Series([row["status"] for row in plain_rows[name]]).value_counts())
            for name in ("intake_changes", "line_changes", "element_changes")
            if plain_rows[name]
        },
    }
    return Comparison(pair, frames, json.loads(json.dumps(plain, default=_number)))


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
        grid = found.pair.grid
        write_raster(
            folder / "rasters" / "change_m.tif",
            found.pair.change.change_m,
            grid,
            raster("change_m"),
        )
        about = About(
            title=f"{found.pair.then.name}: what changed",
            description=f"Two runs compared by brimline {brimline.__version__}; SI.",
        )
        items: list[tuple[Any, Any]] = [(table("change_findings"), found.frames["change_findings"])]
        items += [(layer(name), found.frames[name]) for name in _MAKERS]
        write_geopackage(folder / GEOPACKAGE, items, crs=grid.crs, about=about)
        atomic.write_text(
            folder / MANIFEST, json.dumps(found.plain, indent=2, ensure_ascii=False) + "\n"
        )
        atomic.write_text(
            folder / PAGE,
            change_html(found.plain, found.frames, found.pair.change.change_m,
                        found.pair.change.patches, found.pair.then_m, grid),
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


def _error_m(run: RunFolder) -> float:
    stated = run.parameter("survey", "rmse_m")
    if stated is not None:
        return float(stated)
    return SURVEY_CLASSES[run.parameter("survey", "accuracy_class") or "QL2"].rmse_m


def _correlation_m(run: RunFolder) -> float:
    return float(run.parameter("survey", "correlation_m") or 0.0)


def _finding_table(found: list[Any]) -> Any:  # noqa: ANN401 - a frame
    declared = table("change_findings")
    if not found:
        return empty(declared)
    records = [
        {"rank": rank, "layer": one.layer, "id": one.id, "text": one.text, "mend": one.mend}
        for rank, one in enumerate(found, start=1)
    ]
    return conformed(pd.DataFrame(records), declared)


def _plain(pair: Pair, *, take_off_shift: bool) -> dict[str, Any]:
    change = pair.change
    volumes = {
        kind: asdict(volume) | {"error_m3": volume.error_m3}
        for kind, volume in (("cut", change.cut), ("fill", change.fill))
    }
    compared = int(np.isfinite(change.change_m).sum()) * pair.grid.cell_area_m2
    return {
        "brimline": brimline.__version__,
        "finished": now_text(),
        "site": pair.then.name,
        "units": pair.then.parameter("site", "units") or "metric",
        "then": {"folder": str(pair.then.folder), "finished": pair.then.manifest.get("finished")},
        "now": {"folder": str(pair.now.folder), "finished": pair.now.manifest.get("finished")},
        "compared_m2": compared,
        "error_then_m": _error_m(pair.then),
        "error_now_m": _error_m(pair.now),
        "error_used_m": change.sigma_m,
        "correlation_m": pair.correlation_m,
        "confidence": change.confidence,
        "detection_m": change.detection_m,
        "shift": asdict(change.shift) | {"told": told_shift(change.shift)},
        "shift_taken_off": take_off_shift and change.shift.kind != "none",
        "changed_areas": len(change.by_patch),
        **volumes,
        "net_m3": change.net_m3,
        "net_error_m3": change.net_error_m3,
    }


def _number(value: object) -> object:
    return value.item() if isinstance(value, np.generic) else str(value)
