"""Reference evapotranspiration of grass, from what the weather record holds.

The arithmetic is pyet's (Vremec et al. 2024, doi:10.5194/gmd-17-7083-2024); this module decides
which formula the record allows and supplies the standard's substitutes for what is missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd
import pyet

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.rainfall.daily import DailyWeather

Method = Literal["penman-monteith", "hargreaves"]

DEFAULT_WIND_M_S = 2.0  # FAO-56, chapter 3: the mean of 2000 weather stations
_MM_PER_MJ_M2 = 0.408  # FAO-56, equation 20: 1 / latent heat of 2.45 MJ/kg
_RADIATION_KRS = {"interior": 0.16, "coast": 0.19}  # FAO-56, equation 50


@dataclass(frozen=True, slots=True)
class ReferenceEt:
    """Reference evapotranspiration and how it was found."""

    et0_mm: NDArray[np.float64]  # (days,) [mm/d]
    method: Method
    substitutes: tuple[str, ...]  # what was missing from the record, and what stood in


def reference_et(
    weather: DailyWeather,
    *,
    latitude_deg: float,
    elevation_m: float,
    method: Method | Literal["auto"] = "auto",
    near_coast: bool = False,
) -> ReferenceEt:
    """Evapotranspiration of the grass reference surface, day by day.

    `auto` takes Penman-Monteith where the record holds radiation or humidity, else Hargreaves,
    which needs temperatures only. Penman-Monteith with gaps uses the standard's substitutes:
    radiation from the temperature range (equation 50), vapour pressure from the minimum
    temperature (equation 48), wind of 2 m/s.

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
    Paper 56, equations 6, 48, 50 and 52
    """
    if not -66.5 <= latitude_deg <= 66.5:
        raise ValueError(f"latitude_deg must lie between -66.5 and 66.5, got {latitude_deg}")
    if not -500 <= elevation_m <= 6000:
        raise ValueError(f"elevation_m must lie between -500 and 6000 m, got {elevation_m}")
    measured = weather.radiation_mj_m2 is not None or weather.humidity_max_pct is not None
    chosen: Method = method if method != "auto" else "penman-monteith" if measured else "hargreaves"
    index = pd.DatetimeIndex(weather.dates)
    latitude = float(np.radians(latitude_deg))
    if chosen == "hargreaves":
        et0 = _hargreaves(weather, index, latitude)
        return ReferenceEt(et0, chosen, ())
    return _penman_monteith(weather, index, latitude, elevation_m, near_coast=near_coast)


def _series(values: NDArray[np.float64], index: pd.DatetimeIndex) -> pd.Series[float]:
    return pd.Series(values, index=index)


def _mean_temperature(weather: DailyWeather) -> NDArray[np.float64]:
    return (weather.temp_max_c + weather.temp_min_c) / 2


def _hargreaves(
    weather: DailyWeather, index: pd.DatetimeIndex, latitude: float
) -> NDArray[np.float64]:
    radiation_mm = np.asarray(pyet.extraterrestrial_r(index, latitude)) * _MM_PER_MJ_M2
    spread = np.sqrt(weather.temp_max_c - weather.temp_min_c)
    found = 0.0023 * (_mean_temperature(weather) + 17.8) * spread * radiation_mm
    return np.asarray(np.maximum(found, 0.0), dtype=np.float64)


def _penman_monteith(
    weather: DailyWeather,
    index: pd.DatetimeIndex,
    latitude: float,
    elevation_m: float,
    *,
    near_coast: bool,
) -> ReferenceEt:
    substitutes: list[str] = []
    radiation = weather.radiation_mj_m2
    if radiation is None:
        krs = _RADIATION_KRS["coast" if near_coast else "interior"]
        spread = np.sqrt(np.maximum(weather.temp_max_c - weather.temp_min_c, 0))
        radiation = krs * spread * np.asarray(pyet.extraterrestrial_r(index, latitude))
        substitutes.append("radiation from the temperature range (FAO-56, equation 50)")
    wind = weather.wind_m_s
    if wind is None:
        wind = np.full(weather.days, DEFAULT_WIND_M_S)
        substitutes.append(f"wind of {DEFAULT_WIND_M_S} m/s (FAO-56, chapter 3)")
    humidity = {}
    if weather.humidity_max_pct is not None and weather.humidity_min_pct is not None:
        humidity = {
            "rhmax": _series(weather.humidity_max_pct, index),
            "rhmin": _series(weather.humidity_min_pct, index),
        }
    else:
        humidity = {"ea": pyet.calc_e0(_series(weather.temp_min_c, index))}
        substitutes.append("vapour pressure from the minimum temperature (FAO-56, equation 48)")
    found = pyet.pm_fao56(
        _series(_mean_temperature(weather), index),
        _series(wind, index),
        rs=_series(radiation, index),
        elevation=elevation_m,
        lat=latitude,
        tmax=_series(weather.temp_max_c, index),
        tmin=_series(weather.temp_min_c, index),
        **humidity,
    )
    et0 = np.asarray(found, dtype=np.float64)
    return ReferenceEt(et0, "penman-monteith", tuple(substitutes))
