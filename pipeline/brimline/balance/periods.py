"""Adding days up: by year, by month, and for the average year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

_YEAR_D: Final = 365.25


@dataclass(frozen=True, slots=True)
class Period:
    """Some days of a record.

    Parameters
    ----------
    year : calendar year; None is the average of the whole years.
    month : 1 to 12; None is the whole year.
    days : (days,) which days of the record belong to it.
    years : how many years they are spread over: what their sums are divided by.
    whole : every day of the year or month is in the record.
    """

    year: int | None
    month: int | None
    days: NDArray[np.bool_]
    years: float
    whole: bool

    def sum(self, values: NDArray[np.float64]) -> float:
        """Add up daily values (days,), as a mean over years where the period is an average."""
        return float(values[self.days].sum()) / self.years

    def mean(self, values: NDArray[np.float64]) -> float:
        """Mean of daily values (days,)."""
        return float(values[self.days].mean())


@dataclass(frozen=True, slots=True)
class Calendar:
    """The periods of a record.

    Parameters
    ----------
    average : the average year: of the whole calendar years, or of all days where there is none.
    years : every year that the record touches, whole or not.
    driest : the whole year with the least rain; None where there is no whole year.
    month_of : (days,) month of each day, from 1.
    """

    average: Period
    years: tuple[Period, ...]
    driest: Period | None
    month_of: NDArray[np.int64]

    def months(self, period: Period) -> tuple[Period, ...]:
        """Return the months of a year or of the average year that the record holds."""
        return _months(period, self.month_of)


def calendar(dates: NDArray[np.datetime64], rain_mm: NDArray[np.float64]) -> Calendar:
    """Divide a record.

    Parameters
    ----------
    dates : (days,) every day once, rising.
    rain_mm : (days,) rain, which tells the driest year.

    Raises
    ------
    ValueError
        If there is no day, or the lengths differ.
    """
    if dates.size == 0 or dates.shape != rain_mm.shape:
        raise ValueError(f"{dates.size} days need as many depths of rain, got {rain_mm.size}")
    year_of = dates.astype("datetime64[Y]").astype(np.int64) + 1970
    month_of = dates.astype("datetime64[M]").astype(np.int64) % 12 + 1
    years = tuple(_year(int(year), year_of) for year in np.unique(year_of))
    whole = [period for period in years if period.whole]
    inside = np.logical_or.reduce([np.zeros(dates.size, np.bool_), *(p.days for p in whole)])
    spread = float(len(whole))
    if not whole:
        inside, spread = np.ones(dates.size, dtype=np.bool_), dates.size / _YEAR_D
    average = Period(None, None, inside, spread, whole=bool(whole))
    driest = min(whole, key=lambda period: period.sum(rain_mm), default=None)
    return Calendar(
        average,
        years,
        driest,
        month_of,
    )


def _year(year: int, year_of: NDArray[np.int64]) -> Period:
    days = year_of == year
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return Period(year, None, days, 1.0, whole=int(days.sum()) == 365 + leap)


def _months(period: Period, month_of: NDArray[np.int64]) -> tuple[Period, ...]:
    parts = (
        Period(period.year, month, period.days & (month_of == month), period.years, period.whole)
        for month in range(1, 13)
    )
    return tuple(part for part in parts if part.days.any())


def sums(periods: Sequence[Period], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Add daily values up over every period, a mean over years where one is an average.

    Parameters
    ----------
    values : (days, columns).

    Returns
    -------
    float64 (periods, columns)
    """
    weights = np.array([period.days / period.years for period in periods])
    found: NDArray[np.float64] = weights.reshape(len(periods), values.shape[0]) @ values
    return found


def means(periods: Sequence[Period], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of daily values over the days of every period, float64 (periods, columns)."""
    rows = [values[period.days].mean(axis=0) for period in periods]
    found: NDArray[np.float64] = np.array(rows).reshape(len(periods), values.shape[1])
    return found


def least(periods: Sequence[Period], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smallest of daily values over the days of every period, float64 (periods, columns)."""
    rows = [values[period.days].min(axis=0) for period in periods]
    found: NDArray[np.float64] = np.array(rows).reshape(len(periods), values.shape[1])
    return found
