"""Where stakes stand along a line: at intervals, at its ends, where it turns, where it is asked."""

from __future__ import annotations

import bisect
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

_SAME_M: Final = 0.005  # stations nearer than this are one
_CROWDED: Final = 0.1  # of the interval: an interval station so near to a needed one is left out


class Reason(IntEnum):
    """Why a station is where it is; of several reasons at one place the lowest counts."""

    END = 0
    ASKED = 1  # such as the end of a sill
    TURN = 2
    INTERVAL = 3


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """Places along a line, in its direction.

    Parameters
    ----------
    chainage_m : float64 (stations,) [m].
    x, y : float64 (stations,), map coordinates [m].
    east, north : float64 (stations,), the line's direction there, a unit vector; at a corner the
        one halfway round it.
    reason : int8 (stations,), codes of `Reason`.
    """

    chainage_m: NDArray[np.float64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    reason: NDArray[np.int8]

    def moved(self, left_m: float) -> Stations:
        """Return the same stations, square to the line by `left_m` to its left [m]."""
        x, y = self.offset(left_m)
        return replace(self, x=x, y=y)

    def offset(self, left_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Map coordinates of points square to the line, `left_m` to its left [m]."""
        return self.x - self.north * left_m, self.y + self.east * left_m


def stations_along(
    line: shapely.LineString,
    interval_m: float,
    *,
    turn_deg: float = 15.0,
    asked_m: Sequence[float] = (),
) -> Stations:
    """Choose stations along a line, no two farther apart than 1.2 intervals.

    Both ends; every whole interval from the start; every chainage that is asked for; and every
    corner at which the line has turned by more than `turn_deg` since the station before, so that
    the chords between stakes follow bends made of many small corners as well. An interval station
    nearer than a tenth of the interval to an end or to one that is asked for is left out: that one
    stands for it, at most a tenth of the interval away. Two such neighbours, one short of its place
    and one beyond it, lie 1 + 2 × 0.1 intervals apart; nothing makes a longer gap.

    Parameters
    ----------
    line : a closed line (a ring) is gone round once: its start counts, its end does not.
    interval_m : distance between stakes [m].
    asked_m : chainages at which a stake must stand [m].

    Raises
    ------
    ValueError
        If the interval or the angle is not above 0, the line has no length, or a chainage that
        is asked for is not on it.
    """
    if not (interval_m > 0 and turn_deg > 0):
        raise ValueError(
            f"interval_m and turn_deg must be above 0, got {interval_m} m and {turn_deg}°"
        )
    if not line.length > 0:
        raise ValueError("a line to be staked must be longer than 0")
    beyond = [at for at in asked_m if not -_SAME_M <= at <= line.length + _SAME_M]
    if beyond:
        raise ValueError(f"chainage {beyond[0]} m is not on a line of {line.length:.2f} m")
    corners = shapely.get_coordinates(shapely.remove_repeated_points(line))
    start, heading = _legs(corners)
    needed: dict[float, Reason] = {0.0: Reason.END, line.length: Reason.END}
    needed |= {
        at: Reason.ASKED for at in np.clip(asked_m, 0.0, line.length).tolist() if at not in needed
    }
    needed = _merged(needed.items())  # first, or what stands for a left-out one may go itself
    whole = interval_m * np.arange(1.0, int(line.length / interval_m) + 1)
    needed |= dict.fromkeys(_crowd_out(whole, needed, interval_m), Reason.INTERVAL)
    needed = _merged([*needed.items(), *_turns(start, heading, sorted(needed), turn_deg)])
    if line.is_ring:
        needed.pop(max(needed))
    chainage = np.array(sorted(needed))
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(line, chainage)).T
    east, north = _directions(start, heading, chainage, closed=line.is_ring)
    reason = np.array([needed[at] for at in sorted(needed)], dtype=np.int8)
    return Stations(chainage, x, y, east, north, reason)


def stations_around(
    outline: shapely.Polygon, interval_m: float, *, turn_deg: float = 15.0
) -> Stations:
    """Choose stations around an outline, clockwise, so that left is outwards.

    Raises
    ------
    ValueError
        As `stations_along`.
    """
    ring = shapely.LineString(shapely.geometry.polygon.orient(outline, -1.0).exterior.coords)
    return stations_along(ring, interval_m, turn_deg=turn_deg)


def _legs(corners: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Chainage at which each straight leg starts, and its heading, counter-clockwise from east."""
    steps = np.diff(corners, axis=0)
    length = np.hypot(*steps.T)
    return np.concatenate([[0.0], np.cumsum(length)[:-1]]), np.arctan2(steps[:, 1], steps[:, 0])


def _turn(one: float, other: float) -> float:
    """Angle from one heading to another, within half a turn either way."""
    return float((other - one + np.pi) % (2 * np.pi) - np.pi)


def _turns(
    start: NDArray[np.float64], heading: NDArray[np.float64], others: list[float], turn_deg: float
) -> list[tuple[float, Reason]]:
    """Corners by which the line has turned too far since the station before."""
    found = []
    turned, last = 0.0, 0.0
    stations = np.array(others)
    for k in range(1, start.size):
        if ((stations > last) & (stations <= start[k] - _SAME_M)).any():
            turned = 0.0  # a station in between stands on this leg
        turned += _turn(heading[k - 1], heading[k])
        last = float(start[k])
        if abs(turned) > np.radians(turn_deg):
            found.append((last, Reason.TURN))
            turned = 0.0
    return found


def _crowd_out(
    places: NDArray[np.floating], needed: dict[float, Reason], interval_m: float
) -> list[float]:
    fixed = np.array(sorted(needed))
    nearest = np.abs(places[:, None] - fixed[None, :]).min(axis=1, initial=np.inf)
    return [float(at) for at in places[nearest >= _CROWDED * interval_m]]


def _merged(stations: Iterable[tuple[float, Reason]]) -> dict[float, Reason]:
    """One station where several are as good as one; the more important reason stays, and place."""
    kept: dict[float, Reason] = {}
    sorted_kept: list[float] = []
    for at, reason in sorted(stations, key=lambda one: (one[1], one[0])):
        place = bisect.bisect(sorted_kept, at)
        if all(abs(at - other) > _SAME_M for other in sorted_kept[max(place - 1, 0) : place + 1]):
            kept[at] = reason
            sorted_kept.insert(place, at)
    return kept


def _directions(
    start: NDArray[np.float64], heading: NDArray[np.float64], chainage: NDArray[np.float64],
    *, closed: bool,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:  # fmt: skip
    leg = np.clip(np.searchsorted(start, chainage + _SAME_M, side="right") - 1, 0, start.size - 1)
    angle = heading[leg]
    at_corner = np.abs(chainage - start[leg]) < _SAME_M
    before = leg - 1  # -1 is the last leg, which a closed line comes from
    usable = at_corner & ((before >= 0) | closed)
    half = np.array([_turn(heading[b], heading[k]) / 2 for b, k in zip(before, leg, strict=True)])
    angle = np.where(usable, angle - half, angle)
    return np.cos(angle), np.sin(angle)
