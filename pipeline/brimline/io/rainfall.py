"""A depth-duration-frequency table from a CSV file.

The first column holds durations and says their unit (``duration_h``, ``duration_min``); each other
column holds one return period, named with its years (``depth_mm_10y``, ``10y``, ``10``). Depths are
in mm unless the columns say inches (``depth_in_10y``) or intensities
(``intensity_mm_per_h_10y``).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from brimline.errors import InputError, Problem, Severity
from brimline.io.paths import missing
from brimline.rainfall import DepthTable
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_DURATION: Final = re.compile(r"(?:duration)?_?(h|hours?|min|minutes?)")
_PERIOD: Final = re.compile(
    r"(?:(?P<what>depth|intensity|rain)_)?(?:(?P<unit>mm|in|mm_per_h|in_per_h)_)?t?"
    r"(?P<years>\d+(?:\.\d+)?)_?(?:y|yr|years?)?"
)

_RECORD_MM: Final = 422.0
_RECORD_POWER: Final = 0.475
_LEAST_HOUR_MM: Final = 4.0


def read_depth_table(path: Path) -> DepthTable:
    """Read the table.

    Raises
    ------
    InputError
        If the file is missing, a column is not understood, or the table is not in order.
    """
    if not path.is_file():
        raise InputError(missing(path))
    try:
        rows = pd.read_csv(path, comment="#", skipinitialspace=True, encoding="utf-8-sig")
    except (ValueError, pd.errors.ParserError) as fault:
        raise _error(path, f"is not a table of comma-separated values ({fault})") from fault
    if rows.shape[0] < 1 or rows.shape[1] < 2:
        raise _error(path, "needs a row for each duration and a column for each return period")
    hours = _numbers(rows, 0, path) * _hours_in(str(rows.columns[0]), path)
    periods = [_period(str(name), path) for name in rows.columns[1:]]
    order = np.argsort([years for years, *_ in periods])
    depths = np.empty((len(rows), len(periods)))
    for place, column in enumerate(order):
        _, to_mm, per_hour = periods[column]
        values = _numbers(rows, int(column) + 1, path) * to_mm
        depths[:, place] = values * hours if per_hour else values
    by_time = np.argsort(hours)
    years = np.array([periods[column][0] for column in order])
    try:
        return DepthTable(hours[by_time], years, depths[by_time])
    except ValueError as fault:
        raise _error(path, str(fault)) from fault


def depth_doubts(table: DepthTable, source: str) -> tuple[Problem, ...]:
    """Say where a table's depths can hardly be what its header says.

    The largest rains ever measured follow 422 mm times the square root, nearly, of the hours
    (Jennings 1950, Monthly Weather Review 78, 4-5: exponent 0.475; value from memory). No place has
    a two-year rain of one hour below a few millimetres (common practice, no source).

    Raises
    ------
    InputError
        If a depth exceeds the record of its duration.
    """
    record_mm = _RECORD_MM * table.durations_h**_RECORD_POWER
    over = np.argwhere(table.depths_mm > record_mm[:, np.newaxis])
    if over.size:
        row, column = (int(place) for place in over[0])
        raise InputError.of(
            f"{table.depths_mm[row, column]:.0f} mm in {table.durations_h[row]:g} h"
            f" ({table.return_periods_y[column]:g} years) is more than was ever measured on Earth,"
            f" {record_mm[row]:.0f} mm",
            mend="check the units in the header: depths (mm, in), durations (h, min)",
            source=source,
        )
    least_mm = _LEAST_HOUR_MM * np.minimum(table.durations_h, 1.0)
    under = np.argwhere(table.depths_mm < least_mm[:, np.newaxis])
    if not under.size:
        return ()
    row, column = (int(place) for place in under[0])
    return (
        Problem(
            Severity.WARNING,
            f"only {table.depths_mm[row, column]:g} mm in {table.durations_h[row]:g} h"
            f" ({table.return_periods_y[column]:g} years); usual are {least_mm[row]:.1f} to"
            f" {record_mm[row]:.0f} mm",
            "if these are inches, name the columns depth_in_10y; if minutes, duration_min",
            source,
        ),
    )


def _hours_in(name: str, path: Path) -> float:
    found = _DURATION.fullmatch(_plain(name))
    if not found:
        raise _error(path, f'its first column "{name}" does not say the unit of the durations')
    return 1.0 if found[1].startswith("h") else 1 / 60


def _period(name: str, path: Path) -> tuple[float, float, bool]:
    """Years, factor to mm, and whether it is an intensity."""
    found = _PERIOD.fullmatch(_plain(name))
    if not found:
        raise _error(path, f'the column "{name}" does not name a return period in years')
    unit = found["unit"] or "mm"
    per_hour = unit.endswith("per_h") or found["what"] == "intensity"
    return float(found["years"]), INCH_MM if unit.startswith("in") else 1.0, per_hour


def _numbers(rows: pd.DataFrame, column: int, path: Path) -> NDArray[np.float64]:
    values = pd.to_numeric(rows.iloc[:, column], errors="coerce").to_numpy(dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        found = str(rows.iloc[int(bad[0]), column])
        raise _error(path, f'line {bad[0] + 2}, {rows.columns[column]}: "{found}" is not a number')
    return values


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9.]+", "_", name.strip().lower()).strip("_")


def _error(path: Path, message: str) -> InputError:
    return InputError.of(
        message,
        mend="write duration_h, depth_mm_2y, depth_mm_10y, … as the header and rising rows below",
        source=str(path),
    )
