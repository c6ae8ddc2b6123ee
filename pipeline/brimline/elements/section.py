"""Cross-sections of channels: trapezoid, V and parabola, by depth of water.

Formulas of Chow (1959, Open-Channel Hydraulics, table 2-1; value from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol


class Section(Protocol):
    """A cross-section that gets wider upwards."""

    def area_m2(self, depth_m: float) -> float:
        """Area of water; also storage per metre of level channel [m² = m³/m]."""
        ...

    def wetted_perimeter_m(self, depth_m: float) -> float:
        """Length of the bed under water [m]."""
        ...

    def top_width_m(self, depth_m: float) -> float:
        """Width of the water surface [m]."""
        ...


@dataclass(frozen=True, slots=True)
class Trapezoid:
    """A level bottom between two sloping sides; with no bottom, a V.

    Parameters
    ----------
    bottom_m : width of the bottom, 0 for a V [m].
    side, other_side : horizontal run of each side per metre of rise; the second equals the
        first where left out.

    Raises
    ------
    ValueError
        If a size is negative or the section has no width at all.
    """

    bottom_m: float
    side: float
    other_side: float | None = None

    def __post_init__(self) -> None:
        if min(self.bottom_m, *self.sides) < 0 or self.bottom_m + sum(self.sides) == 0:
            raise ValueError(
                f"a section needs a bottom or sloping sides, got {self.bottom_m} m, {self.sides}"
            )

    @property
    def sides(self) -> tuple[float, float]:
        """Both sides' run per rise."""
        return self.side, self.side if self.other_side is None else self.other_side

    def area_m2(self, depth_m: float) -> float:
        """Area of water: (b + z y) y with z the mean side [m²]."""
        return (self.bottom_m + sum(self.sides) / 2 * depth_m) * depth_m

    def wetted_perimeter_m(self, depth_m: float) -> float:
        """Length of the bed under water [m]."""
        return self.bottom_m + depth_m * sum(math.hypot(1, side) for side in self.sides)

    def top_width_m(self, depth_m: float) -> float:
        """Width of the water surface [m]."""
        return self.bottom_m + sum(self.sides) * depth_m


def vee(side: float, other_side: float | None = None) -> Trapezoid:
    """Make a V section of the given sides, run per rise."""
    return Trapezoid(0.0, side, other_side)


@dataclass(frozen=True, slots=True)
class Parabola:
    """A parabola, the shape that a blade and the years give a channel.

    Parameters
    ----------
    top_m : width at `depth_m` [m].
    depth_m : depth at which it is that wide; the parabola goes on above [m].

    Raises
    ------
    ValueError
        If a size is not positive.
    """

    top_m: float
    depth_m: float

    def __post_init__(self) -> None:
        if not (self.top_m > 0 and self.depth_m > 0):
            raise ValueError(
                f"a parabola needs a width and a depth above 0, got {self.top_m} m "
                f"and {self.depth_m} m"
            )

    def area_m2(self, depth_m: float) -> float:
        """Area of water: 2/3 T y [m²]."""
        return 2 / 3 * self.top_width_m(depth_m) * depth_m

    def wetted_perimeter_m(self, depth_m: float) -> float:
        """Length of the bed under water, the exact arc [m]."""
        if depth_m <= 0:
            return 0.0
        top_m = self.top_width_m(depth_m)
        x = 4 * depth_m / top_m
        return top_m / 2 * (math.hypot(1, x) + math.asinh(x) / x)

    def top_width_m(self, depth_m: float) -> float:
        """Width of the water surface [m]."""
        return self.top_m * math.sqrt(max(depth_m, 0.0) / self.depth_m)


def hydraulic_radius_m(section: Section, depth_m: float) -> float:
    """Area over wetted perimeter [m]; 0 at no depth."""
    perimeter_m = section.wetted_perimeter_m(depth_m)
    return section.area_m2(depth_m) / perimeter_m if depth_m > 0 else 0.0
