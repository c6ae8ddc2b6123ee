"""What is planted: how much water it takes through the season, and how deep it roots.

Coefficients are those of FAO Irrigation and Drainage Paper 56 (Allen et al. 1998): single crop
coefficients from table 12, basal ones from table 17, lengths of stages from table 11, rooting
depths (the middle of the range) and depletion fractions from table 22. Where a planting is not in
a table, its `source` says what stands in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall._checks import named

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A mulch of plant remains takes 5 % off soil evaporation for each 10 % of ground that it covers
# (FAO-56, chapter 11, "Surface mulches"; value from memory).
_MULCH_SAVES: Final = 0.5

Levels = tuple[float, float, float]  # initial, middle and end of the season


@dataclass(frozen=True, slots=True)
class Planting:
    """A planting type.

    Parameters
    ----------
    kc : single crop coefficient by stage: plants and soil together.
    kcb : basal crop coefficient by stage: plants on dry ground.
    stage_days : lengths of the initial, development, middle and late stage [d]; together at most
        365.
    first_day : day of the year on which the initial stage begins, 1 to 365, north of the equator;
        south of it half a year is added.
    kc_dormant : coefficient outside the season.
    root_depth_m : depth of the soil that roots draw from [m].
    depletion : share of the available water that is drawn without stress, at 5 mm/d.
    source : what the values are where they are not FAO-56's own.

    Raises
    ------
    ValueError
        If a value is out of its range.
    """

    name: str
    kc: Levels
    kcb: Levels
    stage_days: tuple[int, int, int, int]
    first_day: int
    kc_dormant: float
    root_depth_m: float
    depletion: float
    source: str = "FAO-56, tables 11, 12, 17 and 22"

    def __post_init__(self) -> None:
        for what, levels in (("kc", (*self.kc, self.kc_dormant)), ("kcb", self.kcb)):
            if not all(0 <= level <= 1.4 for level in levels):
                raise ValueError(f"{self.name}: {what} must lie between 0 and 1.4, got {levels}")
        if min(self.stage_days) < 0 or not 1 <= sum(self.stage_days) <= 365:
            raise ValueError(
                f"{self.name}: stages must add up to 1 to 365 d, got {self.stage_days}"
            )
        if not 1 <= self.first_day <= 365:
            raise ValueError(f"{self.name}: first_day must be 1 to 365, got {self.first_day}")
        if not 0 < self.root_depth_m <= 5:
            raise ValueError(
                f"{self.name}: root_depth_m must be above 0 and at most 5 m,"
                f" got {self.root_depth_m}"
            )
        if not 0.1 <= self.depletion <= 0.8:
            raise ValueError(f"{self.name}: depletion must be 0.1 to 0.8, got {self.depletion}")

    def kc_of(
        self, day_of_year: NDArray[np.int64], *, southern: bool = False
    ) -> NDArray[np.float64]:
        """Coefficient on each day: level, rising, level, falling (FAO-56, figure 34).

        Parameters
        ----------
        day_of_year : (days,) from 1.
        southern : shift the season by half a year.
        """
        first = self.first_day + (182 if southern else 0)
        into = (day_of_year - first) % 365
        corners = np.cumsum((0, *self.stage_days))
        initial, middle, end = self.kc
        season = np.interp(into, corners, (initial, initial, middle, middle, end))
        return np.where(into < corners[-1], season, self.kc_dormant)

    def mulched(self, share: float) -> Planting:
        """Return the planting with mulch of plant remains on a share of its ground.

        The share of evaporation that mulch saves comes off the whole coefficient where the ground
        is bare (initial stage, dormancy), and off its part above the basal one where plants cover
        it (FAO-56, chapter 11, "Surface mulches").

        Raises
        ------
        ValueError
            If the share is not between 0 and 1.
        """
        if not 0 <= share <= 1:
            raise ValueError(f"the share under mulch must lie between 0 and 1, got {share}")
        saved = _MULCH_SAVES * share
        bare = max(self.kc[0] * (1 - saved), self.kcb[0])
        middle, end = (
            kc - saved * max(kc - kcb, 0.0)
            for kc, kcb in zip(self.kc[1:], self.kcb[1:], strict=True)
        )
        return replace(self, kc=(bare, middle, end), kc_dormant=self.kc_dormant * (1 - saved))


_SMALL_VEGETABLES: Final = (
    "FAO-56, tables 12 and 17; stages by ours; roots and depletion as lettuce to cabbage, table 22"
)
_NO_STAGES: Final = "FAO-56, tables 12, 17 and 22; the stages are ours"
_LANDSCAPE: Final = (
    "plant factors of ANSI/ASABE S623 for established landscape plants, the year round (value from"
    " memory); roots and depletion are common practice"
)
_YEAR: Final = (0, 0, 365, 0)

# Days on which seasons begin suit a mid-latitude north; a site should state its own plantings.
PLANTINGS: Final[dict[str, Planting]] = {
    one.name: one
    for one in (
        Planting(
            "orchard, bare floor", (0.45, 0.95, 0.70), (0.35, 0.90, 0.65),
            (30, 50, 130, 30), 90, 0.40, 1.5, 0.50,
        ),
        Planting(
            "orchard, grassed floor", (0.50, 1.20, 0.95), (0.45, 1.15, 0.90),
            (30, 50, 130, 30), 90, 0.50, 1.5, 0.50,
        ),
        Planting(
            "stone fruit, bare floor", (0.45, 0.90, 0.65), (0.35, 0.85, 0.60),
            (30, 50, 130, 30), 80, 0.40, 1.5, 0.50,
        ),
        Planting(
            "stone fruit, grassed floor", (0.50, 1.15, 0.90), (0.45, 1.10, 0.85),
            (30, 50, 130, 30), 80, 0.50, 1.5, 0.50,
        ),
        Planting(
            "walnuts", (0.50, 1.10, 0.65), (0.40, 1.05, 0.60),
            (20, 10, 130, 30), 100, 0.40, 2.05, 0.50,
        ),
        Planting(
            "almonds", (0.40, 0.90, 0.65), (0.20, 0.85, 0.60),
            (30, 50, 130, 30), 60, 0.35, 1.5, 0.40,
            "FAO-56, tables 12, 17 and 22; the stages of a deciduous orchard",
        ),
        Planting(
            "olives", (0.65, 0.70, 0.70), (0.55, 0.65, 0.65),
            (30, 90, 60, 90), 75, 0.50, 1.45, 0.65,
        ),
        Planting(
            "citrus", (0.70, 0.65, 0.70), (0.65, 0.60, 0.65),
            (60, 90, 120, 95), 1, 0.70, 1.35, 0.50,
        ),
        Planting(
            "table grapes", (0.30, 0.85, 0.45), (0.15, 0.80, 0.40),
            (20, 50, 75, 60), 90, 0.25, 1.5, 0.35,
        ),
        Planting(
            "wine grapes", (0.30, 0.70, 0.45), (0.15, 0.65, 0.40),
            (30, 60, 40, 80), 95, 0.25, 1.5, 0.45,
        ),
        Planting(
            "berries", (0.30, 1.05, 0.50), (0.20, 1.00, 0.40),
            (20, 50, 75, 60), 75, 0.30, 0.9, 0.50, _NO_STAGES,
        ),
        Planting(
            "strawberries", (0.40, 0.85, 0.75), (0.30, 0.80, 0.70),
            (30, 40, 90, 30), 75, 0.40, 0.25, 0.20, _NO_STAGES,
        ),
        Planting(
            "small vegetables", (0.70, 1.05, 0.95), (0.15, 0.95, 0.85),
            (25, 35, 60, 20), 100, 0.30, 0.5, 0.30, _SMALL_VEGETABLES,
        ),
        Planting(
            "tomatoes", (0.60, 1.15, 0.80), (0.15, 1.10, 0.70),
            (30, 40, 45, 30), 120, 0.30, 1.1, 0.40,
        ),
        Planting(
            "potatoes", (0.50, 1.15, 0.75), (0.15, 1.10, 0.65),
            (30, 35, 50, 30), 100, 0.30, 0.5, 0.35,
        ),
        Planting(
            "pasture, grazed", (0.40, 0.90, 0.85), (0.30, 0.90, 0.80),
            (10, 20, 230, 40), 60, 0.40, 1.0, 0.60,
            "FAO-56, tables 12, 17 and 22 (rotated grazing); growth between frosts, by ours",
        ),
        Planting(
            "lawn, cool season", (0.90, 0.95, 0.95), (0.85, 0.90, 0.90),
            (10, 20, 230, 40), 60, 0.80, 0.75, 0.40,
            "FAO-56, tables 12, 17 and 22; growth between frosts, by ours",
        ),
        Planting(
            "lawn, warm season", (0.80, 0.85, 0.85), (0.75, 0.80, 0.80),
            (10, 20, 200, 40), 80, 0.40, 0.75, 0.50,
            "FAO-56, tables 12, 17 and 22; growth between frosts, by ours",
        ),
        Planting(
            "trees and shrubs, humid climate", (0.70, 0.70, 0.70), (0.60, 0.60, 0.60),
            _YEAR, 1, 0.70, 0.9, 0.50, _LANDSCAPE,
        ),
        Planting(
            "trees and shrubs, dry climate", (0.50, 0.50, 0.50), (0.40, 0.40, 0.40),
            _YEAR, 1, 0.50, 0.9, 0.50, _LANDSCAPE,
        ),
        Planting(
            "desert plants", (0.30, 0.30, 0.30), (0.25, 0.25, 0.25),
            _YEAR, 1, 0.30, 0.9, 0.60, _LANDSCAPE,
        ),
    )
}  # fmt: skip


def planting(name: str) -> Planting:
    """Return the planting type of that name, whatever its case, hyphens or underscores.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest.
    """
    return PLANTINGS[named(name, PLANTINGS, "planting")]
