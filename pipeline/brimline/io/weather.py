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
from brimline.io._weather_checks import Checks
from brimline.io._weather_rows import Layout, WeatherRows
from brimline.rainfall.daily import DailyWeather

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["MAX_MISSING_D", "SHORT_GAP_D", "Layout", "WeatherRead", "read_weather"]

SHORT_GAP_D: Final = 5
MAX_MISSING_D: Final = 31
_FEW_YEARS: Final = 10
_OPTIONAL: Final = {
    "radiation": "radiation_mj_m2_d",
    "sunshine": "sunshine_h",
    "humidity_max": "humidity_max_pct",
    "humidity_min": "humidity_min_pct",
    "humidity_mean": "humidity_mean_pct",
    "dewpoint": "dewpoint_c",
    "wind": "wind_m_s",
}
_OPTIONAL_GAPS: Final = 0.1  # share of days that may lack a quantity that can be left out


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
        if not Checks(self._rows, dates, values).sound():
            return None
        table = self._one_row_a_day(pd.DataFrame(values), dates)
        return None if table is None else self._complete(table, dates)

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
                    self._rows.place(rows),
                )
                return None
            self._rows.tell(
                Severity.NOTICE,
                f"{int(same.sum())} repeated rows were dropped",
                "",
                self._rows.place(np.flatnonzero(same)),
            )
        return table.sort_index()

    def _complete(self, table: pd.DataFrame, dates: NDArray[np.datetime64]) -> DailyWeather | None:
        """Every day once, without gaps; None where too much is missing."""
        table = table.reindex(pd.date_range(table.index[0], table.index[-1]))
        core = table[["precipitation", "temp_max", "temp_min"]]
        if not self._enough(core.isna().any(axis=1), dates):
            return None
        optional: dict[str, Any] = {name: self._optional(table, name) for name in _OPTIONAL}
        for one, other in (("humidity_max", "humidity_min"), ("humidity_min", "humidity_max")):
            if optional[one] is not None and optional[other] is None:
                self._leave_out(one, f"there is no {other} to go with it")
                optional[one] = None
        filled = {name: _filled(core[name]) for name in core.columns}
        return DailyWeather(
            first_day=np.datetime64(table.index[0].date()),
            precipitation_mm=filled["precipitation"],
            temp_max_c=filled["temp_max"],
            temp_min_c=np.minimum(filled["temp_min"], filled["temp_max"]),
            **{_OPTIONAL[name]: values for name, values in optional.items()},
        )

    def _enough(self, lacking: pd.Series[bool], dates: NDArray[np.datetime64]) -> bool:
        """Tell how much is missing and what was done about it; False where it is too much."""
        by_year = lacking.groupby(pd.DatetimeIndex(lacking.index).year).sum()
        bad = by_year[by_year > MAX_MISSING_D]
        if len(bad):
            named = ", ".join(f"{year} ({int(days)} days)" for year, days in bad.head(6).items())
            more = f" and {len(bad) - 6} more" if len(bad) > 6 else ""
            self._rows.tell(
                Severity.ERROR,
                f"these years lack more than {MAX_MISSING_D} days: {named}{more}",
                "fill them, or cut the record to whole years",
                self._gap_after(
                    lacking[pd.DatetimeIndex(lacking.index).year == bad.index[0]], dates
                ),
            )
            return False
        if len(lacking) < 365:
            self._rows.tell(
                Severity.ERROR,
                f"holds {len(lacking)} days: it ends on {dates.max()}",
                "a year at least is needed",
                self._last(dates),
            )
            return False
        if lacking.any():
            self._rows.tell(
                Severity.WARNING,
                f"{int(lacking.sum())} days are missing or partial"
                f" (first {_first(lacking)}); gaps up to {SHORT_GAP_D} days were"
                " spanned, longer ones taken from the nearest year",
                "complete the record",
                self._gap_after(lacking, dates),
            )
        if len(lacking) < _FEW_YEARS * 365:
            self._rows.tell(
                Severity.WARNING,
                f"covers {len(lacking) / 365.25:.1f} years and ends on {dates.max()}: a dry year"
                " may not be among them",
                f"give {_FEW_YEARS} years or more",
                self._last(dates),
            )
        return True

    def _last(self, dates: NDArray[np.datetime64]) -> str:
        """Say the line of the last day."""
        return self._rows.place(np.array([int(dates.argmax())]))

    def _gap_after(self, lacking: pd.Series[bool], dates: NDArray[np.datetime64]) -> str:
        """Say the line of the first day that lacks a value, or the one before a gap of rows."""
        day = _first(lacking)
        here = np.flatnonzero(dates == day)
        if here.size:
            return self._rows.place(here)
        before = np.flatnonzero(dates < day)
        return f"after {self._rows.place(before[[np.argmax(dates[before])]])}"

    def _optional(self, table: pd.DataFrame, name: str) -> NDArray[np.float64] | None:
        """Return a quantity that may be left out, where nearly every day has it."""
        if name not in table:
            return None
        gaps = float(table[name].isna().mean())
        if gaps > _OPTIONAL_GAPS:
            self._leave_out(name, f"{100 * gaps:.0f} % of its days are empty")
            return None
        return _filled(table[name])

    def _leave_out(self, name: str, why: str) -> None:
        self._rows.tell(Severity.NOTICE, f"{name} is not used: {why}", "")


def _first(lacking: pd.Series[bool]) -> np.datetime64:
    """Return the first day that lacks a value."""
    place = int(lacking.to_numpy().argmax())
    return np.datetime64(pd.DatetimeIndex(lacking.index)[place].date())


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
