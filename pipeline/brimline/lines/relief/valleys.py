"""Valley lines: the floor of each valley from its head to where it joins or leaves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.relief.extent import Shows
from brimline.lines.relief.ground import ReliefGround
from brimline.lines.relief.tracing import Course, trace
from brimline.lines.sample import checked_on_grid, levels_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid


@dataclass(frozen=True, slots=True, eq=False)
class ValleyLine:
    """One valley.

    Parameters
    ----------
    valley_id : number, from 1, most ground first.
    downstream_id : the valley that it runs into; 0 where it leaves the data.
    order : Strahler order at the lower end.
    line : drawn downstream.
    length_m, fall_pct : of the line; the fall is the mean on the surface it was found on.
    area_m2 : ground that gathers at the lower end of the line [m²].
    floor : the whole course, from the divide.
    primary : all of it is a primary valley: one that runs from the ridge and takes in no more than
        minor side valleys (order 2 at most).
    primary_to_m : chainage on the floor down to which it is one [m].
    """

    valley_id: int
    downstream_id: int
    order: int
    line: shapely.LineString
    length_m: float
    fall_pct: float
    area_m2: float
    floor: Course
    primary: bool
    primary_to_m: float


def valley_lines(
    surface: Elevation,
    grid: Grid,
    *,
    min_area_m2: float,
    min_length_m: float = 30.0,
    flank_m: float = 25.0,
    min_depth_m: float = 0.1,
) -> tuple[ValleyLine, ...]:
    """Draw the valleys of a site and put them in order.

    Which valleys there are is judged at the scale of a valley floor (`network`): a valley goes up
    the donor that brings the most ground, and exists if `min_area_m2` gathers in it. Its line
    begins where the ground on both sides begins to stand higher, so that a sheet of parallel flow
    on an even slope makes no valley, and two threads of flow are two valleys only if a spur stands
    between them (`parted`). Where the floor lies exactly is found by following the steepest descent
    on `surface` itself (`courses`).

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The survey, smoothed as stated; not the conditioned surface: hollows are passed through.
    grid : where the cells are.
    min_area_m2 : ground that must gather in a valley [m²].
    min_length_m : valleys that stand for less of their own are dropped [m]: what runs within
        `flank_m` of a larger valley, or is not parted from it by a spur, does not count.
    flank_m, min_depth_m : how far beside the floor, and how much higher in the mean of both sides,
        the ground must stand [m]; the distance is at least three cells.

    Returns
    -------
    Most ground first, which is the order of their numbers.

    Raises
    ------
    GridError
        If `surface` does not lie on the grid.
    ValueError
        If a number is out of range.
    """
    ground = ReliefGround(checked_on_grid(surface, grid, "surface"), grid)
    traced = trace(
        ground,
        Shows(flank_m, min_depth_m, edge_m=0.0, to_end=True),
        min_area_m2=min_area_m2,
        min_length_m=min_length_m,
    )
    lines = [one.line for one in traced]
    lengths_m, falls_pct = lengths_and_falls(ground, lines)
    return tuple(
        ValleyLine(
            valley_id=place + 1,
            downstream_id=one.into + 1,
            order=one.order,
            line=one.line,
            length_m=float(lengths_m[place]),
            fall_pct=float(falls_pct[place]),
            area_m2=one.course.area_m2,
            floor=one.course,
            primary=one.primary_to_m >= one.course.to_m,
            primary_to_m=one.primary_to_m,
        )
        for place, one in enumerate(traced)
    )


def lengths_and_falls(
    ground: ReliefGround, lines: Sequence[shapely.LineString]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Length of each line [m] and fall of a surface from its end to end [%].

    The fall is NaN where an end lies outside the data.
    """
    many = np.array(lines, dtype=object)
    ends = (shapely.get_coordinates(shapely.get_point(many, place)) for place in (0, -1))
    above, below = (levels_of(ground.surface, ground.grid, *xy.T) for xy in ends)
    lengths_m: NDArray[np.float64] = shapely.length(many)
    return lengths_m, 100 * (above - below) / lengths_m
