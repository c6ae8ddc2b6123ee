"""All parallels to a guide line, drawn from its frames: places and the directions aside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.keyline.parallels import _kernels
from brimline.lines.keyline.parallels.outlines import DRAWN_M, arc_step
from brimline.lines.plane import boxes_of
from brimline.lines.sample import chainage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

STEP_M = 0.5  # longest way from vertex to vertex of a guide
_ABOUT_M = 1.5  # so near along a guide its vertices do not bound each other's reach
_TURN = 0.02  # rad; a vertex that turns by more has several frames
_NEAR_M = 1.0  # two sides of a turn meet within this


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """Frames of a guide to one side.

    Parameters
    ----------
    foot, aside : int64 (frames,) and float64 (frames, 2), vertex and direction of each.
    towards_m, out_by : float64 and int64 (frames,), how far it is the nearest, to its side [m],
        and the vertex that bounds that.
    away_m, in_by : the same away from the side.
    """

    foot: NDArray[np.int64]
    aside: NDArray[np.float64]
    towards_m: NDArray[np.float64]
    out_by: NDArray[np.int64]
    away_m: NDArray[np.float64]
    in_by: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Guide:
    """A guide line, made ready for all lines beside it.

    Parameters
    ----------
    xy : float64 (vertices, 2) [m].
    box : float64 (blocks, 4), bounds of each block of vertices [m].
    about : int64 (vertices, 2), first and last vertex too near to bound its reach.
    left, right : its frames.
    """

    xy: NDArray[np.float64]
    box: NDArray[np.float64]
    about: NDArray[np.int64]
    left: Side
    right: Side


def guide_of(xy: NDArray[np.float64], *, most_m: float, turning_radius_m: float) -> Guide:
    """Make a guide ready.

    Parameters
    ----------
    xy : float64 (vertices, 2); at least two, none repeated [m].
    most_m : largest distance of lines to be drawn [m].
    turning_radius_m : their tightest turn [m].
    """
    dense = shapely.get_coordinates(shapely.segmentize(shapely.LineString(xy), STEP_M))
    box, about = (
        boxes_of(dense),
        _kernels.windows(chainage(dense, np.zeros(len(dense), dtype=np.int64)), _ABOUT_M),
    )
    sides = []
    for side in (1.0, -1.0):
        foot, aside = _kernels.frames(dense, side, _TURN)
        far = most_m + turning_radius_m + 1.0  # more than lines ask for, where no vertex bounds it
        towards_m, out_by = _kernels.reaches(dense, box, about, foot, aside, 1.0, far)
        near = turning_radius_m + 1.0
        away_m, in_by = _kernels.reaches(dense, box, about, foot, aside, -1.0, near)
        sides.append(Side(foot, aside, towards_m, out_by, away_m, in_by))
    return Guide(dense, box, about, *sides)


def strands(
    guide: Guide, offsets_m: Sequence[float], *, turning_radius_m: float
) -> list[NDArray[Any] | None]:
    """Draw the lines at distances to the left of a guide, directed as it.

    Parameters
    ----------
    offsets_m : distances to the left; negative to the right [m].
    turning_radius_m : tightest turn [m].

    Returns
    -------
    For each distance (lines,) LineStrings, each simple; None where the two sides of a turn do not
    meet, as happens beside bends that are much tighter than the radius.
    """
    points, sizes, of = [], [], []
    sound = np.ones(len(offsets_m), dtype=np.bool_)
    for number, offset_m in enumerate(offsets_m):
        side = guide.left if offset_m > 0 else guide.right
        xy, starts, sound[number] = _kernels.strands(
            guide.xy, guide.box, guide.about, side.foot, side.aside, float(np.sign(offset_m)),
            abs(offset_m), turning_radius_m, side.towards_m, side.out_by, side.away_m, side.in_by,
            arc_step(turning_radius_m), _NEAR_M, DRAWN_M,
        )  # fmt: skip
        points.append(xy)
        sizes.append(np.diff(starts))
        of.append(np.full(len(starts) - 1, number))
    source = np.concatenate(of)
    index = np.repeat(np.arange(len(source)), np.concatenate(sizes))
    drawn = np.concatenate(points)
    # one call for all of them: most of the time of a short line is its being called for
    lines = np.asarray(shapely.linestrings(drawn, indices=index), dtype=object)
    sound[source[~shapely.is_simple(lines)]] = False
    away_m = np.abs(offsets_m)[source[index]]
    far = away_m >= turning_radius_m  # nearer lines round the guide's own bends
    wrong = _kernels.astray(guide.xy, guide.box, drawn[far], away_m[far])
    sound[source[index[far][wrong]]] = False
    return [lines[source == n] if good else None for n, good in enumerate(sound)]
