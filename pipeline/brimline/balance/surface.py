"""The soil's surface that wets and dries, for dual crop coefficients (FAO-56, chapter 7)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.balance.evapotranspiration import DEFAULT_WIND_M_S

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.rainfall.daily import DailyWeather

LEAST_KC: Final = 0.15  # of dry bare soil without plants (FAO-56, equation 76: 0.15 to 0.20)
STANDARD_HUMIDITY_PCT: Final = 45.0  # with wind of 2 m/s, the climate of FAO-56's tables
_WIND_LIMITS: Final = (1.0, 6.0)  # FAO-56, equations 70 and 72: validity
_HUMIDITY_LIMITS: Final = (20.0, 80.0)
_HIGHEST_KC: Final = 1.2  # over any wet ground in the standard climate
_MOST_COVER: Final = 0.99


@dataclass(frozen=True, slots=True)
class SoilSurface:
    """The uppermost soil of a zone, which plants shade and evaporation dries.

    Parameters
    ----------
    kc_most : (days,) most that plants and soil take together, over reference evapotranspiration.
    cover : (days,) share of the ground that plants cover.
    evaporable_mm : water that can evaporate from the wetted surface (TEW) [mm].
    readily_mm : part of it that evaporates without hindrance (REW) [mm].
    wetted_share : share of the ground that watering wets; rain wets all of it.
    unmulched : share of the evaporation that mulch leaves.
    start_dry_mm : what has evaporated on the first morning [mm].

    Raises
    ------
    ValueError
        If a number is out of its range.

    References
    ----------
    FAO-56 (Allen et al. 1998), equations 69 to 77
    """

    kc_most: NDArray[np.float64]
    cover: NDArray[np.float64]
    evaporable_mm: float
    readily_mm: float
    wetted_share: float = 1.0
    unmulched: float = 1.0
    start_dry_mm: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.readily_mm < self.evaporable_mm:
            raise ValueError(
                "readily_mm must lie between 0 and evaporable_mm:"
                f" {self.readily_mm}, {self.evaporable_mm} mm"
            )
        if not 0.01 <= self.wetted_share <= 1:
            raise ValueError(f"wetted_share must lie between 0.01 and 1, got {self.wetted_share}")
        if not 0 <= self.unmulched <= 1:
            raise ValueError(f"unmulched must lie between 0 and 1, got {self.unmulched}")
        if not 0 <= self.start_dry_mm <= self.evaporable_mm:
            raise ValueError(
                f"start_dry_mm must lie between 0 and {self.evaporable_mm} mm,"
                f" got {self.start_dry_mm}"
            )

    def first_days(self, days: int) -> SoilSurface:
        """Return the surface with the beginning of its record only."""
        return replace(self, kc_most=self.kc_most[:days], cover=self.cover[:days])


@dataclass(frozen=True, slots=True)
class Air:
    """Wind at 2 m and lowest relative humidity of every day, arrays (days,) [m/s], [%]."""

    wind_m_s: NDArray[np.float64]
    humidity_min_pct: NDArray[np.float64]

    @classmethod
    def of(cls, weather: DailyWeather) -> Air:
        """Take both from a record, or what FAO-56 puts in their place.

        Wind of 2 m/s; the lowest humidity from the dewpoint and the highest temperature (equation
        64), the lowest temperature standing for the dewpoint where nothing else tells it.
        """
        wind = weather.wind_m_s
        if wind is None:
            wind = np.full(weather.days, DEFAULT_WIND_M_S)
        return cls(wind, _least_humidity_pct(weather))

    def demand(self, height_m: ArrayLike) -> NDArray[np.float64]:
        """Return how far air drier or windier than the standard raises coefficients.

        The term [0.04 (u2 - 2) - 0.004 (RHmin - 45)] (h/3)^0.3 of FAO-56, equations 70 and 72.
        """
        wind = np.clip(self.wind_m_s, *_WIND_LIMITS)
        humidity = np.clip(self.humidity_min_pct, *_HUMIDITY_LIMITS)
        drier = 0.04 * (wind - DEFAULT_WIND_M_S) - 0.004 * (humidity - STANDARD_HUMIDITY_PCT)
        found: NDArray[np.float64] = drier * (np.asarray(height_m) / 3) ** 0.3
        return found


def surface_told(weather: DailyWeather) -> str:
    """Say that the surface dries by itself, and what was taken for what the record lacks."""
    lacking = []
    if weather.wind_m_s is None:
        lacking.append(f"wind of {DEFAULT_WIND_M_S:g} m/s")
    humidity = (weather.humidity_min_pct, weather.humidity_mean_pct, weather.dewpoint_c)
    if all(values is None for values in humidity):
        lacking.append("the lowest temperature as dewpoint")
    how = "evaporation of the soil's surface by itself (dual crop coefficients)"
    return how + ("; taken for what the record lacks: " + ", ".join(lacking) if lacking else "")


def most_kc(
    kcb: NDArray[np.float64], height_m: NDArray[np.float64], air: Air
) -> NDArray[np.float64]:
    """Most that plants and wet soil take together, (days,) over reference evapotranspiration.

    References
    ----------
    FAO-56, equation 72
    """
    return np.maximum(_HIGHEST_KC + air.demand(height_m), kcb + 0.05)


def cover_share(
    kcb: NDArray[np.float64], kc_most: NDArray[np.float64], height_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Share of the ground that plants cover, (days,).

    References
    ----------
    FAO-56, equation 76
    """
    ratio = np.maximum(kcb - LEAST_KC, 0.0) / np.maximum(kc_most - LEAST_KC, 0.01)
    found: NDArray[np.float64] = np.minimum(ratio ** (1 + 0.5 * height_m), _MOST_COVER)
    return found


def _least_humidity_pct(weather: DailyWeather) -> NDArray[np.float64]:
    if weather.humidity_min_pct is not None:
        return weather.humidity_min_pct
    at_highest, at_lowest = _vapour_kpa(weather.temp_max_c), _vapour_kpa(weather.temp_min_c)
    if weather.dewpoint_c is not None:
        vapour = _vapour_kpa(weather.dewpoint_c)
    elif weather.humidity_mean_pct is not None:
        vapour = weather.humidity_mean_pct / 100 * (at_highest + at_lowest) / 2
    else:
        vapour = at_lowest
    return np.clip(100 * vapour / at_highest, 0.0, 100.0)


def _vapour_kpa(temperature_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Saturation vapour pressure (FAO-56, equation 11)."""
    found: NDArray[np.float64] = 0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3))
    return found
