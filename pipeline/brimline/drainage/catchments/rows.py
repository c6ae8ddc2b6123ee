"""Catchments as rows of plain values, and their shapes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.grid.shapes import outlines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.drainage.catchments.distances import LongestPaths
    from brimline.drainage.catchments.subcatchments import Subcatchments
    from brimline.grid import BoolGrid, Elevation, Grid

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class IntakeGround:
    """The ground of an intake; fields are named as columns of the layer intakes.

    Parameters
    ----------
    edge_sides, missing_tiles : where it leaves the data, and which tiles lie there; empty for none.
    area_low_m2, area_high_m2 : range of its area; NaN where none was worked out [m²].
    """

    area_m2: float
    own_area_m2: float
    downstream_id: int
    edge_limited: bool
    edge_sides: str
    missing_tiles: str
    area_low_m2: float
    area_high_m2: float
    level_m: float

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""
        limited = ("edge-limited",) if self.edge_limited else ()
        off = self.area_m2 < self.area_low_m2 or self.area_m2 > self.area_high_m2
        return (*limited, "outside-range") if off else limited


def intake_grounds(
    found: Subcatchments,
    dem: Elevation,
    grid: Grid,
    *,
    sides: Sequence[str] = (),
    tiles: Sequence[Sequence[str]] = (),
    ranges_m2: Sequence[tuple[float, float]] = (),
) -> list[IntakeGround]:
    """Return the ground of each intake.

    Parameters
    ----------
    dem : float32 (rows, cols) [m].
    sides, tiles, ranges_m2 : one an intake, or nothing where none is known.
    """
    levels, unknown = dem.ravel(), (math.nan, math.nan)
    return [
        IntakeGround(
            float(found.cells[at] * grid.cell_area_m2),
            float(found.own_cells[at] * grid.cell_area_m2),
            int(found.downstream_ids[at]),
            bool(found.edge_limited[at]),
            sides[at] if sides else "",
            ", ".join(tiles[at]) if tiles else "",
            *(ranges_m2[at] if ranges_m2 else unknown),
            float(levels[cell]),
        )
        for at, cell in enumerate(found.intake_cells.tolist())
    ]


def subcatchment_rows(
    found: Subcatchments,
    dem: Elevation,
    slope_pct: NDArray[np.float32],
    inside: BoolGrid,
    longest_m: NDArray[np.float64],
    grid: Grid,
) -> tuple[list[Row], list[shapely.MultiPolygon]]:
    """Make a row of each intake with ground of its own, and its outline.

    Parameters
    ----------
    dem, slope_pct : float32 (rows, cols) [m], [%].
    inside : bool (rows, cols); the site.
    longest_m : float64 (intakes,), longest way to each [m].
    """
    count, own = found.cells.size, found.labels > 0
    place = found.labels[own] - 1
    steep = np.bincount(place, weights=slope_pct[own], minlength=count)
    held = found.gathered(np.bincount(place, weights=inside[own], minlength=count))
    high, low = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(high, place, dem[own])
    np.minimum.at(low, place, dem[own])
    relief = found.gathered(high, np.maximum) - found.gathered(low, np.minimum)
    shapes = outlines(found.labels, grid)
    rows = [
        {
            "intake_id": label,
            "area_m2": found.cells[label - 1] * grid.cell_area_m2,
            "own_area_m2": found.own_cells[label - 1] * grid.cell_area_m2,
            "mean_slope_pct": steep[label - 1] / found.own_cells[label - 1],
            "relief_m": relief[label - 1],
            "longest_path_m": longest_m[label - 1],
            "inside_pct": 100 * held[label - 1] / found.cells[label - 1],
            "edge_limited": bool(found.edge_limited[label - 1]),
        }
        for label in shapes
    ]
    return rows, list(shapes.values())


def longest_rows(
    longest: LongestPaths, dem: Elevation, grid: Grid
) -> tuple[list[Row], list[shapely.LineString]]:
    """Make a row of the longest way to each intake that is longer than a cell, and its line."""
    levels, rows, shapes = dem.ravel(), [], []
    for number, way in enumerate(longest.cells, start=1):
        if way.size < 2:
            continue
        fall_m = max(float(levels[way[0]]) - float(levels[way[-1]]), 0.0)
        length_m = float(longest.length_m[number - 1])
        fall_pct = 100 * fall_m / length_m
        rows.append(
            {"intake_id": number, "length_m": length_m, "fall_m": fall_m, "fall_pct": fall_pct}
        )
        shapes.append(shapely.LineString(np.column_stack(grid.xy(*np.divmod(way, grid.cols)))))
    return rows, shapes
