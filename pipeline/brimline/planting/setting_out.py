"""Where plants stand: areas filled, lines followed, guilds round their centre."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

Pattern = Literal["square", "triangular"]
_ROOT_3_2 = math.sqrt(3) / 2
_HAIR_M = 1e-6  # so that a plant on the very edge does not hang on rounding


def filled(
    area: BaseGeometry,
    spacing_m: float,
    *,
    pattern: Pattern = "triangular",
    row_spacing_m: float | None = None,
    bearing_deg: float | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Fill an area with plants in straight rows, the outermost half a spacing from its edge.

    Parameters
    ----------
    area : polygon or polygons; what is to be kept clear of is cut out of it before.
    spacing_m : between plants of a row [m].
    pattern : square puts plants beside each other, triangular between those of the row before.
    row_spacing_m : between rows [m]; left out: the spacing, or √3/2 of it in triangles, so that
        all neighbours are equally far.
    bearing_deg : of the rows [°]; left out: along the longer side of the area.

    Returns
    -------
    float64 (plants, 2) map coordinates, and the row of each from 0, row by row.

    Raises
    ------
    ValueError
        If a spacing is not above 0.
    """
    gap_m = row_spacing_m or spacing_m * (_ROOT_3_2 if pattern == "triangular" else 1.0)
    if not (spacing_m > 0 and gap_m > 0):
        raise ValueError(f"spacings must be above 0 m, got {spacing_m} and {gap_m}")
    if area.is_empty:
        return np.empty((0, 2)), np.empty(0, dtype=np.int64)
    turn = math.radians(90 - (longer_side_deg(area) if bearing_deg is None else bearing_deg))
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    corners = shapely.get_coordinates(area)
    low_u, high_u = _ends(corners @ along)
    low_v, high_v = _ends(corners @ across)
    places, rows = [], []
    for row, v in enumerate(np.arange(low_v + gap_m / 2, high_v + _HAIR_M, gap_m)):
        shift = spacing_m / 2 if pattern == "triangular" and row % 2 else 0.0
        u = np.arange(low_u + spacing_m / 2 - shift, high_u + _HAIR_M, spacing_m)
        places.append(u[:, None] * along + v * across)
        rows.append(np.full(len(u), row))
    every, row_of = np.concatenate(places), np.concatenate(rows)
    inside = shapely.intersects_xy(shapely.buffer(area, _HAIR_M), every[:, 0], every[:, 1])
    return every[inside], row_of[inside]


def along_line(
    line: BaseGeometry, spacing_m: float, *, offset_m: float = 0.0
) -> NDArray[np.float64]:
    """Set plants out along a line, what is left over shared between its ends.

    Parameters
    ----------
    line : LineString or MultiLineString; each part begins anew.
    offset_m : to the left of the line as it is drawn, negative to the right [m].

    Returns
    -------
    float64 (plants, 2): floor(length / spacing) + 1 on each part.

    Raises
    ------
    ValueError
        If the spacing is not above 0.
    """
    if not spacing_m > 0:
        raise ValueError(f"spacing must be above 0 m, got {spacing_m}")
    beside = shapely.offset_curve(line, offset_m) if offset_m else line
    found = []
    for part in shapely.get_parts(beside):
        count = int(part.length / spacing_m + _HAIR_M) + 1
        first = (part.length - (count - 1) * spacing_m) / 2
        points = shapely.line_interpolate_point(part, first + spacing_m * np.arange(count))
        found.append(shapely.get_coordinates(points))
    return np.concatenate(found) if found else np.empty((0, 2))


def round_centre(centre: Sequence[float], count: int, radius_m: float) -> NDArray[np.float64]:
    """Set companions out evenly round a centre, the first to the north, clockwise."""
    turn = 2 * math.pi * np.arange(count) / max(count, 1)
    return np.asarray(centre) + radius_m * np.column_stack([np.sin(turn), np.cos(turn)])


def longer_side_deg(area: BaseGeometry) -> float:
    """Bearing of the longer side of the smallest rectangle round a shape, 0 to below 180 [°]."""
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(area))[:3]
    if len(ring) < 3:
        return 90.0
    sides = np.diff(ring, axis=0)
    east, north = sides[int(np.argmax(np.round(np.hypot(*sides.T), 6)))]
    return float(np.degrees(math.atan2(east, north)) % 180.0)


def _ends(values: NDArray[np.float64]) -> tuple[float, float]:
    return float(values.min()), float(values.max())
