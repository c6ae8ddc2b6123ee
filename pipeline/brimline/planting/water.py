"""What plants drink: from the ground under their crowns, month by month, as they grow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.planting.plants import Plant

AGES_Y: Final = (1, 3, 10)
DAYS_IN_MONTH: Final = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


@dataclass(frozen=True, slots=True)
class Climate:
    """The average year.

    Parameters
    ----------
    et0_mm, rain_mm : float64 (12,) of each month, January first [mm].
    """

    et0_mm: NDArray[np.float64]
    rain_mm: NDArray[np.float64]

    @property
    def driest_month(self) -> int:
        """The month, 1 to 12, in which evaporation exceeds rain most."""
        return int(np.argmax(self.et0_mm - self.rain_mm)) + 1


def demand_l(plant: Plant, age_y: float, climate: Climate) -> NDArray[np.float64]:
    """Water that one plant takes in each month where it lacks none [L].

    Crown area × coefficient × reference evapotranspiration: millimetres over square metres are
    litres. The coefficient is one of a landscape plant (species × density × microclimate).

    Returns
    -------
    float64 (12,)

    References
    ----------
    Costello, Matheny & Clark (2000), A guide to estimating irrigation water needs of landscape
    plantings in California; FAO-56 (Allen et al. 1998), equation 58, over the crown's ground.
    """
    kc = np.array([plant.kc_of(month) for month in range(1, 13)])
    taken: NDArray[np.float64] = plant.crown_m2(age_y) * kc * climate.et0_mm
    return taken


def need_l(
    plant: Plant,
    age_y: float,
    climate: Climate,
    *,
    efficiency: float = 1.0,
    rain_share: float = 1.0,
) -> NDArray[np.float64]:
    """Water to be given to one plant in each month [L]: demand less rain on its crown's ground.

    Parameters
    ----------
    efficiency : share of what is given that reaches the roots.
    rain_share : share of rain that its roots find.
    """
    rain = rain_share * climate.rain_mm * plant.crown_m2(age_y)
    given: NDArray[np.float64] = np.maximum(demand_l(plant, age_y, climate) - rain, 0) / efficiency
    return given


def a_week(monthly_l: NDArray[np.float64], month: int) -> float:
    """Litres a week in a month, 1 to 12."""
    return float(monthly_l[month - 1] / DAYS_IN_MONTH[month - 1] * 7)


def zone_kc(
    counts: Mapping[Plant, int],
    area_m2: float,
    age_y: float,
    *,
    floor_kc: float = 0.0,
) -> NDArray[np.float64]:
    """Coefficient of a zone in each month: crowns over their ground, the floor over the rest.

    Where crowns of several layers reach over each other the ground is shaded once: cover above the
    zone's own area is cut back evenly.

    Parameters
    ----------
    counts : plants of each kind.
    floor_kc : coefficient of what grows between them.

    Returns
    -------
    float64 (12,)
    """
    cover = np.array([count * plant.crown_m2(age_y) for plant, count in counts.items()])
    share = cover / max(area_m2, float(cover.sum()))
    by_month = [
        sum(part * plant.kc_of(month) for part, plant in zip(share, counts, strict=True))
        for month in range(1, 13)
    ]
    return np.array(by_month) + floor_kc * (1 - float(share.sum()))
