"""The columns of a weather file: recognised by name, dates and numbers read row by row."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from brimline.errors import InputError, Problem, Severity
from brimline.io.text_tables import read_rows
from brimline.rainfall.daily import wind_at_2m
from brimline.units import INCH_MM, MILE_M

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

_NAMED_ROWS: Final = 5
_TRACE: Final = frozenset({"t", "tr", "trace"})
_MISSING: Final = frozenset({"", "m", "na", "n/a", "nan", "null", "none", "-", "--", "*", "---"})
_SENTINELS: Final = (-999.0, -9999.0, -99.9, -99.99, -999.9, 9999.0, 999.9, -8888.0)

_NAMES: Final[dict[str, str]] = {
    "date": r"(date|day|time|datum)",
    "precipitation": r"(precipitation|precip|prcp|rain|rainfall|rr|ppt)",
    "temp_max": r"(temp_max|tmax|t_max|max_temp|temperature_max|tx|maximum_temperature)",
    "temp_min": r"(temp_min|tmin|t_min|min_temp|temperature_min|tn|minimum_temperature)",
    "radiation": r"(radiation|solar_radiation|srad|rs)",
    "sunshine": r"(sunshine|sun_hours|sunshine_hours|sunshine_duration)",
    "humidity_max": r"(humidity_max|rh_max|rhmax|max_humidity)",
    "humidity_min": r"(humidity_min|rh_min|rhmin|min_humidity)",
    "humidity_mean": r"(humidity|relative_humidity|humidity_mean|mean_humidity|rh|rh_mean|rhmean)",
    "dewpoint": r"(dewpoint|dew_point|dewpoint_temperature|tdew|t_dew|tdew_mean)",
    "wind": r"(wind|wind_speed|windspeed|ws|awnd|u2)",
}
_UNITS: Final = (
    "tenths_of_mm|tenths_of_c|mm|in|inch|inches|deg_c|deg_f|degc|degf|celsius|fahrenheit|c|f|"
    "m_s|ms|km_h|kmh|kph|mph|kn|kt|kts|knots|mj_m2|mj|w_m2|kwh_m2|pct|percent|hours|hour|h"
)
_UNIT: Final = rf"(_(?P<unit>{_UNITS}))?(_per_day|_day|_d)?"
_NEEDED: Final = ("date", "precipitation", "temp_max", "temp_min")
TEMPERATURES: Final = ("temp_max", "temp_min", "dewpoint")

# what a unit is called in a column's name or in the configuration, by what it is to us
_ALIASES: Final[dict[str, str]] = {
    "": "",
    **dict.fromkeys(("mm", "c", "deg_c", "degc", "celsius", "m_s", "ms", "mj_m2", "mj"), ""),
    **dict.fromkeys(("pct", "percent", "hours", "hour", "h"), ""),
    **dict.fromkeys(("in", "inch", "inches"), "in"),
    **dict.fromkeys(("f", "deg_f", "degf", "fahrenheit"), "F"),
    **dict.fromkeys(("km_h", "kmh", "kph"), "km/h"),
    **dict.fromkeys(("kn", "kt", "kts", "knots"), "kn"),
    "mph": "mph",
    "w_m2": "W/m2",
    "kwh_m2": "kWh/m2",
    "tenths_of_mm": "tenths of mm",
    "tenths_of_c": "tenths of C",
}
# unit: (its words, factor to ours, what is taken off before)
_TO_OURS: Final[dict[str, tuple[str, float, float]]] = {
    "in": ("inches to mm", INCH_MM, 0.0),
    "F": ("°F to °C", 1 / 1.8, 32.0),
    "tenths of mm": ("tenths of mm to mm", 0.1, 0.0),
    "tenths of C": ("tenths of °C to °C", 0.1, 0.0),
    "km/h": ("km/h to m/s", 1000 / 3600, 0.0),
    "mph": ("miles per hour to m/s", MILE_M / 3600, 0.0),
    "kn": ("knots to m/s", 1852 / 3600, 0.0),
    "W/m2": ("W/m² to MJ/m² a day", 0.0864, 0.0),
    "kWh/m2": ("kWh/m² to MJ/m²", 3.6, 0.0),
}


@dataclass(frozen=True, slots=True)
class Layout:
    """What the configuration says of a weather file; empty values are recognised.

    Parameters
    ----------
    columns : quantity to the name of its column.
    temperature_unit, precipitation_unit, wind_unit, radiation_unit : stated units, or ``"auto"``:
        by the column's name, else °C, mm, m/s and MJ/m² a day.
    wind_height_m : where the anemometer stands above ground [m].
    date_format : as `datetime.strptime` takes it; empty means year-month-day.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    temperature_unit: Literal["auto", "C", "F", "tenths of C"] = "auto"
    precipitation_unit: Literal["auto", "mm", "in", "tenths of mm"] = "auto"
    wind_unit: Literal["auto", "m/s", "km/h", "mph", "kn"] = "auto"
    radiation_unit: Literal["auto", "MJ/m2", "W/m2", "kWh/m2"] = "auto"
    wind_height_m: float = 2.0
    date_format: str = ""

    def unit_of(self, quantity: str, in_name: str) -> str:
        """Return the unit of a quantity that is not ours; empty where it is."""
        stated = "auto"
        if quantity in TEMPERATURES:
            stated = self.temperature_unit
        elif quantity in ("precipitation", "wind", "radiation"):
            stated = str(getattr(self, f"{quantity}_unit"))
        unit = _ALIASES[in_name] if stated == "auto" else stated
        return unit if unit in _TO_OURS else ""


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
        self._lines: list[int] = []  # of the file, by row

    def read(self) -> tuple[NDArray[np.datetime64], dict[str, NDArray[np.float64]]] | None:
        """Return dates and the values by quantity, in our units; None where they are unusable."""
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
        for name, (_, unit) in found.items():
            if name != "date":
                self._convert(values, name, unit)
        return None if self.failed else (dates, values)

    @property
    def failed(self) -> bool:
        """True where an error was found."""
        return any(problem.severity is Severity.ERROR for problem in self.problems)

    def tell(self, severity: Severity, message: str, mend: str, place: str = "") -> None:
        """Keep a problem of this file."""
        self.problems.append(Problem(severity, message, mend, str(self.path), place))

    def place(self, rows: NDArray[np.int64]) -> str:
        """Say rows as line numbers of the file, counted as an editor counts them."""
        named = ", ".join(str(self._lines[row]) for row in rows[:_NAMED_ROWS])
        more = f" and {rows.size - _NAMED_ROWS} more" if rows.size > _NAMED_ROWS else ""
        return f"line{'s' if rows.size > 1 else ''} {named}{more}"

    def _rows(self) -> pd.DataFrame | None:
        try:
            heads, rows = read_rows(self.path)
        except InputError as error:
            self.problems += error.problems
            return None
        if not rows:
            self.tell(Severity.ERROR, "holds no rows", "give a daily record")
            return None
        self._lines = [number for number, _ in rows]
        return pd.DataFrame([cells for _, cells in rows], columns=heads, dtype=str)

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
                    f"name one of them in weather.{quantity}_column",
                )
            elif len(matches) > 1:
                self.tell(
                    Severity.ERROR,
                    f"has several columns for {quantity}: "
                    + ", ".join(name for name, _ in matches),
                    f"name one in weather.{quantity}_column",
                )
            elif matches:
                found[quantity] = matches[0]
        lacking = [name for name in _NEEDED if name not in found]
        if lacking and not self.failed:
            self.tell(
                Severity.ERROR,
                f"has no column for {', '.join(lacking)}; it holds {', '.join(names)}",
                f"rename the columns, or name them in [weather]: {lacking[0]}_column",
            )
        return None if lacking or self.failed else found

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
                self.place(bad),
            )
        return np.asarray(dates.to_numpy(), dtype="datetime64[D]")

    def _numbers(self, column: pd.Series[str], name: str) -> NDArray[np.float64]:
        text = column.str.strip().str.lower()
        rain = name == "precipitation"
        trace = text.isin(_TRACE).to_numpy() if rain else np.zeros(len(text), bool)
        absent = text.isin(_MISSING).to_numpy()
        commas = text.str.fullmatch(r"[+-]?\d+,\d+")
        if commas.any():
            text = text.where(~commas, text.str.replace(",", ".", regex=False))
        values = np.array(pd.to_numeric(text.where(~(trace | absent)), errors="coerce"), float)
        strange = np.flatnonzero(np.isnan(values) & ~trace & ~absent)
        if strange.size:
            self.tell(
                Severity.ERROR,
                f'{name}: "{column.iloc[strange[0]]}" is not a number',
                "correct it, or leave it empty where nothing was measured",
                self.place(strange),
            )
        values[np.isin(values, _SENTINELS)] = np.nan
        values[trace] = 0.0
        if trace.any():
            self.tell(
                Severity.NOTICE,
                f"{int(trace.sum())} traces of rain count as none",
                "",
                self.place(np.flatnonzero(trace)),
            )
        return values

    def _convert(self, values: dict[str, NDArray[np.float64]], name: str, in_name: str) -> None:
        """Bring one quantity to our unit, in place, and say so."""
        unit = self.layout.unit_of(name, in_name)
        if unit:
            words, factor, less = _TO_OURS[unit]
            values[name] = (values[name] - less) * factor
            self.tell(Severity.NOTICE, f"{name} was converted from {words}", "")
        height_m = self.layout.wind_height_m
        if name == "wind" and height_m != 2:
            values[name] = wind_at_2m(values[name], height_m)
            self.tell(
                Severity.NOTICE,
                f"wind was brought from {height_m:g} m down to 2 m above ground",
                "",
            )


def _plain_name(name: str) -> str:
    plain = name.strip().lower().replace("°", "").replace("²", "2").replace("%", "pct")
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")
