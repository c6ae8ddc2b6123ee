"""What a plant is, as its owner's file says, and how it grows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

LAYERS: Final = (
    "canopy", "understorey", "shrub", "climber", "herb", "groundcover", "root", "aquatic",
)  # fmt: skip
WOODY: Final = frozenset({"canopy", "understorey", "shrub"})
SUN: Final = ("full", "part", "shade")
WETNESS: Final = ("dry", "moist", "wet")


@dataclass(frozen=True, slots=True)
class Plant:
    """A kind of plant.

    Parameters
    ----------
    layer : one of `LAYERS`.
    spacing_m : between two of it [m].
    height_m, crown_m : full height and width of the crown [m].
    mature_y : years after planting in which it is fully grown.
    sun : how much it bears: of `SUN`.
    water : on what ground it stands well: of `WETNESS`.
    frost_limit_c : cold that it survives [°C]; NaN is not known.
    kc, kc_dormant : water that its crown takes in leaf and at rest, over reference
        evapotranspiration.
    leaf_months : months in leaf, 1 to 12, as they are at the site.
    root_depth_m : when grown [m].
    price_each : in the file's currency; NaN is not known.
    size : in which it is bought, such as "2 L pot".
    plant_months : months in which it is planted.
    care : what is done with it, a year: (what, months, minutes for one plant).
    """

    name: str
    kind: str
    layer: str
    spacing_m: float
    height_m: float
    crown_m: float
    mature_y: float = 10.0
    sun: tuple[str, ...] = ("full", "part")
    water: tuple[str, ...] = ("moist",)
    frost_limit_c: float = math.nan
    kc: float = 0.8
    kc_dormant: float = 0.3
    leaf_months: tuple[int, ...] = (4, 5, 6, 7, 8, 9, 10)
    root_depth_m: float = 0.9
    price_each: float = math.nan
    size: str = ""
    plant_months: tuple[int, ...] = (11, 12, 1, 2, 3)
    care: tuple[tuple[str, tuple[int, ...], float], ...] = ()

    @property
    def is_woody(self) -> bool:
        """Whether its roots would loosen a mound or a pipe."""
        return self.layer in WOODY

    def grown(self, age_y: float) -> float:
        """Share of its full size some years after planting, rising evenly to `mature_y`.

        No published curve serves all plants: an even rise is common practice, no source.
        """
        return min(1.0, max(age_y, 0.0) / self.mature_y)

    def crown_m2(self, age_y: float) -> float:
        """Ground under its crown [m²], a circle."""
        return math.pi / 4 * (self.crown_m * self.grown(age_y)) ** 2

    def kc_of(self, month: int) -> float:
        """Coefficient of its crown in a month, 1 to 12."""
        return self.kc if month in self.leaf_months else self.kc_dormant


@dataclass(frozen=True, slots=True)
class Companion:
    """Plants of one kind around the centre of a guild.

    Parameters
    ----------
    count : evenly round the centre, the first to the north.
    radius_m : from the centre [m].
    """

    plant: str
    count: int
    radius_m: float


@dataclass(frozen=True, slots=True)
class Guild:
    """A plant with its companions, set out as one."""

    name: str
    centre: str
    companions: tuple[Companion, ...]
