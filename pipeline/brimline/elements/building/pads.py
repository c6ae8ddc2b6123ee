"""Areas brought to a plane: terraces, yards, raised or resurfaced beds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

from brimline.terrain.shaping import Pad

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.terrain.shaping import LevelsAt

_SAMPLES: Final = 400  # of the ground, for its mean plane
_LEAST_SAMPLES: Final = 4


class Plane(NamedTuple):
    """A plane: level at the middle of an outline [m], and its rise eastwards and northwards."""

    level_m: float
    east: float
    north: float

    @property
    def fall_pct(self) -> float:
        """How steeply it falls [%]."""
        return 100 * math.hypot(self.east, self.north)

    @property
    def falls_to_deg(self) -> float:
        """Where it falls to, clockwise from north; 0 where it is level."""
        if self.fall_pct == 0:
            return 0.0
        return math.degrees(math.atan2(-self.east, -self.north)) % 360


def plane_of_ground(outline: shapely.Polygon, ground: LevelsAt) -> Plane:
    """Fit the plane that lies nearest to the ground inside an outline, by least squares.

    It cuts as much as it fills, at the points that it is fitted to.

    Raises
    ------
    ValueError
        If the ground is not known at enough points inside.
    """
    x, y = grid_inside(outline, math.sqrt(outline.area / _SAMPLES))
    levels = ground(x, y)
    known = np.isfinite(levels)
    if known.sum() < _LEAST_SAMPLES:
        raise ValueError("the ground inside its outline is not known")
    middle = outline.centroid
    terms = np.column_stack([np.ones(known.sum()), x[known] - middle.x, y[known] - middle.y])
    (level, east, north), *_ = np.linalg.lstsq(terms, levels[known], rcond=None)
    return Plane(float(level), float(east), float(north))


def pad_of(
    element_id: str,
    outline: shapely.Polygon,
    ground: LevelsAt,
    *,
    level_m: float = math.nan,
    fall_pct: float = math.nan,
    falls_to_deg: float = math.nan,
    side: float = math.nan,
    only: str = "",
) -> tuple[Pad, Plane]:
    """Work out a pad from what was drawn; what is NaN is designed.

    Parameters
    ----------
    level_m : at the outline's middle; designed, the mean of the ground [m].
    fall_pct : of the plane; designed, level [%].
    falls_to_deg : compass bearing that it falls to; designed, that of the ground [°].
    side : batter around it; designed, 2.
    only : "dig" leaves lower ground as it is, "heap" leaves higher ground.

    Raises
    ------
    ValueError
        If the ground inside is not known, or a size is out of range.
    """
    if only not in ("", "dig", "heap"):
        raise ValueError(f"only must be empty, dig or heap, got {only!r}")
    nearest = plane_of_ground(outline, ground)
    fall = 0.0 if math.isnan(fall_pct) else fall_pct / 100
    bearing = math.radians(nearest.falls_to_deg if math.isnan(falls_to_deg) else falls_to_deg)
    plane = Plane(
        nearest.level_m if math.isnan(level_m) else level_m,
        -fall * math.sin(bearing),
        -fall * math.cos(bearing),
    )
    batter = 2.0 if math.isnan(side) else side
    pad = Pad(
        element_id, outline, *plane, cut=batter, fill=batter,
        digs=only != "heap", heaps=only != "dig",
    )  # fmt: skip
    return pad, plane


def grid_inside(
    outline: shapely.Polygon, step_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points on a square grid inside an outline."""
    west, south, east, north = outline.bounds
    half = step_m / 2
    columns, rows = np.arange(west + half, east, step_m), np.arange(south + half, north, step_m)
    x, y = (part.ravel() for part in np.meshgrid(columns, rows))
    inside = shapely.contains_xy(outline, x, y)
    return x[inside], y[inside]
