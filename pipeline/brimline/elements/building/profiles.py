"""Sections through an element for its sheets: along, across, over its sills and dips in paths."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely

from brimline.lines.staking import stations_along
from brimline.terrain.shaping import Bank, Channel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.terrain.shaping import DesignSurface, LevelsAt, Placed

ProfileKind = Literal["along", "across", "sill", "dip"]

_ACROSS_AT: Final = (0.1, 0.5, 0.9)  # of a line's length
_FINE_M: Final = 0.1  # between points across; along a line they are farther apart
_ALONG_M: Final = 0.5
_SPARE_M: Final = 2.0  # of untouched ground at both ends


@dataclass(frozen=True, slots=True, eq=False)
class SectionProfile:
    """A section: float64 (points,) each [m].

    Parameters
    ----------
    name : what is cut, unique within the element.
    at_m : distance along the section; across a line it runs from left to right, 0 on the line.
    ground_m, design_m, build_m : survey, design (banks settled), and level to build to.
    """

    element_id: str
    name: str
    kind: ProfileKind
    at_m: NDArray[np.float64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    design_m: NDArray[np.float64]
    build_m: NDArray[np.float64]


def profiles(ready: DesignSurface, label: int, ground: LevelsAt) -> list[SectionProfile]:
    """Cut an element along and across, and along the water's way over each sill and outfall.

    A dip is cut along the path that it lies in. Levels are those of the whole design, exact rather
    than a grid's.

    Parameters
    ----------
    label : number of the element in the design.

    Raises
    ------
    ValueError
        If the design has no such element.
    """
    mine = [one for one in ready.placed if one.label == label]
    if not mine:
        raise ValueError(f"the design has no element number {label}")
    saw = _Saw(ready, ready.elements[label - 1], ground)
    first = mine[0].shape
    along = isinstance(first, Channel | Bank)
    found = saw.line(first, mine) if along else saw.area(mine)  # type: ignore[arg-type]
    ways = [s for one in mine[1:] if isinstance(s := one.shape, Channel) and s.through]
    sills = [way for way in ways if way.is_level and not way.in_path]
    dips = [way for way in ways if way.in_path]
    for number, way in enumerate(sills, start=1):
        name = "over the sill" if len(sills) == 1 else f"over sill {number}"
        found.append(saw.straight(name, "sill", *_drawn_out(way.line), _FINE_M))
    for number, dip in enumerate(dips, start=1):
        name = "dip in a path" if len(dips) == 1 else f"dip {number} in a path"
        found.append(saw.straight(name, "dip", *_along_path(dip), _FINE_M))
    for way in ways:
        if not (way.is_level or way.in_path):
            found.append(saw.along("outfall", way.line, 0.0))
    return found


@dataclass(frozen=True, slots=True)
class _Saw:
    """What all sections of an element have in common."""

    ready: DesignSurface
    element_id: str
    ground: LevelsAt

    def line(self, first: Channel | Bank, mine: list[Placed]) -> list[SectionProfile]:
        """Along floor, where there is one, and crest of a line, and across it."""
        line = first.line
        beside = [one for one in mine if one.shape.core is line]
        dug = isinstance(first, Channel)
        found = [self.along("floor", line, first.offset_m)] if dug else []
        found += [
            self.along("crest", line, bank.offset_m)
            for one in beside
            if isinstance(bank := one.shape, Bank)
        ]
        reach_m = max(one.reach_m for one in beside) + _SPARE_M
        chosen = [share * line.length for share in _ACROSS_AT]
        stations = stations_along(line, line.length, asked_m=chosen)
        places = [int(np.abs(stations.chainage_m - at).argmin()) for at in chosen]
        left, right = (np.column_stack(stations.offset(by)) for by in (reach_m, -reach_m))
        for place in places:
            name = f"across at {stations.chainage_m[place]:.1f} m"
            found.append(self.straight(name, "across", left[place], right[place], _FINE_M,
                                       from_m=-reach_m))  # fmt: skip
        return found

    def area(self, mine: list[Placed]) -> list[SectionProfile]:
        """Along the long axis of an outline, and across its middle."""
        outline = mine[0].shape.core
        box = shapely.get_coordinates(outline.minimum_rotated_rectangle)[:4]
        middle = box.mean(axis=0)
        sides = [box[1] - box[0], box[2] - box[1]]
        sides.sort(key=lambda side: -float(np.hypot(*side)))
        reach_m = mine[0].reach_m + _SPARE_M
        found = []
        kinds: tuple[tuple[str, ProfileKind], ...] = (("long axis", "along"), ("across", "across"))
        for (name, kind), side in zip(kinds, sides, strict=True):
            half = side / 2 * (1 + 2 * reach_m / float(np.hypot(*side)))
            found.append(self.straight(name, kind, middle - half, middle + half, _FINE_M))
        return found

    def along(self, name: str, line: shapely.LineString, left_m: float) -> SectionProfile:
        """Follow a line at a distance to its left."""
        stations = stations_along(line, _ALONG_M).moved(left_m)
        return self._cut(name, "along", stations.chainage_m, stations.x, stations.y)

    def straight(
        self,
        name: str,
        kind: ProfileKind,
        start: NDArray[np.float64],
        end: NDArray[np.float64],
        step_m: float,
        *,
        from_m: float = 0.0,
    ) -> SectionProfile:
        """Cut from point to point."""
        length = float(np.hypot(*(end - start)))
        at = np.linspace(0, length, max(int(np.ceil(length / step_m)), 1) + 1)
        x, y = (start + at[:, None] / length * (end - start)).T
        return self._cut(name, kind, at + from_m, x, y)

    def _cut(
        self,
        name: str,
        kind: ProfileKind,
        at_m: NDArray[np.float64],
        x: NDArray[np.float64],
        y: NDArray[np.float64],
    ) -> SectionProfile:
        levels = self.ground(x, y)
        settled, built = (self.ready.at(x, y, levels, built=b).level_m for b in (False, True))
        return SectionProfile(self.element_id, name, kind, at_m, x, y, levels, settled, built)


def _drawn_out(line: shapely.LineString) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both ends of a straight line, moved out by some untouched ground."""
    start, end = shapely.get_coordinates(line)[[0, -1]]
    step = (end - start) / float(np.hypot(*(end - start))) * _SPARE_M
    return start - step, end + step


def _along_path(dip: Channel) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the ends of a cut along the path, square to the water over the middle of a dip."""
    start, end = shapely.get_coordinates(dip.line)[[0, -1]]
    step = (end - start) / float(np.hypot(*(end - start)))
    square = np.array((-step[1], step[0])) * (dip.bottom_m / 2 + 2 * _SPARE_M)
    middle = (start + end) / 2
    return middle - square, middle + square
