"""Daily weather from a CSV file: recognised, checked row by row, gaps treated by stated rules.

- A column is recognised by its name, or named in the configuration; a unit in the name is heeded.
- Trace marks count as no rain. Missing marks and impossible values become gaps.
- A row that repeats another is dropped; one that contradicts it is an error.
- Gaps of up to `SHORT_GAP_D` days: no rain, temperatures in between. Longer ones are filled with
  the same days of the nearest year that has them. A year that lacks more than `MAX_MISSING_D` days
  is an error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.errors import InputError, Problem, Severity
from brimline.io._weather_rows import Layout, WeatherRows, at_lines
from brimline.rainfall.daily import DailyWeather

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

SHORT_GAP_D: Final = 5
MAX_MISSING_D: Final = 31
_FEW_YEARS: Final = 10
_HIGHEST_RAIN_MM: Final = 1900.0  # above the record for one day (1825 mm, WMO archive; from memory)
_COLDEST_C, _HOTTEST_C = -90.0, 57.0  # WMO records are -89.2 and 56.7 °C (from memory)


@dataclass(frozen=True, slots=True)
class WeatherRead:
    """The record, None where it cannot be used, and everything found on the way."""

    weather: DailyWeather | None
    problems: tuple[Problem, ...]

    def usable(self) -> DailyWeather:
        """Return the record; raises InputError with every error found."""
        if self.weather is None:
            raise InputError(p for p in self.problems if p.severity is Severity.ERROR)
        return self.weather


def read_weather(path: Path, layout: Layout | None = None) -> WeatherRead:
    """Read a daily record; nothing is raised for what a person can mend, all of it is told."""
    rows = WeatherRows(path, layout or Layout())
    found = rows.read()
    weather = None if found is None else _Record(rows).of(*found)
    return WeatherRead(weather, tuple(rows.problems))


class _Record:
    """Rows made into a record of every day, without gaps."""

    def __init__(self, rows: WeatherRows) -> None:
        self._rows = rows

    def of(
        self, dates: NDArray[np.datetime64], values: dict[str, NDArray[np.float64]]
    ) -> DailyWeather | None:
        if not self._plausible(values):
            return None
        table = self._one_row_a_day(pd.DataFrame(values), dates)
        return None if table is None else self._complete(table)

    def _plausible(self, values: dict[str, NDArray[np.float64]]) -> bool:
        """Find wrong units and swapped columns; turn single impossible values into gaps."""
        high, low, rain = values["temp_max"], values["temp_min"], values["precipitation"]
        for name, array in (("precipitation", rain), ("temp_max", high), ("temp_min", low)):
            if np.isnan(array).all():
                self._rows.tell(Severity.ERROR, f"{name} holds no value", "check the column")
                return False
        if np.nanpercentile(high, 95) > 50:
            self._rows.tell(
                Severity.ERROR,
                f"temp_max reaches {np.nanmax(high):.0f}: this looks like °F",
                'state weather.temperature_unit = "F"',
                at_lines(np.flatnonzero(high > 50)),
            )
            return False
        crossed = np.flatnonzero(high < low)
        if crossed.size > 0.05 * high.size:
            self._rows.tell(
                Severity.ERROR,
                f"temp_max is below temp_min in {crossed.size} rows: the columns look swapped",
                "swap their names",
                at_lines(crossed),
            )
            return False
        yearly = np.nanmean(rain) * 365.25
        if yearly > 13_000:
            self._rows.tell(
                Severity.ERROR,
                f"{yearly:.0f} mm of rain a year: the unit looks wrong",
                "precipitation is taken in mm; some archives give tenths of mm",
            )
            return False
        if yearly < 80:
            self._rows.tell(
                Severity.WARNING,
                f"only {yearly:.0f} mm of rain a year",
                'if these are inches, state weather.precipitation_unit = "in"',
            )
        self._to_gaps(values, crossed, ("temp_max", "temp_min"), "temp_max below temp_min")
        self._to_gaps(
            values,
            np.flatnonzero((rain < 0) | (rain > _HIGHEST_RAIN_MM)),
            ("precipitation",),
            "impossible precipitation",
        )
        for name in ("temp_max", "temp_min"):
            beyond = (values[name] < _COLDEST_C) | (values[name] > _HOTTEST_C)
            self._to_gaps(values, np.flatnonzero(beyond), (name,), f"impossible {name}")
        return True

    def _to_gaps(
        self,
        values: dict[str, NDArray[np.float64]],
        rows: NDArray[np.int64],
        names: tuple[str, ...],
        what: str,
    ) -> None:
        if not rows.size:
            return
        shown = ", ".join(f"{values[name][rows[0]]:g}" for name in names)
        self._rows.tell(
            Severity.WARNING,
            f"{what} ({shown}) in {rows.size} rows: taken as missing",
            "correct them in the file",
            at_lines(rows),
        )
        for name in names:
            values[name][rows] = np.nan

    def _one_row_a_day(
        self, table: pd.DataFrame, dates: NDArray[np.datetime64]
    ) -> pd.DataFrame | None:
        table = table.set_index(pd.DatetimeIndex(dates))
        again = table.index.duplicated(keep=False)
        if again.any():
            same = table.reset_index().duplicated(keep="first").to_numpy()
            table = table[~same]
            left = np.flatnonzero(table.index.duplicated(keep=False))
            if left.size:
                day = table.index[left[0]].date()
                rows = np.flatnonzero(dates == np.datetime64(day))
                self._rows.tell(
                    Severity.ERROR,
                    f"{day} stands twice with different values",
                    "keep the right row",
                    at_lines(rows),
                )
                return None
            self._rows.tell(
                Severity.NOTICE,
                f"{int(same.sum())} repeated rows were dropped",
                "",
                at_lines(np.flatnonzero(same)),
            )
        return table.sort_index()

    def _complete(self, table: pd.DataFrame) -> DailyWeather | None:
        """Every day once, without gaps; None where too much is missing."""
        table = table.reindex(pd.date_range(table.index[0], table.index[-1]))
        core = table[["precipitation", "temp_max", "temp_min"]]
        lacking = core.isna().any(axis=1)
        by_year = lacking.groupby(pd.DatetimeIndex(table.index).year).sum()
        years = [
            f"{year} ({int(days)} days)" for year, days in by_year.items() if days > MAX_MISSING_D
        ]
        if years:
            self._rows.tell(
                Severity.ERROR,
                f"these years lack more than {MAX_MISSING_D} days: " + ", ".join(years),
                "fill them, or cut the record to whole years",
            )
            return None
        if len(table) < 365:
            self._rows.tell(Severity.ERROR, f"holds {len(table)} days", "a year at least is needed")
            return None
        if lacking.any():
            self._rows.tell(
                Severity.WARNING,
                f"{int(lacking.sum())} days are missing or partial"
                f" (first {table.index[int(lacking.to_numpy().argmax())].date()}); gaps up to"
                f" {SHORT_GAP_D} days were spanned, longer ones taken from the nearest year",
                "complete the record",
            )
        if len(table) < _FEW_YEARS * 365:
            self._rows.tell(
                Severity.WARNING,
                f"covers {len(table) / 365.25:.1f} years: a dry year may not be among them",
                f"give {_FEW_YEARS} years or more",
            )
        optional = {
            name: _optional(table, name)
            for name in ("radiation", "humidity_max", "humidity_min", "wind")
        }
        both = optional["humidity_max"] is not None and optional["humidity_min"] is not None
        filled = {name: _filled(core[name]) for name in core.columns}
        low = np.minimum(filled["temp_min"], filled["temp_max"])
        return DailyWeather(
            first_day=np.datetime64(table.index[0].date()),
            precipitation_mm=filled["precipitation"],
            temp_max_c=filled["temp_max"],
            temp_min_c=low,
            radiation_mj_m2=optional["radiation"],
            humidity_max_pct=optional["humidity_max"] if both else None,
            humidity_min_pct=optional["humidity_min"] if both else None,
            wind_m_s=optional["wind"],
        )


def _optional(table: pd.DataFrame, name: str) -> NDArray[np.float64] | None:
    """Return a quantity that may be left out, where nearly every day has it."""
    if name not in table or table[name].isna().mean() > 0.1:
        return None
    return _filled(table[name])


def _filled(values: pd.Series[float]) -> NDArray[np.float64]:
    if not values.isna().any():
        return np.asarray(values, dtype=np.float64)
    gap = values.isna()
    run = (gap != gap.shift()).cumsum()
    length = gap.groupby(run).transform("sum")
    long = gap & (length > SHORT_GAP_D)
    filled = values.copy()
    for day in values.index[long]:
        filled[day] = _same_day_of_nearest_year(values, day)
    if values.name == "precipitation":
        return np.asarray(filled.fillna(0.0), dtype=np.float64)
    return np.asarray(filled.interpolate(limit_direction="both"), dtype=np.float64)


def _same_day_of_nearest_year(values: pd.Series[float], day: Any) -> float:  # noqa: ANN401
    dates = pd.DatetimeIndex(values.index)
    others = values[(dates.month == day.month) & (dates.day == day.day)].dropna()
    if others.empty:
        return float("nan")
    nearest = np.argmin(np.abs(pd.DatetimeIndex(others.index).year - day.year))
    return float(others.iloc[int(nearest)])
