"""What is planted: how much water it takes through the season, and how deep it roots.

Coefficients are those of FAO Irrigation and Drainage Paper 56 (Allen et al. 1998): single crop
coefficients from table 12, basal ones from table 17, lengths of stages from table 11, rooting
depths (the middle of the range) and depletion fractions from table 22, heights from table 12.
Where a planting is not in a table, its `source` says what stands in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall._checks import named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.balance.surface import Air

# A mulch of plant remains takes 5 % off soil evaporation for each 10 % of ground that it covers
# (FAO-56, chapter 11, "Surface mulches"; value from memory).
_MULCH_SAVES: Final = 0.5
_ADJUSTED_FROM: Final = 0.45  # basal coefficients below it are not adjusted (FAO-56, equation 70)

# what evaporation of the wetted surface adds to plants on dry ground, on average: tables 12 and 17
# of FAO-56 lie 0.05 to 0.15 apart
_WET_SOIL: Final = 0.10

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
    height_m : height of the plants at the beginning of the season and fully grown [m].
    standard_climate : the basal coefficients hold for a wind of 2 m/s and a lowest humidity of
        45 %, and are brought to the site's air; those of landscape plants and of a site are not.
    kc_months : coefficients of the site's own months, January first, in place of the stages: from
        plants as set out. The floor between them is in it, so mulch changes nothing.
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
    height_m: tuple[float, float] = (1.0, 1.0)
    standard_climate: bool = True
    kc_months: tuple[float, ...] = ()

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
        if not 0 < self.height_m[0] <= self.height_m[1] <= 50:
            raise ValueError(
                f"{self.name}: height_m must rise between 0 and 50 m, got {self.height_m}"
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
        if self.kc_months:
            return self._by_month(day_of_year)
        return self._through(self.kc, self.kc_dormant, day_of_year, southern=southern)

    def _by_month(self, day_of_year: NDArray[np.int64]) -> NDArray[np.float64]:
        """Coefficient on each day, straight between the middles of months."""
        middles = 365.25 / 12 * (np.arange(12) + 0.5)
        found: NDArray[np.float64] = np.interp(day_of_year, middles, self.kc_months, period=365.25)
        return found

    def kcb_of(
        self, day_of_year: NDArray[np.int64], air: Air, *, southern: bool = False
    ) -> NDArray[np.float64]:
        """Basal coefficient on each day, of plants on dry ground.

        Levels of the middle and the end of the season that are 0.45 or more are brought to the
        mean air of their stage over the record (FAO-56, equation 70). Out of season the plants
        take what they do in the initial stage, or less where the single coefficient says so.

        Parameters
        ----------
        day_of_year : (days,) from 1.
        air : wind and humidity of the same days.
        southern : shift the season by half a year.
        """
        if self.kc_months:
            return np.maximum(self._by_month(day_of_year) - _WET_SOIL, 0.0)
        initial, *later = self.kcb
        demand = air.demand(self.height_m[1])
        stage = self._stage_of(day_of_year, southern=southern)
        adjusted = []
        for level, number in zip(later, (2, 3), strict=True):
            here = stage == number
            moves = self.standard_climate and level >= _ADJUSTED_FROM and here.any()
            adjusted.append(max(level + float(demand[here].mean()), 0.0) if moves else level)
        middle, end = adjusted
        dormant = min(initial, self.kc_dormant)
        return self._through((initial, middle, end), dormant, day_of_year, southern=southern)

    def height_of(
        self, day_of_year: NDArray[np.int64], *, southern: bool = False
    ) -> NDArray[np.float64]:
        """Height of the plants on each day (days,) [m]: they grow in the development stage."""
        low, high = self.height_m
        return self._through((low, high, high), low, day_of_year, southern=southern)

    def _into(self, day_of_year: NDArray[np.int64], *, southern: bool) -> NDArray[np.int64]:
        """Days since the season began."""
        first = self.first_day + (182 if southern else 0)
        into: NDArray[np.int64] = (day_of_year - first) % 365
        return into

    def _stage_of(self, day_of_year: NDArray[np.int64], *, southern: bool) -> NDArray[np.int64]:
        """Stage of each day: 0 to 3, 4 out of season."""
        into = self._into(day_of_year, southern=southern)
        found: NDArray[np.int64] = np.searchsorted(np.cumsum(self.stage_days), into, side="right")
        return found

    def _through(
        self, levels: Levels, dormant: float, day_of_year: NDArray[np.int64], *, southern: bool
    ) -> NDArray[np.float64]:
        """Level, rising, level, falling, and out of season."""
        into = self._into(day_of_year, southern=southern)
        corners = np.cumsum((0, *self.stage_days))
        initial, middle, end = levels
        season = np.interp(into, corners, (initial, initial, middle, middle, end))
        return np.where(into < corners[-1], season, dormant)

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
        if self.kc_months:
            return self
        saved = 1 - unmulched(share)
        bare = max(self.kc[0] * (1 - saved), self.kcb[0])
        middle, end = (
            kc - saved * max(kc - kcb, 0.0)
            for kc, kcb in zip(self.kc[1:], self.kcb[1:], strict=True)
        )
        return replace(self, kc=(bare, middle, end), kc_dormant=self.kc_dormant * (1 - saved))


def unmulched(share: float) -> float:
    """Return the share of soil evaporation that mulch of plant remains on a share of it leaves.

    Raises
    ------
    ValueError
        If the share is not between 0 and 1.

    References
    ----------
    FAO-56, chapter 11, "Surface mulches": about 5 % less for each 10 % covered (from memory)
    """
    if not 0 <= share <= 1:
        raise ValueError(f"the share under mulch must lie between 0 and 1, got {share}")
    return 1 - _MULCH_SAVES * share


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
            height_m=(4.0, 4.0),
        ),
        Planting(
            "orchard, grassed floor", (0.50, 1.20, 0.95), (0.45, 1.15, 0.90),
            (30, 50, 130, 30), 90, 0.50, 1.5, 0.50,
            height_m=(4.0, 4.0),
        ),
        Planting(
            "stone fruit, bare floor", (0.45, 0.90, 0.65), (0.35, 0.85, 0.60),
            (30, 50, 130, 30), 80, 0.40, 1.5, 0.50,
            height_m=(3.0, 3.0),
        ),
        Planting(
            "stone fruit, grassed floor", (0.50, 1.15, 0.90), (0.45, 1.10, 0.85),
            (30, 50, 130, 30), 80, 0.50, 1.5, 0.50,
            height_m=(3.0, 3.0),
        ),
        Planting(
            "walnuts", (0.50, 1.10, 0.65), (0.40, 1.05, 0.60),
            (20, 10, 130, 30), 100, 0.40, 2.05, 0.50,
            height_m=(4.5, 4.5),
        ),
        Planting(
            "almonds", (0.40, 0.90, 0.65), (0.20, 0.85, 0.60),
            (30, 50, 130, 30), 60, 0.35, 1.5, 0.40,
            "FAO-56, tables 12, 17 and 22; the stages of a deciduous orchard",
            height_m=(5.0, 5.0),
        ),
        Planting(
            "olives", (0.65, 0.70, 0.70), (0.55, 0.65, 0.65),
            (30, 90, 60, 90), 75, 0.50, 1.45, 0.65,
            height_m=(4.0, 4.0),
        ),
        Planting(
            "citrus", (0.70, 0.65, 0.70), (0.65, 0.60, 0.65),
            (60, 90, 120, 95), 1, 0.70, 1.35, 0.50,
            height_m=(4.0, 4.0),
        ),
        Planting(
            "table grapes", (0.30, 0.85, 0.45), (0.15, 0.80, 0.40),
            (20, 50, 75, 60), 90, 0.25, 1.5, 0.35,
            height_m=(2.0, 2.0),
        ),
        Planting(
            "wine grapes", (0.30, 0.70, 0.45), (0.15, 0.65, 0.40),
            (30, 60, 40, 80), 95, 0.25, 1.5, 0.45,
            height_m=(1.75, 1.75),
        ),
        Planting(
            "berries", (0.30, 1.05, 0.50), (0.20, 1.00, 0.40),
            (20, 50, 75, 60), 75, 0.30, 0.9, 0.50, _NO_STAGES,
            height_m=(1.5, 1.5),
        ),
        Planting(
            "strawberries", (0.40, 0.85, 0.75), (0.30, 0.80, 0.70),
            (30, 40, 90, 30), 75, 0.40, 0.25, 0.20, _NO_STAGES,
            height_m=(0.2, 0.2),
        ),
        Planting(
            "small vegetables", (0.70, 1.05, 0.95), (0.15, 0.95, 0.85),
            (25, 35, 60, 20), 100, 0.30, 0.5, 0.30, _SMALL_VEGETABLES,
            height_m=(0.05, 0.3),
        ),
        Planting(
            "tomatoes", (0.60, 1.15, 0.80), (0.15, 1.10, 0.70),
            (30, 40, 45, 30), 120, 0.30, 1.1, 0.40,
            height_m=(0.05, 0.6),
        ),
        Planting(
            "potatoes", (0.50, 1.15, 0.75), (0.15, 1.10, 0.65),
            (30, 35, 50, 30), 100, 0.30, 0.5, 0.35,
            height_m=(0.05, 0.6),
        ),
        Planting(
            "pasture, grazed", (0.40, 0.90, 0.85), (0.30, 0.90, 0.80),
            (10, 20, 230, 40), 60, 0.40, 1.0, 0.60,
            "FAO-56, tables 12, 17 and 22 (rotated grazing); growth between frosts, by ours",
            height_m=(0.22, 0.22),
        ),
        Planting(
            "lawn, cool season", (0.90, 0.95, 0.95), (0.85, 0.90, 0.90),
            (10, 20, 230, 40), 60, 0.80, 0.75, 0.40,
            "FAO-56, tables 12, 17 and 22; growth between frosts, by ours",
            height_m=(0.1, 0.1),
        ),
        Planting(
            "lawn, warm season", (0.80, 0.85, 0.85), (0.75, 0.80, 0.80),
            (10, 20, 200, 40), 80, 0.40, 0.75, 0.50,
            "FAO-56, tables 12, 17 and 22; growth between frosts, by ours",
            height_m=(0.1, 0.1),
        ),
        Planting(
            "trees and shrubs, humid climate", (0.70, 0.70, 0.70), (0.60, 0.60, 0.60),
            _YEAR, 1, 0.70, 0.9, 0.50, _LANDSCAPE,
            height_m=(2.0, 2.0), standard_climate=False,
        ),
        Planting(
            "trees and shrubs, dry climate", (0.50, 0.50, 0.50), (0.40, 0.40, 0.40),
            _YEAR, 1, 0.50, 0.9, 0.50, _LANDSCAPE,
            height_m=(2.0, 2.0), standard_climate=False,
        ),
        Planting(
            "desert plants", (0.30, 0.30, 0.30), (0.25, 0.25, 0.25),
            _YEAR, 1, 0.30, 0.9, 0.60, _LANDSCAPE,
            height_m=(1.0, 1.0), standard_climate=False,
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
