"""Ridge lines: the valley lines of the surface turned upside down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from brimline.lines.relief.extent import Shows
from brimline.lines.relief.ground import ReliefGround
from brimline.lines.relief.tracing import trace
from brimline.lines.relief.valleys import lengths_and_falls
from brimline.lines.sample import checked_on_grid

if TYPE_CHECKING:
    from brimline.grid import Elevation, Grid


@dataclass(frozen=True, slots=True, eq=False)
class RidgeLine:
    """One ridge or spur.

    Parameters
    ----------
    ridge_id : number, from 1, most ground first.
    parent_id : the ridge that it leaves; 0 where it leaves none.
    order : Strahler order on the surface turned upside down.
    line : drawn from where it leaves the higher ridge downwards.
    length_m, fall_pct : of the line; the fall is from end to end.
    area_m2 : ground whose steepest way up reaches the ridge below its upper end [m²].
    """

    ridge_id: int
    parent_id: int
    order: int
    line: shapely.LineString
    length_m: float
    fall_pct: float
    area_m2: float


def ridge_lines(
    surface: Elevation,
    grid: Grid,
    *,
    min_area_m2: float,
    min_length_m: float = 30.0,
    flank_m: float = 25.0,
    min_height_m: float = 0.1,
    edge_m: float = 10.0,
) -> tuple[RidgeLine, ...]:
    """Draw ridges by the way of water on the surface turned upside down.

    Summits, which are pits there, are joined over their saddles by the way that leads along the
    crest, so a ridge runs on from top to top.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The survey, smoothed as stated.
    grid : where the cells are.
    min_area_m2 : ground that must climb to a ridge [m²].
    min_length_m : spurs that stand for less of their own are dropped [m]: what runs within
        `flank_m` of a larger ridge, or is not parted from it by a hollow, does not count.
    flank_m, min_height_m : how far beside the ridge, and how much lower in the mean of both
        sides, the ground must lie [m]; the distance is at least three cells.
    edge_m : ridges are not drawn so close to the edge of the data, where ground is missing that
        would decide [m].

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
    ground = ReliefGround(checked_on_grid(surface, grid, "surface"), grid, upside_down=True)
    traced = trace(
        ground,
        Shows(flank_m, min_height_m, edge_m=edge_m, to_end=False),
        min_area_m2=min_area_m2,
        min_length_m=min_length_m,
    )
    lines = [shapely.reverse(one.line) for one in traced]
    lengths_m, falls_pct = lengths_and_falls(ground, lines)
    return tuple(
        RidgeLine(
            ridge_id=place + 1,
            parent_id=one.into + 1,
            order=one.order,
            line=lines[place],
            length_m=float(lengths_m[place]),
            fall_pct=float(falls_pct[place]),
            area_m2=one.course.area_m2,
        )
        for place, one in enumerate(traced)
    )
