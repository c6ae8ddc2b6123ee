"""The columns of a weather file: recognised by name, dates and numbers read row by row."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from brimline.errors import Problem, Severity
from brimline.io.paths import missing
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

_NAMED_ROWS: Final = 5
_TRACE: Final = frozenset({"t", "tr", "trace"})
_MISSING: Final = frozenset({"", "m", "na", "n/a", "nan", "null", "none", "-", "--", "*", "---"})
_SENTINELS: Final = frozenset({-999.0, -9999.0, -99.9, -999.9, 9999.0, 999.9, -8888.0})

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


class WeatherRows:
    """One reading of a file's rows, and what was found on the way.

    Parameters
    ----------
    path : the CSV file.
    layout : what the configuration says of it.
    """

    def __init__(self, path: Path, layout: Layout) -> None:
        self.path = path
        self.layout = layout
        self.problems: list[Problem] = []

    def read(self) -> tuple[NDArray[np.datetime64], dict[str, NDArray[np.float64]]] | None:
        """Return dates and the values by quantity, in °C and mm; None where they are unusable."""
        rows = self._rows()
        found = None if rows is None else self._recognised(list(rows.columns))
        if rows is None or found is None:
            return None
        dates = self._dates(rows[found["date"][0]])
        values = {
            name: self._numbers(rows[column], name)
            for name, (column, _) in found.items()
            if name != "date"
        }
        self._convert(values, {name: unit for name, (_, unit) in found.items()})
        return None if self.failed else (dates, values)

    @property
    def failed(self) -> bool:
        """True where an error was found."""
        return any(problem.severity is Severity.ERROR for problem in self.problems)

    def tell(self, severity: Severity, message: str, mend: str, place: str = "") -> None:
        """Keep a problem of this file."""
        self.problems.append(Problem(severity, message, mend, str(self.path), place))

    def _rows(self) -> pd.DataFrame | None:
        if not self.path.is_file():
            self.problems.append(missing(self.path))
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
            self.tell(
                Severity.ERROR,
                f"is not a table of comma-separated values ({fault})",
                "save it as CSV in UTF-8 with one header line",
            )
            return None
        if rows.empty:
            self.tell(Severity.ERROR, "holds no rows", "give a daily record")
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
                self.tell(
                    Severity.ERROR,
                    f'has no column "{stated}" for {quantity}; it holds {", ".join(names)}',
                    "name one of them in [weather]",
                )
            elif len(matches) > 1:
                self.tell(
                    Severity.ERROR,
                    f"has several columns for {quantity}: "
                    + ", ".join(name for name, _ in matches),
                    f"name one in [weather]: {quantity}_column",
                )
            elif matches:
                found[quantity] = matches[0]
        missing = [name for name in _NEEDED if name not in found]
        if missing and not self.failed:
            self.tell(
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
            self.tell(
                Severity.ERROR,
                f'"{column.iloc[bad[0]]}" is not a date as {form}',
                "write dates as 2019-03-31, or state weather.date_format",
                at_lines(bad),
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
            self.tell(
                Severity.ERROR,
                f'{name}: "{column.iloc[strange[0]]}" is not a number',
                "correct it, or leave it empty where nothing was measured",
                at_lines(strange),
            )
        marks = np.isin(values, list(_SENTINELS))
        values[marks] = np.nan
        values[trace] = 0.0
        if trace.any():
            self.tell(Severity.NOTICE, f"{int(trace.sum())} traces of rain count as none", "")
        return values

    def _convert(self, values: dict[str, NDArray[np.float64]], units: Mapping[str, str]) -> None:
        """Bring temperatures to °C and rain to mm, in place."""
        stated = self.layout.temperature_unit
        for name in ("temp_max", "temp_min"):
            if name in values and (
                stated == "F" or (stated == "auto" and units[name] in ("f", "degf"))
            ):
                values[name] = (values[name] - 32) / 1.8
                self.tell(Severity.NOTICE, f"{name} was converted from °F to °C", "")
        inches = self.layout.precipitation_unit
        if "precipitation" in values and (
            inches == "in" or (inches == "auto" and units["precipitation"].startswith("in"))
        ):
            values["precipitation"] = values["precipitation"] * INCH_MM
            self.tell(Severity.NOTICE, "precipitation was converted from inches to mm", "")


def _plain_name(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower().replace("°", "")).strip("_")


def at_lines(rows: NDArray[np.int64]) -> str:
    """Line numbers as an editor counts them: the header is line 1."""
    named = ", ".join(str(int(row) + 2) for row in rows[:_NAMED_ROWS])
    more = f" and {rows.size - _NAMED_ROWS} more" if rows.size > _NAMED_ROWS else ""
    return f"line{'s' if rows.size > 1 else ''} {named}{more}"
