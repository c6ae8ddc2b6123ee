"""The daily weather: how its file is laid out, or what monthly normals stand for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.balance.generator import Normals, daily_from_normals
from brimline.errors import InputError, Problem, Severity
from brimline.io.weather import Layout, read_weather

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.config import Weather
    from brimline.rainfall.daily import DailyWeather

_SNOW_SHARE: Final = 0.15  # of the precipitation; more of it on frosty days is told


def weather_of(path: Path | None, params: Weather) -> tuple[DailyWeather | None, list[Problem]]:
    """Return the record that the year runs through, and what is to be told of it.

    Parameters
    ----------
    path : of the person's file; without it the days are made up from monthly normals, and
        without these there are none.

    Raises
    ------
    InputError
        With everything that is wrong with the file or the normals.
    """
    if path is None and not params.has_normals:
        return None, []
    if path is None:
        weather = made_up(params)
        told = [
            Problem(
                Severity.WARNING,
                f"{params.made_up_years} years of days were made up from monthly normals; real"
                " years differ more from each other, and dry years are drier",
                "give inputs.weather, a daily record of a station nearby",
                "weather",
            )
        ]
    else:
        read = read_weather(path, layout_of(params))
        weather, told = read.usable(), list(read.problems)
    return weather, [*told, *_snow(weather)]


def _snow(weather: DailyWeather) -> list[Problem]:
    share = weather.frosty_share
    if share <= _SNOW_SHARE:
        return []
    return [
        Problem(
            Severity.WARNING,
            f"{100 * share:.0f} % of the precipitation falls on days with a mean below 0 °C;"
            " snow is not modelled, it counts as rain of that day",
            "trust winter and spring figures less",
            "weather",
        )
    ]


def layout_of(params: Weather) -> Layout:
    """Return what the configuration says of the file."""
    return Layout(
        params.columns,
        params.temperature_unit,
        params.precipitation_unit,
        params.wind_unit,
        params.radiation_unit,
        params.wind_height_m,
        params.date_format,
    )


def made_up(params: Weather) -> DailyWeather:
    """Make the record that monthly normals stand for.

    Raises
    ------
    InputError
        If the normals contradict each other.
    """
    try:
        normals = Normals(
            params.normal_rain_mm,
            params.normal_wet_days,
            params.normal_temp_max_c,
            params.normal_temp_min_c,
        )
    except ValueError as error:
        raise InputError.of(
            str(error), mend="correct the normals", source="configuration", place="weather"
        ) from error
    return daily_from_normals(
        normals, first_year=params.made_up_from, years=params.made_up_years, seed=params.seed
    )
