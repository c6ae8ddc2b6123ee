"""A daily record made from monthly normals, for sites without one; always marked as made up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.rainfall.daily import DailyWeather

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

_WET_AFTER_DRY = 0.75  # Geng et al. (1986): P(wet|dry) = 0.75 times the share of wet days
_GAMMA_SHAPE = 0.75


@dataclass(frozen=True, slots=True)
class Normals:
    """Monthly means, January first: rain [mm/month], wet days, temperatures [°C]."""

    rain_mm: tuple[float, ...]
    wet_days: tuple[float, ...]
    temp_max_c: tuple[float, ...]
    temp_min_c: tuple[float, ...]

    def __post_init__(self) -> None:
        for name in ("rain_mm", "wet_days", "temp_max_c", "temp_min_c"):
            if len(getattr(self, name)) != 12:
                raise ValueError(f"{name} must hold 12 months")
        if min(self.rain_mm) < 0 or not all(0 <= days <= 28 for days in self.wet_days):
            raise ValueError("rain must not be negative and wet days must lie between 0 and 28")
        if any(
            wet == 0 and rain > 0 for wet, rain in zip(self.wet_days, self.rain_mm, strict=True)
        ):
            raise ValueError("a month with rain needs wet days")
        if any(hi < lo for hi, lo in zip(self.temp_max_c, self.temp_min_c, strict=True)):
            raise ValueError("temp_max_c must not be below temp_min_c")


def daily_from_normals(normals: Normals, *, first_year: int, years: int, seed: int) -> DailyWeather:
    """Make a daily record with the normals' monthly means.

    Wet days follow a two-state chain and carry gamma-distributed depths, scaled so that the mean of
    each month over the record is the normal. Temperatures follow the months without daily scatter.

    Raises
    ------
    ValueError
        If `years` is not at least 1.

    References
    ----------
    Geng, Penning de Vries & Supit (1986), A simple method for generating daily rainfall data,
    doi:10.1016/0168-1923(86)90014-6 (citation from memory)
    """
    if years < 1:
        raise ValueError(f"years must be at least 1, got {years}")
    first = np.datetime64(f"{first_year}-01-01", "D")
    days = int((np.datetime64(f"{first_year + years}-01-01", "D") - first).astype(np.int64))
    month = (first + np.arange(days)).astype("datetime64[M]").astype(np.int64) % 12
    rain = _rain(normals, month, years, np.random.default_rng(seed))
    return DailyWeather(
        first_day=first,
        precipitation_mm=rain,
        temp_max_c=_through_months(normals.temp_max_c, first, days),
        temp_min_c=_through_months(normals.temp_min_c, first, days),
        made_up=True,
    )


def _rain(
    normals: Normals, month: NDArray[np.int64], years: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    share = np.asarray(normals.wet_days) / 30.4
    after_dry = _WET_AFTER_DRY * share
    after_wet = 1 - _WET_AFTER_DRY + after_dry
    draw = rng.random(month.size)
    wet = np.zeros(month.size, dtype=np.bool_)
    for day in range(1, month.size):
        wet[day] = draw[day] < (after_wet if wet[day - 1] else after_dry)[month[day]]
    rain = np.where(wet, rng.gamma(_GAMMA_SHAPE, 1.0, month.size), 0.0)
    for place in range(12):
        here = month == place
        total = rain[here].sum()
        if total > 0:
            rain[here] *= normals.rain_mm[place] * years / total
        elif normals.rain_mm[place] > 0:  # the chain left a short record without a wet day
            rain[np.flatnonzero(here)[::10]] = normals.rain_mm[place] / 3.1
    return np.asarray(rain, dtype=np.float64)


def _through_months(
    values: Sequence[float], first: np.datetime64, days: int
) -> NDArray[np.float64]:
    """Straight lines between the middles of months."""
    date = first + np.arange(days)
    year_day = (date - date.astype("datetime64[Y]")).astype(np.float64)
    middles = (np.arange(-1, 13) + 0.5) * 365.25 / 12
    around = np.array([values[-1], *values, values[0]])
    return np.asarray(np.interp(year_day, middles, around), dtype=np.float64)
