"""A place for a pond as a row of the plan: a dam along its bank."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.design import DrawnDam, PlanChange

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

_INTO_M: Final = 2.0  # of the slope at both ends, so that water at the crest cannot run round them


def dam_row(
    name: str,
    bank: shapely.LineString,
    water: BaseGeometry,
    level_m: float,
    crest_m: float,
    section: Mapping[str, float],
    spill_side: str = "",
) -> PlanChange:
    """Return the row that draws a place as a dam along the axis of its bank.

    The line is drawn a little into the slope at both ends, and ends where it is to spill.

    Parameters
    ----------
    section : columns `top_m`, `upstream_side` and `downstream_side`.
    spill_side : end past which it can spill, looking downstream: "left", "right" or empty.
    """
    corners = shapely.get_coordinates(bank)
    chord, aside = corners[-1] - corners[0], shapely.get_coordinates(water.centroid)[0]
    aside = aside - corners.mean(axis=0)
    # looking downstream the water lies behind: with it on the line's left, the line ends left
    ends = "left" if chord[0] * aside[1] - chord[1] * aside[0] > 0 else "right"
    if spill_side and spill_side != ends:
        corners = corners[::-1]
    line = shapely.LineString([_out(corners[1], corners[0]), *corners[1:-1], _out(*corners[-2:])])
    values: dict[str, float | str] = {
        "spill_level_m": round(level_m, 3),
        "crest_level_m": round(crest_m, 3),
        **section,
    }
    return PlanChange(DrawnDam.LAYER, f"dam {name}", values, line.wkt, added=True)


def _out(before: np.ndarray, end: np.ndarray) -> np.ndarray:
    step = (end - before) / max(float(np.hypot(*(end - before))), 1e-9)
    found: np.ndarray = end + _INTO_M * step
    return found
