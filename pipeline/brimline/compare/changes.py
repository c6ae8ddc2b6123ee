"""What became of each intake, line and element between two runs, as rows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.grid.shapes import cells_inside, outlines
from brimline.lines.moved import moved, points_along
from brimline.terrain.change import mean_error_ratio

if TYPE_CHECKING:
    from collections.abc import Iterator

    import shapely
    from geopandas import GeoDataFrame

    from brimline.grid import Elevation, Grid
    from brimline.io.runs import RunFolder
    from brimline.terrain.change import Change

# layers of lines that are compared, with their id and level; lines that fall have no one level
LINES: Final = {
    "swale_lines": ("swale_id", "level_m"),
    "drain_lines": ("drain_id", "from_level_m"),
    "keylines": ("keyline_id", "level_m"),
    "cultivation_lines": ("line_id", ""),
}
_SAME_AREA_PCT: Final = 1.0
_SAME_STORAGE_PCT: Final = 1.0
_SAME_LEVEL_M: Final = 0.01


@dataclass(frozen=True, slots=True)
class Pair:
    """Two runs on the old one's grid, and what changed on the ground between them."""

    then: RunFolder
    now: RunFolder
    grid: Grid
    then_m: Elevation
    change: Change
    correlation_m: float

    @property
    def now_m(self) -> Elevation:
        """New ground, what lies on everything alike taken off."""
        return self.then_m + self.change.change_m

    def under(self, line: shapely.LineString) -> np.ndarray[Any, Any]:
        """Sure change at even steps along a line; 0 where there is none [m]."""
        x, y = points_along(line).T
        row, col = self.grid.cell(x, y)
        inside = self.grid.holds(row, col)
        found = np.zeros(len(x))
        row, col = row[inside], col[inside]
        sure = self.change.patches[row, col] > 0
        found[inside] = np.where(sure, self.change.change_m[row, col], 0.0)
        return found


def area_rows(pair: Pair) -> Iterator[tuple[dict[str, Any], Any]]:
    """One row for each patch of changed ground, with its outline."""
    change = pair.change
    shapes = outlines(change.patches, pair.grid)
    inside = change.patches > 0
    labels, values = change.patches[inside], change.change_m[inside]
    order = np.argsort(labels, kind="stable")
    starts = np.searchsorted(labels[order], np.arange(1, len(change.by_patch) + 2))
    for number, volume in enumerate(change.by_patch, start=1):
        part = values[order][starts[number - 1] : starts[number]]
        yield (
            {
                "area_id": number,
                "kind": "cut" if part[0] < 0 else "fill",
                "area_m2": volume.area_m2,
                "volume_m3": volume.volume_m3,
                "volume_error_m3": volume.error_m3,
                "mean_m": float(part.mean()),
                "greatest_m": float(part[np.abs(part).argmax()]),
            },
            shapes[number],
        )


def intake_rows(pair: Pair) -> Iterator[tuple[dict[str, Any], Any]]:
    """One row for each intake of either run, matched by name, or by number without one."""
    then, now = (_by_key(run.layer("intakes"), "intake_id") for run in (pair.then, pair.now))
    for key in [*then, *(key for key in now if key not in then)]:
        old, new = then.get(key), now.get(key)
        one: Any = old if old is not None else new
        row = {
            "name": one["name"] if isinstance(one["name"], str) else None,
            "intake_id": int(one["intake_id"]),
            "status": "gone" if new is None else "new" if old is None else "kept",
            "area_then_m2": None if old is None else float(old["area_m2"]),
            "area_now_m2": None if new is None else float(new["area_m2"]),
            "change_m2": None,
            "change_pct": None,
            "moved_m": None,
            "explained": None,
        }
        if old is not None and new is not None:
            more = float(new["area_m2"] - old["area_m2"])
            share = 100.0 * more / float(old["area_m2"]) if old["area_m2"] > 0 else math.nan
            same = abs(more) <= max(_SAME_AREA_PCT / 100 * old["area_m2"], pair.grid.cell_area_m2)
            row |= {
                "status": "kept" if same else "changed",
                "change_m2": more,
                "change_pct": share,
                "moved_m": float(old.geometry.distance(new.geometry)),
                "explained": _explained(old, new),
            }
        yield row, one.geometry


def line_rows(pair: Pair) -> Iterator[tuple[dict[str, Any], Any]]:
    """One row for each line of either run, matched by where it runs."""
    for name, (id_column, level_column) in LINES.items():
        then, now = pair.then.layer(name), pair.now.layer(name)
        if then is None or now is None:
            continue
        for one in moved(
            list(then.geometry), list(now.geometry),
            tolerance_m=max(1.0, pair.grid.cell_m), reach_m=max(10.0, 4 * pair.grid.cell_m),
        ):  # fmt: skip
            old = None if one.then is None else then.iloc[one.then]
            new = None if one.now is None else now.iloc[one.now]
            row: Any = old if old is not None else new
            under = pair.under(row.geometry)
            step = row.geometry.length / max(len(under) - 1, 1)
            yield (
                {
                    "layer": name,
                    "line_id": str(row[id_column]),
                    "now_id": None if new is None or old is None else str(new[id_column]),
                    "status": one.status,
                    "level_then_m": _level(old, level_column),
                    "level_now_m": _level(new, level_column),
                    "mean_m": one.mean_m,
                    "most_m": one.most_m,
                    "near_pct": one.near_pct,
                    "changed_m": min(float((under != 0).sum()) * step, row.geometry.length),
                    "least_change_m": float(under.min()),
                    "greatest_change_m": float(under.max()),
                },
                row.geometry,
            )


def element_rows(pair: Pair) -> Iterator[tuple[dict[str, Any], Any]]:
    """One row for each element of either run, matched by its id."""
    then, now = (_by_id(run.layer("elements"), "element_id") for run in (pair.then, pair.now))
    ground_then, ground_now = pair.then_m, pair.now_m
    for key in [*then, *(key for key in now if key not in then)]:
        old, new = then.get(key), now.get(key)
        one: Any = old if old is not None else new
        cells = cells_inside([_footprint(one)], pair.grid)
        row: dict[str, Any] = {
            "element_id": key,
            "kind": one["kind"],
            "status": "gone" if new is None else "new" if old is None else "kept",
            "changed_m2": float((cells & (pair.change.patches > 0)).sum()) * pair.grid.cell_area_m2,
            "ground_then_m3": None,
            "ground_now_m3": None,
            "ground_error_m3": None,
        }
        for when, run in (("then", old), ("now", new)):
            row[f"storage_{when}_m3"] = None if run is None else float(run["storage_m3"])
            row[f"spill_level_{when}_m"] = None if run is None else float(run["spill_level_m"])
            row[f"spills_to_{when}"] = None if run is None else _text(run["spills_to"])
        if old is not None:
            level = float(old["spill_level_m"])
            row["ground_then_m3"] = _room(ground_then, cells, level, pair.grid)
            row["ground_now_m3"] = _room(ground_now, cells, level, pair.grid)
            row["ground_error_m3"] = _room_error(pair, int(cells.sum()))
        flags_then = _flags(old)
        flags_now = _flags(new)
        row["new_flags"] = ";".join(flag for flag in flags_now if flag not in flags_then) or None
        if row["status"] == "kept" and not _same_design(row):
            row["status"] = "changed"
        yield row, one.geometry


def _level(row: Any, column: str) -> float | None:  # noqa: ANN401 - a row of a layer, or none
    return float(row[column]) if row is not None and column else None


def _explained(old: Any, new: Any) -> str | None:  # noqa: ANN401 - rows of a layer
    columns = ("area_low_m2", "area_high_m2")
    if any(name not in row or pd.isna(row[name]) for name in columns for row in (old, new)):
        return None
    overlap = old[columns[0]] <= new[columns[1]] and new[columns[0]] <= old[columns[1]]
    return "yes" if overlap else "no"


def _same_design(row: dict[str, Any]) -> bool:
    then, now = row["storage_then_m3"], row["storage_now_m3"]
    return (
        abs(now - then) <= _SAME_STORAGE_PCT / 100 * max(then, 1.0)
        and abs(row["spill_level_now_m"] - row["spill_level_then_m"]) <= _SAME_LEVEL_M
        and row["spills_to_then"] == row["spills_to_now"]
        and row["new_flags"] is None
    )


def _room(ground: Elevation, cells: Any, level_m: float, grid: Grid) -> float:  # noqa: ANN401
    depth = level_m - ground[cells].astype(np.float64)
    return float(np.nansum(np.clip(depth, 0.0, None))) * grid.cell_area_m2


def _room_error(pair: Pair, cells: int) -> float:
    """Uncertainty of a difference of volumes over an outline: random and systematic parts."""
    area = cells * pair.grid.cell_area_m2
    ratio = mean_error_ratio(area, pair.correlation_m, pair.grid.cell_m)
    t = pair.change.detection_m / pair.change.sigma_m if pair.change.sigma_m else 0.0
    return area * t * math.hypot(pair.change.sigma_m * ratio, pair.change.shift.error_m)


def _footprint(row: Any) -> Any:  # noqa: ANN401 - a row of a layer, a shape
    """Return the outline of an element; a line is as wide as its footprint says."""
    shape = row.geometry
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    length = shape.length
    width = float(row["footprint_m2"]) / length if length > 0 else 1.0
    return shape.buffer(max(width, 0.1) / 2, cap_style="flat" if length > 0 else "round")


def _by_key(frame: GeoDataFrame | None, id_column: str) -> dict[Any, Any]:
    """Rows by name where every row has one of its own, otherwise by number."""
    if frame is None:
        return {}
    names = frame["name"]
    named = names.notna().all() and names.is_unique
    return {row["name"] if named else row[id_column]: row for _, row in frame.iterrows()}


def _by_id(frame: GeoDataFrame | None, id_column: str) -> dict[Any, Any]:
    return {} if frame is None else {row[id_column]: row for _, row in frame.iterrows()}


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _flags(row: Any) -> tuple[str, ...]:  # noqa: ANN401 - a row of a layer, or none
    text = None if row is None else _text(row["flag"])
    return tuple(text.split(";")) if text else ()
