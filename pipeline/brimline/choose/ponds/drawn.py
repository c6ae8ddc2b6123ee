"""A place for a pond as a row of the plan."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import shapely

from brimline.design import DrawnPond, PlanChange
from brimline.elements import Pond

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_TIDY_CELLS_M: Final = 1.5  # corners of cells are taken off the outline
_DEEPEST_M: Final = 6.0
_ROUNDS: Final = 40


def pond_row(name: str, water: BaseGeometry, level_m: float, storage_m3: float) -> PlanChange:
    """Return the row that draws a place as a pond.

    The waterline of a place follows its ground; a drawn pond has even sides. It is drawn with the
    usual sides and as deep as holds what the place holds, so that the next run designs, prices and
    proves it like any other pond.
    """
    outline = _outline(water)
    low, high = 0.0, _DEEPEST_M
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        if middle > 0 and _volume_m3(outline, level_m, middle) < storage_m3:
            low = middle
        else:
            high = middle
    return PlanChange(
        DrawnPond.LAYER,
        f"pond {name}",
        {"spill_level_m": round(level_m, 3), "depth_m": math.ceil(high * 100) / 100},
        outline.wkt,
        added=True,
    )


def _outline(water: BaseGeometry) -> shapely.Polygon:
    """Return the largest part without islands, the corners of cells taken off."""
    parts = shapely.get_parts(water)
    largest = max(parts.tolist(), key=lambda part: part.area)
    whole = shapely.Polygon(largest.exterior)
    tidy = shapely.simplify(whole, _TIDY_CELLS_M)
    return tidy if tidy.geom_type == "Polygon" and tidy.is_valid and tidy.area > 0 else whole


def _volume_m3(outline: shapely.Polygon, level_m: float, depth_m: float) -> float:
    return Pond("", outline, level_m, depth_m).volume_m3
