"""The daily weather record: from the person's file, else made from monthly normals."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from brimline.config import Weather
from brimline.engine.stage import Stage
from brimline.inputs.weather import weather_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.rainfall.daily import DailyWeather


@dataclass(frozen=True, slots=True)
class WeatherRecord:
    """The record that the year runs through; None where there is no weather."""

    days: DailyWeather | None = None

    @property
    def rain_a_year_mm(self) -> float | None:
        """Mean rain of a year [mm]."""
        days = self.days
        return None if days is None else float(days.precipitation_mm.sum() / days.days * 365.25)


def _run(given: Given, report: Reporter) -> Made:
    days, problems = weather_of(given.source("weather", Path), given.params("weather", Weather))
    report.tell(problems)
    return {"weather": WeatherRecord(days)}


STAGE = Stage(
    name="weather",
    version=1,
    title="the daily weather record",
    needs=(),
    makes=("weather",),
    typed={"weather": WeatherRecord},
    run=_run,
    sources=("weather",),
    tables=("weather",),
)
