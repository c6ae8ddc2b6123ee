"""How far lines of one survey lie from those of another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Status = Literal["kept", "moved", "gone", "new"]

_STEP_M: Final = 1.0
_MOST_POINTS: Final = 2000


@dataclass(frozen=True, slots=True)
class Moved:
    """An old line and the new one that stands for it.

    Parameters
    ----------
    then, now : places in the two lists; None where a line is new, or gone.
    mean_m, most_m : distance from the old line to the nearest new ones [m]; NaN where gone or new.
        The greatest is the Hausdorff distance from the old line to the new ones.
    near_pct : share of the old line within `tolerance_m` of a new one [%].
    """

    then: int | None
    now: int | None
    status: Status
    mean_m: float
    most_m: float
    near_pct: float


def points_along(line: shapely.LineString, step_m: float = _STEP_M) -> NDArray[np.float64]:
    """Return points at even steps along a line, both ends included, float64 (points, 2) [m]."""
    count = int(np.clip(np.ceil(line.length / step_m) + 1, 2, _MOST_POINTS))
    places = np.linspace(0.0, 1.0, count)
    points = shapely.line_interpolate_point(line, places, normalized=True)
    found: NDArray[np.float64] = shapely.get_coordinates(points)
    return found


def moved(
    then: Sequence[shapely.LineString],
    now: Sequence[shapely.LineString],
    *,
    tolerance_m: float,
    reach_m: float,
) -> list[Moved]:
    """Match lines of two runs by where they run, and tell how far each has moved.

    Numbers of lines change from run to run, so each point of an old line is held against the
    nearest new line; the new line that is nearest to most of it stands for it. New lines that
    stand for none follow at the end.

    Parameters
    ----------
    tolerance_m : mean distance up to which a line counts as kept [m].
    reach_m : mean distance from which no new line stands for it any more [m].

    Raises
    ------
    ValueError
        If the distances are not 0 < tolerance_m <= reach_m.
    """
    if not 0 < tolerance_m <= reach_m:
        raise ValueError(
            f"a line needs 0 < tolerance_m <= reach_m, got {tolerance_m} m and {reach_m} m"
        )
    tree = shapely.STRtree(list(now))
    found = [_one(place, line, tree, tolerance_m, reach_m) for place, line in enumerate(then)]
    taken = {one.now for one in found}
    found += [
        Moved(None, place, "new", np.nan, np.nan, 0.0)
        for place in range(len(now))
        if place not in taken
    ]
    return found


def _one(
    place: int, line: shapely.LineString, tree: shapely.STRtree, tolerance_m: float, reach_m: float
) -> Moved:
    if len(tree.geometries) == 0:
        return Moved(place, None, "gone", np.nan, np.nan, 0.0)
    points = shapely.points(points_along(line))
    (asked, nearest), distance = tree.query_nearest(points, return_distance=True, all_matches=False)
    order = np.argsort(asked, kind="stable")
    nearest, distance = nearest[order], distance[order]
    mean = float(distance.mean())
    near = 100.0 * float((distance <= tolerance_m).mean())
    if mean > reach_m:
        return Moved(place, None, "gone", np.nan, np.nan, near)
    stands = int(np.bincount(nearest).argmax())
    status: Status = "kept" if mean <= tolerance_m else "moved"
    return Moved(place, stands, status, mean, float(distance.max()), near)
