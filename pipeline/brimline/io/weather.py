"""Daily weather from a CSV file: recognised, checked row by row, gaps treated by stated rules.

- A column is recognised by its name, or named in the configuration; a unit in the name is heeded.
- Trace marks count as no rain. Missing marks and impossible values become gaps.
- A row that repeats another is dropped; one that contradicts it is an error.
- Gaps of up to `SHORT_GAP_D` days: no rain, temperatures in between. Longer ones are filled with
  the same days of the nearest year that has them. A year that lacks more than `MAX_MISSING_D` days
  is an error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
import pandas as pd

from brimline.errors import InputError, Problem, Severity
from brimline.io import paths
from brimline.rainfall.daily import DailyWeather
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

SHORT_GAP_D: Final = 5
MAX_MISSING_D: Final = 31
_FEW_YEARS: Final = 10
_NAMED_ROWS: Final = 5
_TRACE: Final = frozenset({"t", "tr", "trace"})
_MISSING: Final = frozenset({"", "m", "na", "n/a", "nan", "null", "none", "-", "--", "*", "---"})
_SENTINELS: Final = frozenset({-999.0, -9999.0, -99.9, -999.9, 9999.0, 999.9, -8888.0})
_HIGHEST_RAIN_MM: Final = 1900.0  # above the record for one day (1825 mm, WMO archive; from memory)
_COLDEST_C, _HOTTEST_C = -90.0, 57.0  # WMO records are -89.2 and 56.7 °C (from memory)

Quantity = Literal[
    "date",
    "precipitation",
    "temp_max",
    "temp_min",
    "radiation",
    "humidity_max",
    "humidity_min",
    "wind",
]

_NAMES: Final[dict[str, str]] = {
    "date": r"(date|day|time|datum)",
    "precipitation": r"(precipitation|precip|prcp|rain|rainfall|rr|ppt)",
    "temp_max": r"(temp_max|tmax|t_max|max_temp|temperature_max|tx|maximum_temperature)",
    "temp_min": r"(temp_min|tmin|t_min|min_temp|temperature_min|tn|minimum_temperature)",
    "radiation": r"(radiation|solar_radiation|srad|rs)",
    "humidity_max": r"(humidity_max|rh_max|rhmax|max_humidity)",
    "humidity_min": r"(humidity_min|rh_min|rhmin|min_humidity)",
    "wind": r"(wind|wind_speed|windspeed|u2)",
}
_UNIT: Final = r"(_(?P<unit>mm|in|inch|inches|c|degc|f|degf|m_s|ms|mj_m2|mj|pct|percent))?"
_NEEDED: Final = ("date", "precipitation", "temp_max", "temp_min")


@dataclass(frozen=True, slots=True)
class Layout:
    """What the configuration says of a weather file; empty values are recognised.

    Parameters
    ----------
    columns : quantity to the name of its column.
    temperature_unit, precipitation_unit : stated units, or ``"auto"``: by the column's name,
        else °C and mm.
    date_format : as `datetime.strptime` takes it; empty means year-month-day.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    temperature_unit: Literal["auto", "C", "F"] = "auto"
    precipitation_unit: Literal["auto", "mm", "in"] = "auto"
    date_format: str = ""


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
    work = _Work(path, layout or Layout())
    weather = work.read()
    return WeatherRead(weather, tuple(work.problems))


class _Work:
    """One reading of a file: its rows, and what was found."""

    def __init__(self, path: Path, layout: Layout) -> None:
        self.path = path
        self.layout = layout
        self.problems: list[Problem] = []

    def read(self) -> DailyWeather | None:
        rows = self._rows()
        if rows is None:
            return None
        found = self._recognised(list(rows.columns))
        if found is None:
            return None
        dates = self._dates(rows[found["date"][0]])
        values = {
            name: self._numbers(rows[column], name)
            for name, (column, _) in found.items()
            if name != "date"
        }
        self._convert(values, {name: unit for name, (_, unit) in found.items()})
        if self._failed or not self._plausible(values):
            return None
        table = self._one_row_a_day(pd.DataFrame(values), dates)
        return None if table is None else self._complete(table)

    @property
    def _failed(self) -> bool:
        return any(problem.severity is Severity.ERROR for problem in self.problems)

    def _tell(self, severity: Severity, message: str, mend: str, place: str = "") -> None:
        self.problems.append(Problem(severity, message, mend, str(self.path), place))

    def _rows(self) -> pd.DataFrame | None:
        if not self.path.is_file():
            self.problems.append(paths.missing(self.path))
            return None
        try:
            rows = pd.read_csv(
                self.path,
                dtype=str,
                sep=None,
                engine="python",
                skipinitialspace=True,
                comment="#",
                keep_default_na=False,
                encoding="utf-8-sig",
            )
        except (ValueError, UnicodeDecodeError, pd.errors.ParserError) as fault:
            self._tell(
                Severity.ERROR,
                f"is not a table of comma-separated values ({fault})",
                "save it as CSV in UTF-8 with one header line",
            )
            return None
        if rows.empty:
            self._tell(Severity.ERROR, "holds no rows", "give a daily record")
            return None
        return rows

    def _recognised(self, names: list[str]) -> dict[str, tuple[str, str]] | None:
        """Quantity to the name of its column and the unit in that name."""
        found: dict[str, tuple[str, str]] = {}
        for quantity, pattern in _NAMES.items():
            stated = self.layout.columns.get(quantity)
            matches = [
                (name, match["unit"] or "")
                for name in names
                if (match := re.fullmatch(pattern + _UNIT, _plain_name(name)))
                and (stated is None or name == stated)
            ]
            if stated is not None and stated in names:
                found[quantity] = matches[0] if matches else (stated, "")
            elif stated is not None:
                self._tell(
                    Severity.ERROR,
                    f'has no column "{stated}" for {quantity}; it holds {", ".join(names)}',
                    "name one of them in [weather]",
                )
            elif len(matches) > 1:
                self._tell(
                    Severity.ERROR,
                    f"has several columns for {quantity}: "
                    + ", ".join(name for name, _ in matches),
                    f"name one in [weather]: {quantity}_column",
                )
            elif matches:
                found[quantity] = matches[0]
        missing = [name for name in _NEEDED if name not in found]
        if missing and not self._failed:
            self._tell(
                Severity.ERROR,
                f"has no column for {', '.join(missing)}; it holds {', '.join(names)}",
                "rename the columns, or name them in [weather]",
            )
        return None if missing else found

    def _dates(self, column: pd.Series[str]) -> NDArray[np.datetime64]:
        written = column.str.strip()
        form = self.layout.date_format or "%Y-%m-%d"
        if not self.layout.date_format:
            written = written.str.replace("/", "-").str.split("T").str[0].str.split(" ").str[0]
        dates = pd.to_datetime(written, format=form, errors="coerce")
        bad = np.flatnonzero(dates.isna().to_numpy())
        if bad.size:
            self._tell(
                Severity.ERROR,
                f'"{column.iloc[bad[0]]}" is not a date as {form}',
                "write dates as 2019-03-31, or state weather.date_format",
                _at(bad),
            )
        return np.asarray(dates.to_numpy(), dtype="datetime64[D]")

    def _numbers(self, column: pd.Series[str], name: str) -> NDArray[np.float64]:
        text = column.str.strip().str.lower()
        trace = (
            text.isin(_TRACE).to_numpy() if name == "precipitation" else np.zeros(len(text), bool)
        )
        absent = text.isin(_MISSING).to_numpy()
        values = np.array(pd.to_numeric(text.where(~(trace | absent)), errors="coerce"), float)
        strange = np.flatnonzero(np.isnan(values) & ~trace & ~absent)
        if strange.size:
            self._tell(
                Severity.ERROR,
                f'{name}: "{column.iloc[strange[0]]}" is not a number',
                "correct it, or leave it empty where nothing was measured",
                _at(strange),
            )
        marks = np.isin(values, list(_SENTINELS))
        values[marks] = np.nan
        values[trace] = 0.0
        if trace.any():
            self._tell(Severity.NOTICE, f"{int(trace.sum())} traces of rain count as none", "")
        return values

    def _convert(self, values: dict[str, NDArray[np.float64]], units: Mapping[str, str]) -> None:
        """Bring temperatures to °C and rain to mm, in place."""
        stated = self.layout.temperature_unit
        for name in ("temp_max", "temp_min"):
            if name in values and (
                stated == "F" or (stated == "auto" and units[name] in ("f", "degf"))
            ):
                values[name] = (values[name] - 32) / 1.8
                self._tell(Severity.NOTICE, f"{name} was converted from °F to °C", "")
        inches = self.layout.precipitation_unit
        if "precipitation" in values and (
            inches == "in" or (inches == "auto" and units["precipitation"].startswith("in"))
        ):
            values["precipitation"] = values["precipitation"] * INCH_MM
            self._tell(Severity.NOTICE, "precipitation was converted from inches to mm", "")

    def _plausible(self, values: dict[str, NDArray[np.float64]]) -> bool:
        """Find wrong units and swapped columns; turn single impossible values into gaps."""
        high, low, rain = values["temp_max"], values["temp_min"], values["precipitation"]
        for name, array in (("precipitation", rain), ("temp_max", high), ("temp_min", low)):
            if np.isnan(array).all():
                self._tell(Severity.ERROR, f"{name} holds no value", "check the column")
                return False
        if np.nanpercentile(high, 95) > 50:
            self._tell(
                Severity.ERROR,
                f"temp_max reaches {np.nanmax(high):.0f}: this looks like °F",
                'state weather.temperature_unit = "F"',
                _at(np.flatnonzero(high > 50)),
            )
            return False
        crossed = np.flatnonzero(high < low)
        if crossed.size > 0.05 * high.size:
            self._tell(
                Severity.ERROR,
                f"temp_max is below temp_min in {crossed.size} rows: the columns look swapped",
                "swap their names",
                _at(crossed),
            )
            return False
        yearly = np.nanmean(rain) * 365.25
        if yearly > 13_000:
            self._tell(
                Severity.ERROR,
                f"{yearly:.0f} mm of rain a year: the unit looks wrong",
                "precipitation is taken in mm; some archives give tenths of mm",
            )
            return False
        if yearly < 80:
            self._tell(
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
        self._tell(
            Severity.WARNING,
            f"{what} ({shown}) in {rows.size} rows: taken as missing",
            "correct them in the file",
            _at(rows),
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
                self._tell(
                    Severity.ERROR,
                    f"{day} stands twice with different values",
                    "keep the right row",
                    _at(rows),
                )
                return None
            self._tell(
                Severity.NOTICE,
                f"{int(same.sum())} repeated rows were dropped",
                "",
                _at(np.flatnonzero(same)),
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
            self._tell(
                Severity.ERROR,
                f"these years lack more than {MAX_MISSING_D} days: " + ", ".join(years),
                "fill them, or cut the record to whole years",
            )
            return None
        if len(table) < 365:
            self._tell(Severity.ERROR, f"holds {len(table)} days", "a year at least is needed")
            return None
        if lacking.any():
            self._tell(
                Severity.WARNING,
                f"{int(lacking.sum())} days are missing or partial"
                f" (first {table.index[int(lacking.to_numpy().argmax())].date()}); gaps up to"
                f" {SHORT_GAP_D} days were spanned, longer ones taken from the nearest year",
                "complete the record",
            )
        if len(table) < _FEW_YEARS * 365:
            self._tell(
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


def _plain_name(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower().replace("°", "")).strip("_")


def _at(rows: NDArray[np.int64]) -> str:
    """Line numbers as an editor counts them: the header is line 1."""
    named = ", ".join(str(int(row) + 2) for row in rows[:_NAMED_ROWS])
    more = f" and {rows.size - _NAMED_ROWS} more" if rows.size > _NAMED_ROWS else ""
    return f"line{'s' if rows.size > 1 else ''} {named}{more}"


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
