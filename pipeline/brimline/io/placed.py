"""Local grids put on the Earth by points whose place is known in both."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
from pyproj import CRS, Geod, Transformer

from brimline.errors import InputError, Problem, Severity
from brimline.io.crs import PLACED, canonical, is_local, parsed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.config import Terrain
    from brimline.config.tables import KnownPoint

_SKEW_DEG: Final = 45.0  # of the initial line; the rectified grid is turned back from it
_DOUBTFUL: Final = 0.02  # of the distance between points, by which the two places may differ
_WRONG: Final = 0.25
_SOURCE: Final = "configuration, terrain.known_points"


def stated_crs(terrain: Terrain) -> str | None:
    """Return the CRS that the configuration states: a local grid is placed by its known points.

    Raises
    ------
    InputError
        If the known points do not place it.
    """
    if not terrain.known_points:
        return terrain.crs
    if terrain.crs is None or not is_local(parsed(terrain.crs, source="configuration")):
        raise InputError.of(
            'known points place a local grid, and terrain.crs is not "local"',
            mend='set terrain.crs = "local", or take known_points out.',
            source=_SOURCE,
        )
    return placed_crs(terrain.known_points)[0]


def placed_crs(points: Sequence[KnownPoint]) -> tuple[str, float, Problem]:
    """Place a local grid: turned and moved, not stretched, so that its points fit best.

    Returns
    -------
    crs : an oblique Mercator projection around the points, of true scale there, whose axes are
        those of the grid.
    north_deg : true bearing of its upward axis [°].
    told : how well the points fit.

    Raises
    ------
    InputError
        If there are fewer than two places, or their distances in the grid and on the Earth differ
        by more than a quarter.
    """
    own = np.array([(one.easting_m, one.northing_m) for one in points])
    degrees = np.array([(one.longitude_deg, one.latitude_deg) for one in points])
    longitude, latitude = degrees.mean(axis=0)
    # around the points, so that the plane is as true as the ground
    flat = CRS.from_user_input(f"+proj=aeqd +lat_0={latitude} +lon_0={longitude} +datum=WGS84")
    to_flat = Transformer.from_crs("OGC:CRS84", flat, always_xy=True)
    there = np.column_stack(to_flat.transform(*degrees.T.tolist()))
    longest_m, off_m = _distances(points)
    (east, north), there_middle = own.mean(axis=0).tolist(), there.mean(axis=0).tolist()
    one, other = ((xy - xy.mean(axis=0)) @ (1, 1j) for xy in (own, there))
    turn = np.vdot(one, other)  # of the grid against true axes, least squares
    north_deg = -math.degrees(math.atan2(turn.imag, turn.real))
    at = Transformer.from_crs(flat, "OGC:CRS84", always_xy=True).transform(*there_middle)
    crs = CRS.from_user_input(
        f"+proj=omerc +lat_0={at[1]!r} +lonc={at[0]!r} +alpha={_SKEW_DEG}"
        f" +gamma={_SKEW_DEG - north_deg!r} +k=1 +x_0={east!r} +y_0={north!r} +datum=WGS84 +units=m"
    )
    named = CRS.from_json_dict(crs.to_json_dict() | {"name": PLACED})
    doubtful = off_m > _DOUBTFUL * longest_m
    told = Problem(
        Severity.WARNING if doubtful else Severity.NOTICE,
        f"the grid's upward axis bears {north_deg:.1f}°; distances between the known points differ"
        f" by up to {off_m:.2f} m from those on the Earth, which turns the grid by about"
        f" {math.degrees(off_m / longest_m):.1f}°",
        "take the points farther apart, or from a better map." if doubtful else "",
        _SOURCE,
    )
    return canonical(named), north_deg, told


def _distances(points: Sequence[KnownPoint]) -> tuple[float, float]:
    """Longest distance between points, and the most that one differs from that on the Earth [m]."""
    earth, longest_m, off_m = Geod(ellps="WGS84"), 0.0, 0.0
    for one, other in combinations(points, 2):
        here = math.hypot(one.easting_m - other.easting_m, one.northing_m - other.northing_m)
        *_, there = earth.inv(
            one.longitude_deg, one.latitude_deg, other.longitude_deg, other.latitude_deg
        )
        longest_m, off_m = max(longest_m, here), max(off_m, abs(here - there))
    if longest_m < 1.0:
        raise InputError.of(
            "a grid is placed by two points at least, some way apart",
            mend="name a second one at the other end of the site.",
            source=_SOURCE,
        )
    if off_m > _WRONG * longest_m:
        raise InputError.of(
            f"the known points lie {longest_m:.1f} m apart in the grid, and {off_m:.1f} m more or"
            " less on the Earth",
            mend="look whether longitude and latitude, or two points, have changed places.",
            source=_SOURCE,
        )
    return longest_m, off_m
