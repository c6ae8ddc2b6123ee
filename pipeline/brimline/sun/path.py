"""Where the sun stands through the year, and what it gives where nothing is in its way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

PERIODS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December", "shortest day", "longest day",
)  # fmt: skip
_YEAR: Final = 2025  # neither a leap year nor beside one; years differ by half a day of declination
_STEP_MIN: Final = 10
_DAYS: Final = tuple(range(1, 29, 3))  # of each month that are looked at
_MJ_PER_W_H: Final = 0.0036
SECTORS: Final = 64
CODES: Final = 226  # heights of the skyline that are told apart
MOST_RAD: Final = np.pi / 2
ANGLES_RAD: Final = np.linspace(0.0, MOST_RAD, CODES)
BEARINGS_RAD: Final = np.arange(SECTORS) * (2 * np.pi / SECTORS)


@dataclass(frozen=True, slots=True)
class SunPath:
    """What comes from each part of the sky, by period.

    Parameters
    ----------
    table : float32 (sectors, codes, 4, periods): hours a day that the sun stands in a sector above
        a height, then what its beam carries eastwards, northwards and upwards there [MJ/m² a day].
        Sectors without sun hold -1.
    diffuse_mj_m2 : float64 (periods,) light of the clear sky on level, open ground [MJ/m² a day].
    """

    table: NDArray[np.float32]
    diffuse_mj_m2: NDArray[np.float64]

    def open_ground(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return hours and energy a day of level ground that sees the whole sky, by period."""
        lit = np.where(self.table[:, 0] < 0, 0.0, self.table[:, 0]).sum(axis=0, dtype=np.float64)
        return lit[0], lit[3] + self.diffuse_mj_m2

    def season_hours(self, latitude_deg: float) -> NDArray[np.float64]:
        """Return hours a day in the growing season, float64 (sectors, codes)."""
        months = list(season(latitude_deg))
        hours: NDArray[np.float64] = self.table[:, :, 0, months].mean(axis=-1, dtype=np.float64)
        return hours.clip(min=0)


def sun_path(
    latitude_deg: float,
    elevation_m: float = 0.0,
    *,
    turbidity: float = 3.0,
    grid_north_deg: float = 0.0,
) -> SunPath:
    """Return the sun's path by period of `PERIODS`, seen from a place.

    Every third day of a month stands for the month, every ten minutes for the time between. The
    shortest day is 21 December in the north and 21 June in the south, the longest the other.

    Parameters
    ----------
    latitude_deg : north positive [°].
    elevation_m : above sea level [m].
    turbidity : Linke turbidity of the air: 2 very clear and cold, 3 clear, 4 to 5 humid, 6 hazy.
    grid_north_deg : true bearing of the grid's upward axis [°]; bearings of the table are the
        grid's.

    Raises
    ------
    ValueError
        If a value is out of its range.

    References
    ----------
    Position: Reda & Andreas (2004), doi:10.1016/j.solener.2003.12.003. Clear sky: Ineichen & Perez
    (2002), doi:10.1016/S0038-092X(02)00045-2. Both as the library pvlib computes them.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(f"latitude_deg must be -90 to 90, got {latitude_deg}")
    if not 1 <= turbidity <= 10:
        raise ValueError(f"turbidity must be 1 to 10, got {turbidity}")
    # its import takes a second, and only this needs it
    import pandas as pd
    from pvlib import atmosphere, clearsky, irradiance, solarposition

    months = [[(month, day) for day in _DAYS] for month in range(1, 13)]
    short, long = ((12, 21), (6, 21)) if latitude_deg >= 0 else ((6, 21), (12, 21))
    days = [*months, [short], [long]]
    per_day = 24 * 60 // _STEP_MIN
    times = pd.DatetimeIndex(
        np.concatenate(
            [
                np.datetime64(f"{_YEAR}-{month:02d}-{day:02d}T00:05")
                + np.arange(per_day) * np.timedelta64(_STEP_MIN, "m")
                for group in days
                for month, day in group
            ]
        )
    ).tz_localize("UTC")
    period = np.repeat(np.arange(len(days)), [per_day * len(group) for group in days])
    a_day = (_STEP_MIN / 60) / np.array([len(group) for group in days])[period]
    at = solarposition.spa_python(times, latitude_deg, 0.0, altitude=elevation_m)
    up = at["apparent_zenith"].to_numpy() < 90.0
    at, times, weight, when = at[up], times[up], a_day[up], period[up]
    zenith = at["apparent_zenith"].to_numpy()
    mass = atmosphere.get_absolute_airmass(
        atmosphere.get_relative_airmass(zenith, "kastenyoung1989"),
        atmosphere.alt2pres(elevation_m),
    )
    extra = irradiance.get_extra_radiation(times).to_numpy()
    sky = clearsky.ineichen(zenith, mass, turbidity, elevation_m, extra)
    height, beam = np.radians(90.0 - zenith), sky["dni"]
    bearing = np.radians(at["azimuth"].to_numpy() - grid_north_deg)
    sector = np.rint(bearing / (2 * np.pi / SECTORS)).astype(np.int64) % SECTORS
    values = np.stack(
        [
            weight,
            weight * _MJ_PER_W_H * beam * np.cos(height) * np.sin(bearing),
            weight * _MJ_PER_W_H * beam * np.cos(height) * np.cos(bearing),
            weight * _MJ_PER_W_H * beam * np.sin(height),
        ]
    )
    # a sun at height h is above every code below it
    highest = np.floor(height / MOST_RAD * (CODES - 1)).astype(np.int64)
    table = np.zeros((SECTORS, CODES, 4, len(days)))
    for part in range(4):
        np.add.at(table[:, :, part], (sector, highest, when), values[part])
    table = table[:, ::-1].cumsum(axis=1)[:, ::-1]
    table[table[:, 0, 0].sum(axis=-1) == 0] = -1.0
    diffuse = np.zeros(len(days))
    np.add.at(diffuse, when, weight * _MJ_PER_W_H * sky["dhi"])
    return SunPath(np.ascontiguousarray(table, dtype=np.float32), diffuse)


def season(latitude_deg: float) -> tuple[int, ...]:
    """Places among `PERIODS` of the growing season: the six months with most sun, from spring."""
    return (3, 4, 5, 6, 7, 8) if latitude_deg >= 0 else (9, 10, 11, 0, 1, 2)
