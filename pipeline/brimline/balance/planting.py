"""What is planted: how much water it takes through the season, and how deep it roots.

Coefficients and depths are FAO Irrigation and Drainage Paper 56 (Allen et al. 1998): Kc from table
12, rooting depth and depletion fraction from table 22, lengths of stages from table 11. Values
were entered from memory and checked against each other, not against the printed page.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Planting:
    """A planting type.

    Parameters
    ----------
    kc_initial, kc_middle, kc_end : single crop coefficient by stage.
    stage_days : lengths of the initial, development, middle and late stage [d]; together at most
        365.
    first_day : day of the year on which the initial stage begins, 1 to 365. South of the equator
        add half a year.
    kc_dormant : coefficient outside the season.
    root_depth_m : depth of the soil that roots draw from [m].
    depletion : share of the available water that is drawn without stress, at 5 mm/d.

    Raises
    ------
    ValueError
        If a value is out of its range.
    """

    name: str
    kc_initial: float
    kc_middle: float
    kc_end: float
    stage_days: tuple[int, int, int, int]
    first_day: int
    kc_dormant: float
    root_depth_m: float
    depletion: float

    def __post_init__(self) -> None:
        if min(self.stage_days) < 0 or not 1 <= sum(self.stage_days) <= 365:
            raise ValueError(
                f"{self.name}: stages must add up to 1 to 365 d, got {self.stage_days}"
            )
        if not 1 <= self.first_day <= 365:
            raise ValueError(f"{self.name}: first_day must be 1 to 365, got {self.first_day}")
        if not 0 < self.root_depth_m <= 5:
            raise ValueError(f"{self.name}: root_depth_m must be above 0 and at most 5 m")
        if not 0.1 <= self.depletion <= 0.8:
            raise ValueError(f"{self.name}: depletion must be 0.1 to 0.8, got {self.depletion}")

    def kc(self, day_of_year: NDArray[np.int64], *, southern: bool = False) -> NDArray[np.float64]:
        """Coefficient on each day: level, rising, level, falling (FAO-56, figure 34).

        Parameters
        ----------
        day_of_year : (days,) from 1.
        southern : shift the season by half a year.
        """
        first = self.first_day + (182 if southern else 0)
        into = (day_of_year - first) % 365
        corners = np.cumsum((0, *self.stage_days))
        levels = (self.kc_initial, self.kc_initial, self.kc_middle, self.kc_middle, self.kc_end)
        season = np.interp(into, corners, levels)
        return np.where(into < corners[-1], season, self.kc_dormant)


# Stage lengths and first days suit a mid-latitude north; a site should state its own.
PLANTINGS: Final[dict[str, Planting]] = {
    planting.name: planting
    for planting in (
        Planting("orchard, bare floor", 0.45, 0.95, 0.70, (30, 50, 130, 30), 90, 0.40, 1.3, 0.50),
        Planting(
            "orchard, grassed floor", 0.50, 1.20, 0.95, (30, 50, 130, 30), 90, 0.50, 1.3, 0.50
        ),
        Planting("berries", 0.30, 1.05, 0.50, (20, 50, 75, 60), 75, 0.30, 0.9, 0.50),
        Planting("grapes", 0.30, 0.70, 0.45, (20, 50, 90, 20), 105, 0.25, 1.3, 0.35),
        Planting("small vegetables", 0.70, 1.05, 0.95, (25, 35, 60, 20), 100, 0.30, 0.4, 0.30),
        Planting("pasture, grazed", 0.40, 0.95, 0.85, (10, 30, 240, 40), 45, 0.40, 0.8, 0.60),
        Planting("lawn, cool season", 0.90, 0.95, 0.95, (10, 20, 250, 40), 40, 0.80, 0.6, 0.40),
    )
}
