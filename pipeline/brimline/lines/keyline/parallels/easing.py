"""Taking the corners of its vertices off a guide line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.relief.courses import chainage, smoothed_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

_STEP_M = 1.0
_DRAWN_M = 0.005  # largest departure of an eased guide from its smooth curve


def eased(guide: shapely.LineString, turning_radius_m: float) -> shapely.LineString:
    """Take the corners of its vertices off a drawn guide, which parallels would repeat.

    Bends much shorter than the turning radius go; longer ones, and the ends, stay where they are.
    """
    xy = eased_points(guide, turning_radius_m, _STEP_M)
    if xy is None:
        return guide
    line = shapely.LineString(xy).simplify(_DRAWN_M)
    return line if line.is_simple else guide


def eased_points(
    guide: shapely.LineString, turning_radius_m: float, step_m: float
) -> NDArray[np.float64] | None:
    """Points of the eased guide at even steps of about `step_m`; None where it is too short."""
    if turning_radius_m == 0 or guide.length < turning_radius_m:
        return None
    count = int(np.ceil(guide.length / step_m)) + 1
    vertices = shapely.get_coordinates(guide)
    along = chainage(vertices)
    at = np.linspace(0.0, along[-1], count)
    xy = np.column_stack([np.interp(at, along, vertices[:, k]) for k in (0, 1)])
    sigma = 0.5 * turning_radius_m / (along[-1] / (count - 1))
    once = smoothed_along(xy, sigma)
    # smoothing draws a curve inwards; what it took is smoothed and given back
    smooth: NDArray[np.float64] = once + smoothed_along(xy - once, sigma)
    return smooth
