"""Ground outside a site whose water arrives at one place: a street, a neighbour's slope."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.rainfall.runoff import MixedGround, excess_mm

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class OutsideGround:
    """Ground that is not surveyed, and how much of its rain arrives.

    Parameters
    ----------
    area_m2 : [m²].
    curve_number : of the ground; NaN where `share` counts.
    share : of the rain that arrives.
    from_mm : rain of a day, or of a storm, that sends it so far; less never arrives [mm].
    in_storm : False where the storms have a hydrograph of it.

    Raises
    ------
    ValueError
        If neither or both of curve number and share are given, or a value is outside its range.
    """

    area_m2: float
    curve_number: float = math.nan
    share: float = math.nan
    from_mm: float = 0.0
    in_storm: bool = True

    def __post_init__(self) -> None:
        if math.isnan(self.curve_number) == math.isnan(self.share):
            raise ValueError("outside ground needs either a curve number or a share of its rain")
        if not (self.area_m2 > 0 and self.from_mm >= 0):
            raise ValueError(
                f"outside ground needs an area above 0 m² and a least rain of 0 mm or more, got"
                f" {self.area_m2} m² and {self.from_mm} mm"
            )
        if not (math.isnan(self.share) or 0 <= self.share <= 1):
            raise ValueError(f"the share of rain lies between 0 and 1, got {self.share}")

    @property
    def ground(self) -> MixedGround | None:
        """The ground by its curve number; None where a share counts."""
        if math.isnan(self.curve_number):
            return None
        return MixedGround((self.curve_number,), (self.area_m2,))

    def excess_mm(self, depth_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Water of each step of one storm, float64 (steps,) [mm]."""
        if depth_mm.sum() < self.from_mm:
            return np.zeros_like(depth_mm)
        if math.isnan(self.curve_number):
            return np.asarray(self.share * depth_mm)
        return excess_mm(depth_mm, self.curve_number)
