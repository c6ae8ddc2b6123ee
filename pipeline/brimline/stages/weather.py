"""The daily weather record: from the person's file, else made from monthly normals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.balance.generator import Normals, daily_from_normals
from brimline.config import Weather
from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity
from brimline.io.frames import conformed, empty
from brimline.io.weather import Layout, read_weather
from brimline.layers import table
from brimline.rainfall.daily import MEASURED, OPTIONAL, DailyWeather

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_TABLE: Final = "weather_days"
_SNOW_SHARE: Final = 0.15  # of the precipitation; more of it on frosty days is told


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


def as_frame(weather: DailyWeather) -> pd.DataFrame:
    """Return a record as rows of the catalogue's table."""
    columns: dict[str, Any] = {"date": np.datetime_as_string(weather.dates, unit="D")}
    columns |= {name: getattr(weather, name) for name in MEASURED}
    for name in OPTIONAL:
        values = getattr(weather, name)
        columns[name] = np.full(weather.days, np.nan) if values is None else values
    return pd.DataFrame(conformed(pd.DataFrame(columns), table(_TABLE)))


def from_frame(rows: pd.DataFrame, *, is_made_up: bool) -> DailyWeather:
    """Return the record that `as_frame` wrote."""
    values: dict[str, Any] = {name: rows[name].to_numpy(np.float64) for name in MEASURED}
    for name in OPTIONAL:
        found = rows[name].to_numpy(np.float64)
        values[name] = None if np.isnan(found).all() else found
    return DailyWeather(np.datetime64(rows["date"].iloc[0], "D"), made_up=is_made_up, **values)


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("weather", Weather)
    path = given.source("weather", Path)
    if path is None and not params.has_normals:
        return {_TABLE: pd.DataFrame(empty(table(_TABLE))), "weather": {"days": 0}}
    if path is None:
        weather = made_up(params)
        report.problem(
            Problem(
                Severity.WARNING,
                f"{params.made_up_years} years of days were made up from monthly normals; real"
                " years differ more from each other, and dry years are drier",
                "give inputs.weather, a daily record of a station nearby",
                "weather",
            )
        )
    else:
        read = read_weather(path, layout_of(params))
        weather = read.usable()
        for problem in read.problems:
            report.problem(problem)
    _tell_snow(weather, report)
    facts = {
        "days": weather.days,
        "made_up": weather.made_up,
        "first_day": str(weather.first_day),
        "last_day": str(weather.dates[-1]),
    }
    return {_TABLE: as_frame(weather), "weather": facts}


def _tell_snow(weather: DailyWeather, report: Reporter) -> None:
    frosty = (weather.temp_max_c + weather.temp_min_c) / 2 < 0
    total = float(weather.precipitation_mm.sum())
    share = float(weather.precipitation_mm[frosty].sum()) / total if total > 0 else 0.0
    if share > _SNOW_SHARE:
        report.problem(
            Problem(
                Severity.WARNING,
                f"{100 * share:.0f} % of the precipitation falls on days with a mean below 0 °C;"
                " snow is not modelled, it counts as rain of that day",
                "trust winter and spring figures less",
                "weather",
            )
        )


STAGE = Stage(
    name="weather",
    version=1,
    title="the daily weather record",
    needs=(),
    makes=(_TABLE, "weather"),
    run=_run,
    sources=("weather",),
    tables=("weather",),
)
