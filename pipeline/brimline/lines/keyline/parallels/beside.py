"""All parallels to a guide: the fast way where it holds, the other one where it does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from brimline.lines.keyline.parallels.easing import eased_points
from brimline.lines.keyline.parallels.outlines import checked, parallel, tractor_way
from brimline.lines.keyline.parallels.strands import STEP_M, guide_of, strands

if TYPE_CHECKING:
    from collections.abc import Sequence

_PLAIN_M = 0.005

Lines = tuple[shapely.LineString, ...]


def parallels(
    guide: shapely.LineString, offset_m: float, *, turning_radius_m: float
) -> tuple[Lines, Lines]:
    """Draw the parallels to the left and to the right of a guide, directed as the guide.

    Where the guide bends so much towards a line that an exact parallel would turn tighter than
    the radius, or cross itself, the turn is rounded to the radius; everywhere else the distance is
    exact. Lines closer to the guide than the radius round its own sharp bends likewise, and leave
    off where that would take them across half the way to it.

    Parameters
    ----------
    guide : without self-crossings.
    offset_m : distance to either side [m].
    turning_radius_m : tightest turn; 0 rounds nothing [m].

    Returns
    -------
    To each side usually one line; none where the guide leaves no room, several where it closes in
    on itself. Each is simple, its points as dense as its bends need.

    Raises
    ------
    ValueError
        If the radius is negative, the distance not above 0, or the guide is empty or crosses
        itself.
    """
    checked(guide, turning_radius_m)
    if not offset_m > 0:
        raise ValueError(f"offset_m must be above 0 m, got {offset_m}")
    (both,) = _drawn(guide, [offset_m], turning_radius_m)
    return both


def family(
    line: shapely.LineString, offsets_m: Sequence[float], *, turning_radius_m: float
) -> list[tuple[Lines, Lines]]:
    """Draw `parallels` at several distances to a line, the corners of its vertices taken off.

    Raises
    ------
    ValueError
        As `parallels`.
    """
    xy = eased_points(line, turning_radius_m, STEP_M)
    guide = line if xy is None else shapely.LineString(xy)
    if not guide.is_simple:
        guide = line
    checked(guide, turning_radius_m)
    return _drawn(guide, offsets_m, turning_radius_m)


def _drawn(
    guide: shapely.LineString, offsets_m: Sequence[float], turning_radius_m: float
) -> list[tuple[Lines, Lines]]:
    signed = [side * offset_m for offset_m in offsets_m for side in (1, -1)]
    if guide.is_ring:
        found = [parallel(guide, one, turning_radius_m=turning_radius_m) for one in signed]
    elif signed:
        xy, most_m = shapely.get_coordinates(guide), max(offsets_m)
        ready = guide_of(xy, most_m=most_m, turning_radius_m=turning_radius_m)
        drawn = strands(ready, signed, turning_radius_m=turning_radius_m)
        plain = shapely.simplify(guide, _PLAIN_M)  # as far as offset curves are true to it
        found = [
            tractor_way(plain, one, turning_radius_m) if lines is None else tuple(lines)
            for one, lines in zip(signed, drawn, strict=True)
        ]
    else:
        found = []
    return list(zip(found[::2], found[1::2], strict=True))
