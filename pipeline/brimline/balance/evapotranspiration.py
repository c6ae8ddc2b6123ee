"""Reference evapotranspiration of grass, from what the weather record holds.

The arithmetic of Penman-Monteith and of the sun's path is pyet's (Vremec et al. 2024,
doi:10.5194/gmd-17-7083-2024); this module decides which formula the record allows and supplies
the standard's substitutes for what is missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.rainfall.daily import DailyWeather

Method = Literal["penman-monteith", "hargreaves"]

DEFAULT_WIND_M_S: Final = 2.0  # FAO-56, chapter 3: the mean of 2000 weather stations
POLAR_DEG: Final = 66.5  # beyond it the sun does not rise and set every day
_MM_PER_MJ_M2: Final = 0.408  # FAO-56, equation 20: 1 / latent heat of 2.45 MJ/kg
_RADIATION_KRS: Final = {"interior": 0.16, "coast": 0.19}  # FAO-56, equation 50


@dataclass(frozen=True, slots=True)
class ReferenceEt:
    """Reference evapotranspiration and how it was found."""

    et0_mm: NDArray[np.float64]  # (days,) [mm/d]
    method: Method
    substitutes: tuple[str, ...]  # what was missing from the record, and what stood in


def check_place(latitude_deg: float, elevation_m: float) -> None:
    """Make sure that the formulas hold at a place.

    Raises
    ------
    ValueError
        If the latitude or the elevation is out of range.
    """
    if not -POLAR_DEG <= latitude_deg <= POLAR_DEG:
        raise ValueError(
            f"latitude_deg must lie between -{POLAR_DEG} and {POLAR_DEG}, got {latitude_deg}"
        )
    if not -500 <= elevation_m <= 6000:
        raise ValueError(f"elevation_m must lie between -500 and 6000 m, got {elevation_m}")


def reference_et(
    weather: DailyWeather,
    *,
    latitude_deg: float,
    elevation_m: float,
    method: Method | Literal["auto"] = "auto",
    near_coast: bool = False,
) -> ReferenceEt:
    """Evapotranspiration of the grass reference surface, day by day.

    `auto` takes Penman-Monteith where the record holds radiation, sunshine, humidity or dewpoint,
    else Hargreaves, which needs temperatures only. Penman-Monteith with gaps uses the standard's
    substitutes: radiation from the temperature range (equation 50), at most that of a clear sky
    (equation 37); vapour pressure from the minimum temperature (equation 48); wind of 2 m/s.

    Parameters
    ----------
    weather : daily record.
    latitude_deg : north positive [°].
    elevation_m : height above sea level [m].
    near_coast : take the coastal coefficient in equation 50.

    Raises
    ------
    ValueError
        If the latitude or the elevation is out of range.

    References
    ----------
    Allen, Pereira, Raes & Smith (1998), Crop evapotranspiration, FAO Irrigation and Drainage
    Paper 56, equations 6, 14, 17, 19, 35, 37, 48, 50 and 52
    """
    check_place(latitude_deg, elevation_m)
    measured = (
        weather.radiation_mj_m2_d, weather.sunshine_h, weather.humidity_max_pct,
        weather.humidity_mean_pct, weather.dewpoint_c,
    )  # fmt: skip
    enough = any(values is not None for values in measured)
    chosen: Method = method if method != "auto" else "penman-monteith" if enough else "hargreaves"
    import pyet  # heavy, and only for a run that has work to do

    index = pd.DatetimeIndex(weather.dates)
    latitude = float(np.radians(latitude_deg))
    above_air = np.asarray(pyet.extraterrestrial_r(index, latitude), dtype=np.float64)
    if chosen == "hargreaves":
        return ReferenceEt(_hargreaves(weather, above_air), chosen, ())
    notes: list[str] = []
    humidity = _humidity(weather, index, notes)
    sun = _sun(weather, index, above_air, elevation_m, notes, near_coast=near_coast)
    wind = weather.wind_m_s
    if wind is None:
        wind = np.full(weather.days, DEFAULT_WIND_M_S)
        notes.append(f"wind of {DEFAULT_WIND_M_S} m/s (FAO-56, chapter 3)")
    found = pyet.pm_fao56(
        _series(_mean_temperature(weather), index),
        _series(wind, index),
        elevation=elevation_m,
        lat=latitude,
        tmax=_series(weather.temp_max_c, index),
        tmin=_series(weather.temp_min_c, index),
        **sun,
        **humidity,
    )
    return ReferenceEt(np.asarray(found, dtype=np.float64), "penman-monteith", tuple(notes))


def how_told(found: ReferenceEt) -> str:
    """Say how reference evapotranspiration was found."""
    if found.method == "hargreaves":
        return "reference evapotranspiration by Hargreaves, from temperatures alone"
    how = "reference evapotranspiration by Penman-Monteith"
    if found.substitutes:
        how += "; taken for what the record lacks: " + ", ".join(found.substitutes)
    return how


def _series(values: NDArray[np.float64], index: pd.DatetimeIndex) -> pd.Series[float]:
    return pd.Series(values, index=index)


def _mean_temperature(weather: DailyWeather) -> NDArray[np.float64]:
    return (weather.temp_max_c + weather.temp_min_c) / 2


def _hargreaves(weather: DailyWeather, above_air_mj_m2: NDArray[np.float64]) -> NDArray[np.float64]:
    spread = np.sqrt(weather.temp_max_c - weather.temp_min_c)
    energy_mm = above_air_mj_m2 * _MM_PER_MJ_M2
    found = 0.0023 * (_mean_temperature(weather) + 17.8) * spread * energy_mm
    return np.asarray(np.maximum(found, 0.0), dtype=np.float64)


def _humidity(weather: DailyWeather, index: pd.DatetimeIndex, notes: list[str]) -> dict[str, Any]:
    """Choose the best of what tells the vapour pressure, in the standard's order."""
    import pyet

    if weather.dewpoint_c is not None:
        return {"ea": pyet.calc_e0(_series(weather.dewpoint_c, index))}
    if weather.humidity_max_pct is not None and weather.humidity_min_pct is not None:
        return {
            "rhmax": _series(weather.humidity_max_pct, index),
            "rhmin": _series(weather.humidity_min_pct, index),
        }
    if weather.humidity_mean_pct is not None:
        return {"rh": _series(weather.humidity_mean_pct, index)}
    notes.append("vapour pressure from the minimum temperature (FAO-56, equation 48)")
    return {"ea": pyet.calc_e0(_series(weather.temp_min_c, index))}


def _sun(
    weather: DailyWeather,
    index: pd.DatetimeIndex,
    above_air_mj_m2: NDArray[np.float64],
    elevation_m: float,
    notes: list[str],
    *,
    near_coast: bool,
) -> dict[str, Any]:
    """Choose the best of what tells the sun's energy."""
    if weather.radiation_mj_m2_d is not None:
        return {"rs": _series(weather.radiation_mj_m2_d, index)}
    if weather.sunshine_h is not None:
        return {"n": _series(weather.sunshine_h, index)}
    krs = _RADIATION_KRS["coast" if near_coast else "interior"]
    clear = (0.75 + 2e-5 * elevation_m) * above_air_mj_m2
    spread = np.sqrt(weather.temp_max_c - weather.temp_min_c)
    notes.append("radiation from the temperature range (FAO-56, equation 50)")
    return {"rs": _series(np.minimum(krs * spread * above_air_mj_m2, clear), index)}
