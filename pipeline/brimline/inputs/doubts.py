"""What can be read but cannot be meant: drawn rows held against the ground under them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.errors import InputError, Problem, Severity, shown
from brimline.io.coverage import ground_under
from brimline.units import FOOT_M, counted

if TYPE_CHECKING:
    from collections.abc import Collection

    from geopandas import GeoDataFrame

    from brimline.config import Works
    from brimline.grid import Elevation, Grid
    from brimline.io.coverage import Under
    from brimline.rainfall import RunStorms

_LEVELS: Final = (
    "level_m", "spill_level_m", "crest_level_m", "base_level_m", "from_level_m", "to_level_m",
    "dip_level_m",
)  # fmt: skip
_NEEDS_GROUND: Final = ("drawn_swales", "guide_lines", "drawn_keypoints")  # nothing works without
_MAPS: Final = ("surfaces", "soils", "keep_out", "culverts", "walls", "notes")  # may go on beyond
_LEAST_MARGIN_M: Final = 10.0  # banks, masts and tanks on stands are lower
_PARTLY: Final = 0.02
_RISES_M: Final = 0.1
_LEAST_M2: Final = 0.1
_BENCHMARK_MARGIN_M: Final = 100.0
_MOST_CONTOURS: Final = 5000
_NAMED: Final = 5


def ground_doubts(
    rows: GeoDataFrame, layer: str, elevation: Elevation, grid: Grid, source: str
) -> list[Problem]:
    """Hold the rows of a drawn layer against the elevation.

    Parameters
    ----------
    layer : its name in the catalogue.
    elevation : float32 (rows, cols) [m]; NaN is nodata.
    """
    if rows.empty:
        return []
    shapes = rows.geometry.to_numpy()
    under = ground_under(shapes, elevation, grid)
    names = [_called(rows, at) for at in range(len(rows))]
    lost = under.void_share == 1
    found = _off(names, lost, under.void_share, layer, source)
    for column in _LEVELS:
        if column in rows:
            levels = rows[column].to_numpy(dtype=np.float64)
            found += _levels(names, levels, column, under, source)
    if layer == "drawn_drains":
        open_fall = np.isnan(rows["fall_pct"].to_numpy(dtype=np.float64))
        found += _rising(names, shapes, ~lost & open_fall, elevation, grid, source)
    if layer == "guide_lines":
        found += [
            Problem(Severity.ERROR, "a guide line crosses itself", "draw it anew.", source, name)
            for name, shape in zip(names, shapes, strict=True)
            if not shape.is_simple
        ]
    areas = shapely.area(shapes)
    found += [
        Problem(
            Severity.WARNING,
            f"covers only {areas[at]:.2g} m²",
            "draw it larger, or take it out.",
            source,
            names[at],
        )
        for at in np.flatnonzero((areas > 0) & (areas < _LEAST_M2)).tolist()[:_NAMED]
    ]
    return found


def benchmark_doubt(level_m: float | None, elevation: Elevation) -> list[Problem]:
    """Say where the benchmark's level cannot be in the survey's datum."""
    if level_m is None:
        return []
    low, high = float(np.nanmin(elevation)), float(np.nanmax(elevation))
    if low - _BENCHMARK_MARGIN_M <= level_m <= high + _BENCHMARK_MARGIN_M:
        return []
    return [
        Problem(
            Severity.WARNING,
            f"benchmark_level_m is {level_m:g} m where the ground lies at {low:.1f} to"
            f" {high:.1f} m",
            "give it in the survey's datum and in metres; rods read by it are wrong otherwise.",
            "configuration",
            "stakes.benchmark_level_m",
        )
    ]


def refuse_countless_contours(interval_m: float, elevation: Elevation) -> None:
    """Refuse an interval that draws more contours than anybody can read.

    Raises
    ------
    InputError
        With the least interval that goes.
    """
    relief_m = float(np.nanmax(elevation) - np.nanmin(elevation))
    if relief_m > _MOST_CONTOURS * interval_m:
        raise InputError.of(
            f"interval_m is {interval_m:g} m on ground that rises {relief_m:.0f} m:"
            f" {relief_m / interval_m:.0f} contours, {_MOST_CONTOURS} at most",
            mend=f"set it to {relief_m / _MOST_CONTOURS:.2g} or more.",
            source="configuration",
            place="contours.interval_m",
        )


def unknown_storm(works: Works, asked: RunStorms) -> list[Problem]:
    """Say where the storm to size for is none of those that are run."""
    names = [one.name for one in asked.routed]
    if not works.goal_storm or works.goal_storm in names:
        return []
    message = f'goal_storm is "{shown(works.goal_storm)}", which is not run: nothing is sized'
    mend = f"name one of {', '.join(names)}."
    return [Problem(Severity.WARNING, message, mend, "configuration", "works.goal_storm")]


def unknown_sizes(works: Works, names: Collection[str]) -> list[Problem]:
    """Say which free dimensions are of nothing drawn."""
    return [
        Problem(
            Severity.WARNING,
            f'"{shown(one.element)}" of works.free is not drawn',
            f"drawn are: {shown(', '.join(names) or 'none')}.",
            "configuration",
            "works.free",
        )
        for one in works.free
        if one.element not in names
    ]


def _called(rows: GeoDataFrame, at: int) -> str:
    name = rows["name"].iloc[at] if "name" in rows else None
    return f'row {at + 1} "{shown(name)}"' if isinstance(name, str) and name else f"row {at + 1}"


def _off(
    names: list[str], lost: np.ndarray, shares: np.ndarray, layer: str, source: str
) -> list[Problem]:
    """Name rows without elevation under them, wholly or in part."""
    found = []
    if lost.any():
        worst = Severity.ERROR if layer in _NEEDS_GROUND else Severity.WARNING
        if layer in _MAPS and not lost.all():
            worst = Severity.NOTICE
        found.append(
            Problem(
                worst,
                f"{counted(int(lost.sum()), 'row lies', 'rows lie')} outside the elevation",
                "move them, correct the layer's reference system, or take them out.",
                source,
                _some(names, lost),
            )
        )
    partly = (shares > _PARTLY) & ~lost
    if partly.any() and layer not in _MAPS:
        found.append(
            Problem(
                Severity.WARNING,
                f"{counted(int(partly.sum()), 'row lies', 'rows lie')} outside the elevation in"
                f" part (up to {100 * shares[partly].max():.0f} %)",
                "draw them on the data, or add the missing elevation.",
                source,
                _some(names, partly),
            )
        )
    return found


def _some(names: list[str], which: np.ndarray) -> str:
    places = np.flatnonzero(which).tolist()
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return ", ".join(names[at] for at in places[:_NAMED]) + more


def _levels(
    names: list[str], levels: np.ndarray, column: str, under: Under, source: str
) -> list[Problem]:
    """Name levels that lie far off the ground under their row, and the likely cause."""
    relief = under.high_m - under.low_m
    margin = np.maximum(_LEAST_MARGIN_M, 2 * relief)
    low, high = under.low_m - margin, under.high_m + margin
    with np.errstate(invalid="ignore"):
        wrong = (levels < low) | (levels > high)
        in_feet = wrong & (levels * FOOT_M >= low) & (levels * FOOT_M <= high)
    return [
        Problem(
            Severity.WARNING,
            f"{column} is {levels[at]:g} m where the ground lies at {under.low_m[at]:.1f} to"
            f" {under.high_m[at]:.1f} m" + ("; it looks like feet" if in_feet[at] else ""),
            f"{levels[at] * FOOT_M:.2f} m is meant, if so." if in_feet[at]
            else "give it in metres, in the elevation's datum.",
            source,
            names[at],
        )
        for at in np.flatnonzero(wrong).tolist()
    ]  # fmt: skip


def _rising(
    names: list[str],
    shapes: np.ndarray,
    which: np.ndarray,
    elevation: Elevation,
    grid: Grid,
    source: str,
) -> list[Problem]:
    """Name drains that are drawn uphill."""
    found = []
    for at in np.flatnonzero(which).tolist():
        ends = shapely.points([shapes[at].coords[0][:2], shapes[at].coords[-1][:2]])
        begin_m, end_m = ground_under(ends, elevation, grid).low_m.tolist()
        if not math.isnan(begin_m + end_m) and end_m - begin_m > _RISES_M:
            found.append(
                Problem(
                    Severity.WARNING,
                    f"is drawn uphill: the ground rises {end_m - begin_m:.2f} m to its end",
                    "turn it round, or fill in fall_pct.",
                    source,
                    names[at],
                )
            )
    return found
