"""A daily weather record as plain arrays: every day once, no gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall.runoff import runoff_depth_mm

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

MEASURED: Final = ("precipitation_mm", "temp_max_c", "temp_min_c")
OPTIONAL: Final = (
    "radiation_mj_m2_d",
    "sunshine_h",
    "humidity_max_pct",
    "humidity_min_pct",
    "humidity_mean_pct",
    "dewpoint_c",
    "wind_m_s",
)


@dataclass(frozen=True, slots=True)
class DailyWeather:
    """Daily weather, all arrays (days,).

    Parameters
    ----------
    first_day : the first day; the others follow without a gap.
    precipitation_mm : float64 [mm/d], not negative.
    temp_max_c, temp_min_c : float64 [°C], the maximum nowhere below the minimum.
    radiation_mj_m2_d : float64 solar radiation [MJ/m²/d], or None.
    sunshine_h : float64 bright sunshine [h/d], or None.
    humidity_max_pct, humidity_min_pct : float64 relative humidity [%], or None; both or neither.
    humidity_mean_pct : float64 relative humidity [%], or None.
    dewpoint_c : float64 dewpoint [°C], or None.
    wind_m_s : float64 mean wind at 2 m above ground [m/s], or None.
    made_up : True where the record was generated rather than measured.

    Raises
    ------
    ValueError
        If lengths differ, a value is missing, or a value is outside its range.
    """

    first_day: np.datetime64
    precipitation_mm: NDArray[np.float64]
    temp_max_c: NDArray[np.float64]
    temp_min_c: NDArray[np.float64]
    radiation_mj_m2_d: NDArray[np.float64] | None = None
    sunshine_h: NDArray[np.float64] | None = None
    humidity_max_pct: NDArray[np.float64] | None = None
    humidity_min_pct: NDArray[np.float64] | None = None
    humidity_mean_pct: NDArray[np.float64] | None = None
    dewpoint_c: NDArray[np.float64] | None = None
    wind_m_s: NDArray[np.float64] | None = None
    made_up: bool = False

    def __post_init__(self) -> None:
        days = self.precipitation_mm.shape
        for name in (*MEASURED, *OPTIONAL):
            values = getattr(self, name)
            if values is None:
                continue
            if values.shape != days or values.ndim != 1 or not np.isfinite(values).all():
                raise ValueError(f"{name} must hold one finite number for each of {days[0]} days")
        if (self.precipitation_mm < 0).any():
            raise ValueError("precipitation_mm must not be negative")
        if (self.temp_max_c < self.temp_min_c).any():
            day = self.dates[np.argmax(self.temp_max_c < self.temp_min_c)]
            raise ValueError(f"temp_max_c is below temp_min_c on {day}")
        if (self.humidity_max_pct is None) != (self.humidity_min_pct is None):
            raise ValueError("give both humidity_max_pct and humidity_min_pct, or neither")

    @property
    def frosty_share(self) -> float:
        """Share of the precipitation that falls on days with a mean below 0 °C."""
        frosty = (self.temp_max_c + self.temp_min_c) / 2 < 0
        total = float(self.precipitation_mm.sum())
        return float(self.precipitation_mm[frosty].sum()) / total if total > 0 else 0.0

    @property
    def days(self) -> int:
        """Number of days."""
        return int(self.precipitation_mm.size)

    @property
    def dates(self) -> NDArray[np.datetime64]:
        """Every day's date, datetime64[D]."""
        dates: NDArray[np.datetime64] = self.first_day.astype("datetime64[D]") + np.arange(
            self.days
        )
        return dates

    @property
    def origin(self) -> str:
        """Where the days come from, in a word: measured or made up."""
        return "made up" if self.made_up else "measured"

    @property
    def years(self) -> NDArray[np.int64]:
        """Calendar year of every day."""
        return self.dates.astype("datetime64[Y]").astype(np.int64) + 1970

    @property
    def months(self) -> NDArray[np.int64]:
        """Month of every day, 1 to 12."""
        return self.dates.astype("datetime64[M]").astype(np.int64) % 12 + 1

    @property
    def day_of_year(self) -> NDArray[np.int64]:
        """Day in the year of every day, from 1."""
        into: NDArray[np.int64] = (self.dates - self.dates.astype("datetime64[Y]")).astype(np.int64)
        return into + 1


def wind_at_2m(wind_m_s: ArrayLike, height_m: float) -> NDArray[np.float64]:
    """Wind at 2 m over grass from what an anemometer at another height shows [m/s].

    Raises
    ------
    ValueError
        If the height is not between 0.5 and 200 m.

    References
    ----------
    FAO-56 (Allen et al. 1998), equation 47
    """
    if not 0.5 <= height_m <= 200:
        raise ValueError(f"an anemometer stands 0.5 to 200 m above ground, got {height_m} m")
    wind = np.asarray(wind_m_s, dtype=np.float64)
    if height_m == 2:
        return wind
    found: NDArray[np.float64] = wind * 4.87 / np.log(67.8 * height_m - 5.42)
    return found


def yearly_runoff_mm(days: DailyWeather | None, curve_number: float) -> NDArray[np.float64]:
    """Runoff of each whole year of a record, day by day by the curve number [mm].

    Empty without a record.
    """
    if days is None:
        return np.empty(0)
    runoff = runoff_depth_mm(days.precipitation_mm, curve_number)
    years = days.dates.astype("datetime64[Y]")
    each, where, count = np.unique(years, return_inverse=True, return_counts=True)
    sums = np.bincount(where, runoff, minlength=len(each))
    return np.asarray(sums[count >= 365])
