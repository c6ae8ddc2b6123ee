"""Shapes along a line: channels dug and banks heaped up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.terrain.shaping.shapes import (
    LevelAlong,
    Levels,
    beside,
    check_line,
    check_not_negative,
    slant,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """A cut along a line: a ditch, a drain, a spillway, or a notch through a bank.

    Parameters
    ----------
    line : its drawn line.
    floor : level of the floor along the line.
    offset_m : of the floor's middle from the line; positive is left [m].
    bottom_m : width of the floor; 0 makes a V [m].
    left, right : batters of the two sides; the ends have the steeper of the two.
    parabola_m : top width of a parabola at 1 m of depth, which then replaces bottom and
        batters; 0 for straight sides [m].
    through : True where it also cuts through its own element's banks, as a sill notch does.
    in_path : True of a dip in a path, which is no sill.

    Raises
    ------
    ValueError
        If a size is negative, or there is neither a bottom nor a batter.
    """

    element_id: str
    line: shapely.LineString
    floor: LevelAlong
    offset_m: float = 0.0
    bottom_m: float = 0.0
    left: float = 2.0
    right: float = 2.0
    parabola_m: float = 0.0
    through: bool = False
    in_path: bool = False

    def __post_init__(self) -> None:
        check_line(self.element_id, self.line)
        check_not_negative(
            self.element_id,
            bottom_m=self.bottom_m, left=self.left, right=self.right, parabola_m=self.parabola_m,
        )  # fmt: skip
        if self.bottom_m + self.left + self.right + self.parabola_m == 0:
            raise ValueError(f"{self.element_id}: a channel needs a bottom or sloping sides")

    @property
    def core(self) -> shapely.Geometry:
        """The drawn line."""
        return self.line

    @property
    def settlement(self) -> float:
        """None: it heaps nothing up."""
        return 0.0

    @property
    def is_level(self) -> bool:
        """Whether its floor has one level all along."""
        return len(self.floor.level_m) == 1

    @property
    def core_reach_m(self) -> float:
        """Out to the far edge of the floor."""
        return abs(self.offset_m) + self.bottom_m / 2

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float) -> Levels:
        """Floor, and sides that rise from it until they leave the ground."""
        chainage, across, beyond = beside(self.line, x, y, reach_m)
        off = across - self.offset_m
        if self.parabola_m:
            rise = (off**2 + beyond**2) * (4 / self.parabola_m**2)
        else:
            rise = slant(off, beyond, self.bottom_m / 2, self.left, self.right)
        dug = self.floor.at(chainage) + rise
        return Levels(np.where(np.isnan(dug), np.inf, dug), np.full(x.shape, -np.inf))


@dataclass(frozen=True, slots=True, eq=False)
class Bank:
    """A heap along a line: the mound of a swale, a bund, an embankment.

    Parameters
    ----------
    line : its drawn line.
    crest : settled level of its top along the line.
    offset_m : of the top's middle from the line; positive is left [m].
    top_m : width of the top [m].
    left, right : batters of the two sides; the ends have the steeper of the two.
    settlement : share of its settled height over the ground by which it is built higher; 0.10
        is usual (common practice, no source).

    Raises
    ------
    ValueError
        If a size is negative.
    """

    element_id: str
    line: shapely.LineString
    crest: LevelAlong
    offset_m: float = 0.0
    top_m: float = 0.3
    left: float = 2.0
    right: float = 2.0
    settlement: float = 0.0

    def __post_init__(self) -> None:
        check_line(self.element_id, self.line)
        check_not_negative(
            self.element_id,
            top_m=self.top_m, left=self.left, right=self.right, settlement=self.settlement,
        )  # fmt: skip

    @property
    def core(self) -> shapely.Geometry:
        """The drawn line."""
        return self.line

    @property
    def through(self) -> bool:
        """It digs nothing."""
        return False

    @property
    def core_reach_m(self) -> float:
        """Out to the far edge of the top."""
        return abs(self.offset_m) + self.top_m / 2

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float) -> Levels:
        """Top, and sides that fall from it until they reach the ground."""
        chainage, across, beyond = beside(self.line, x, y, reach_m)
        off = across - self.offset_m
        fall = slant(off, beyond, self.top_m / 2, self.left, self.right)
        heaped = self.crest.at(chainage) - fall
        return Levels(np.full(x.shape, np.inf), np.where(np.isnan(heaped), -np.inf, heaped))


def notch(
    element_id: str,
    line: shapely.LineString,
    at_m: float,
    level_m: float,
    width_m: float,
    *,
    left_m: float,
    right_m: float,
    batter: float = 2.0,
) -> Channel:
    """Make a level sill across a bank: a channel square to a line through its own element's banks.

    Parameters
    ----------
    line : the bank's line.
    at_m : chainage of the sill's middle [m].
    level_m : level of the sill [m].
    width_m : level width along the line [m].
    left_m, right_m : how far it runs to the left and to the right of the line [m].

    Raises
    ------
    ValueError
        If the chainage is not on the line, or the width or both lengths are 0 or less.
    """
    if not 0 <= at_m <= line.length:
        raise ValueError(
            f"{element_id}: a sill at chainage {at_m} m is not on a line of {line.length:.2f} m"
        )
    if not (width_m > 0 and left_m + right_m > 0):
        raise ValueError(f"{element_id}: a sill needs a width and a length above 0 m")
    half = min(width_m / 2, line.length / 2)
    ends = shapely.line_interpolate_point(
        line, [max(at_m - half, 0.0), min(at_m + half, line.length)]
    )
    (x0, y0), (x1, y1) = shapely.get_coordinates(ends)
    size = np.hypot(x1 - x0, y1 - y0)
    normal_x, normal_y = -(y1 - y0) / size, (x1 - x0) / size
    middle = line.interpolate(at_m)
    across = shapely.LineString(
        [
            (middle.x + normal_x * left_m, middle.y + normal_y * left_m),
            (middle.x - normal_x * right_m, middle.y - normal_y * right_m),
        ]
    )
    return Channel(
        element_id, across, LevelAlong.flat(level_m), bottom_m=width_m, left=batter, right=batter,
        through=True,
    )  # fmt: skip
