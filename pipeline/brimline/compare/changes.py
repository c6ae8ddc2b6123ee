"""What became of the ground and of each intake, line and element between two runs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.grid.shapes import cells_inside, outlines
from brimline.lines.moved import moved, points_along
from brimline.terrain.change import mean_error_ratio

if TYPE_CHECKING:
    from collections.abc import Iterator

    import shapely

    from brimline.compare.runs import RunElement, RunIntake, RunLine, SiteRun
    from brimline.grid import Elevation, Grid
    from brimline.terrain.change import SurfaceChange

# layers of lines that are compared
LINES: Final = ("swale_lines", "drain_lines", "keylines", "cultivation_lines")
_SAME_AREA_PCT: Final = 1.0
_SAME_STORAGE_PCT: Final = 1.0
_SAME_LEVEL_M: Final = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class RunPair:
    """Two runs on the old one's grid, and what changed on the ground between them."""

    then: SiteRun
    now: SiteRun
    grid: Grid
    change: SurfaceChange
    correlation_m: float

    @property
    def now_m(self) -> Elevation:
        """New ground, what lies on everything alike taken off."""
        return self.then.elevation_m + self.change.change_m

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


@dataclass(frozen=True, slots=True)
class AreaChange:
    """A patch of changed ground: its fields are the columns of `change_areas`."""

    area_id: int
    kind: str
    area_m2: float
    volume_m3: float
    volume_error_m3: float
    mean_m: float
    greatest_m: float
    shape: shapely.Geometry


@dataclass(frozen=True, slots=True)
class IntakeChange:
    """What became of an intake: its fields are the columns of `intake_changes`."""

    name: str
    intake_id: int
    status: str
    area_then_m2: float | None
    area_now_m2: float | None
    change_m2: float | None
    change_pct: float | None
    moved_m: float | None
    explained: str
    shape: shapely.Geometry


@dataclass(frozen=True, slots=True)
class LineChange:
    """What became of a line: its fields are the columns of `line_changes`."""

    layer: str
    line_id: str
    now_id: str
    status: str
    level_then_m: float | None
    level_now_m: float | None
    mean_m: float
    most_m: float
    near_pct: float
    changed_m: float
    least_change_m: float
    greatest_change_m: float
    shape: shapely.Geometry


@dataclass(frozen=True, slots=True)
class ElementChange:
    """What became of an element: its fields are the columns of `element_changes`."""

    element_id: str
    kind: str
    status: str
    storage_then_m3: float | None
    storage_now_m3: float | None
    spill_level_then_m: float | None
    spill_level_now_m: float | None
    spills_to_then: str
    spills_to_now: str
    ground_then_m3: float | None
    ground_now_m3: float | None
    ground_error_m3: float | None
    changed_m2: float
    new_flags: tuple[str, ...]
    gone_flags: tuple[str, ...]
    shape: shapely.Geometry


def area_changes(pair: RunPair) -> Iterator[AreaChange]:
    """Tell each patch of changed ground, with its outline."""
    change = pair.change
    shapes = outlines(change.patches, pair.grid)
    inside = change.patches > 0
    labels, values = change.patches[inside], change.change_m[inside]
    order = np.argsort(labels, kind="stable")
    starts = np.searchsorted(labels[order], np.arange(1, len(change.by_patch) + 2))
    for number, volume in enumerate(change.by_patch, start=1):
        part = values[order][starts[number - 1] : starts[number]]
        yield AreaChange(
            number, "cut" if part[0] < 0 else "fill", volume.area_m2, volume.volume_m3,
            volume.error_m3, float(part.mean()), float(part[np.abs(part).argmax()]),
            shapes[number],
        )  # fmt: skip


def intake_changes(pair: RunPair) -> Iterator[IntakeChange]:
    """Tell each intake of either run, matched by name, or by number without one."""
    then, now = _by_key(pair.then.intakes), _by_key(pair.now.intakes)
    for key in [*then, *(key for key in now if key not in then)]:
        old, new = then.get(key), now.get(key)
        one = old or now[key]
        row = IntakeChange(
            one.name, one.intake_id, "gone" if new is None else "new",
            old.area_m2 if old else None, new.area_m2 if new else None, None, None, None, "",
            one.shape,
        )  # fmt: skip
        if old and new:
            more = new.area_m2 - old.area_m2
            same = abs(more) <= max(_SAME_AREA_PCT / 100 * old.area_m2, pair.grid.cell_area_m2)
            row = replace(
                row,
                status="kept" if same else "changed",
                change_m2=more,
                change_pct=100.0 * more / old.area_m2 if old.area_m2 > 0 else math.nan,
                moved_m=float(old.shape.distance(new.shape)),
                explained=_explained(old, new),
            )
        yield row


def line_changes(pair: RunPair) -> Iterator[LineChange]:
    """Tell each line of either run, matched by where it runs."""
    for layer in sorted(pair.then.line_layers & pair.now.line_layers, key=LINES.index):
        then, now = (
            [one for one in run.lines if one.layer == layer] for run in (pair.then, pair.now)
        )
        for one in moved(
            [line.shape for line in then], [line.shape for line in now],
            tolerance_m=max(1.0, pair.grid.cell_m), reach_m=max(10.0, 4 * pair.grid.cell_m),
        ):  # fmt: skip
            old: RunLine | None = None if one.then is None else then[one.then]
            new: RunLine | None = None if one.now is None else now[one.now]
            row = old or new
            if row is None:
                continue
            under = pair.under(row.shape)
            step = row.shape.length / max(len(under) - 1, 1)
            yield LineChange(
                layer, row.line_id, new.line_id if old and new else "", one.status,
                old.level_m if old else None, new.level_m if new else None,
                one.mean_m, one.most_m, one.near_pct,
                min(float((under != 0).sum()) * step, row.shape.length),
                float(under.min()), float(under.max()), row.shape,
            )  # fmt: skip


def element_changes(pair: RunPair) -> Iterator[ElementChange]:
    """Tell each element of either run, matched by its id."""
    then, now = ({one.element_id: one for one in run.elements} for run in (pair.then, pair.now))
    ground_then, ground_now = pair.then.elevation_m, pair.now_m
    for key in [*then, *(key for key in now if key not in then)]:
        old, new = then.get(key), now.get(key)
        one = old or now[key]
        cells = cells_inside([one.outline], pair.grid)
        level = old.spill_level_m if old else math.nan
        flags_then, flags_now = (run.flags if run else () for run in (old, new))
        row = ElementChange(
            key, one.kind, "gone" if new is None else "new" if old is None else "kept",
            old.storage_m3 if old else None, new.storage_m3 if new else None,
            old.spill_level_m if old else None, new.spill_level_m if new else None,
            old.spills_to if old else "", new.spills_to if new else "",
            _room(ground_then, cells, level, pair.grid) if old else None,
            _room(ground_now, cells, level, pair.grid) if old else None,
            _room_error(pair, int(cells.sum())) if old else None,
            float((cells & (pair.change.patches > 0)).sum()) * pair.grid.cell_area_m2,
            tuple(flag for flag in flags_now if flag not in flags_then),
            tuple(flag for flag in flags_then if flag not in flags_now) if new else (),
            one.shape,
        )  # fmt: skip
        if old and new and not _same_design(old, new):
            row = replace(row, status="changed")
        yield row


def _explained(old: RunIntake, new: RunIntake) -> str:
    low, high = (old.area_low_m2, new.area_low_m2), (old.area_high_m2, new.area_high_m2)
    if None in low or None in high:
        return ""
    lows, highs = [float(one or 0) for one in low], [float(one or 0) for one in high]
    return "yes" if max(lows) <= min(highs) else "no"


def _same_design(old: RunElement, new: RunElement) -> bool:
    more = abs(new.storage_m3 - old.storage_m3)
    return (
        more <= _SAME_STORAGE_PCT / 100 * max(old.storage_m3, 1.0)
        and abs(new.spill_level_m - old.spill_level_m) <= _SAME_LEVEL_M
        and old.spills_to == new.spills_to
        and set(old.flags) == set(new.flags)
    )


def _room(ground: Elevation, cells: Any, level_m: float, grid: Grid) -> float:  # noqa: ANN401
    depth = level_m - ground[cells].astype(np.float64)
    return float(np.nansum(np.clip(depth, 0.0, None))) * grid.cell_area_m2


def _room_error(pair: RunPair, cells: int) -> float:
    """Uncertainty of a difference of volumes over an outline: random and systematic parts."""
    area = cells * pair.grid.cell_area_m2
    ratio = mean_error_ratio(area, pair.correlation_m, pair.grid.cell_m)
    t = pair.change.detection_m / pair.change.sigma_m if pair.change.sigma_m else 0.0
    return area * t * math.hypot(pair.change.sigma_m * ratio, pair.change.shift.error_m)


def _by_key(rows: tuple[RunIntake, ...]) -> dict[str | int, RunIntake]:
    """Rows by name where every row has one of its own, otherwise by number."""
    names = [row.name for row in rows]
    named = all(names) and len(set(names)) == len(names)
    return {row.name if named else row.intake_id: row for row in rows}
