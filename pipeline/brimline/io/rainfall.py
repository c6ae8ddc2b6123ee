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

from brimline.errors import InputError, Problem, Severity, shown
from brimline.io.text_tables import number_of, read_rows
from brimline.rainfall import DepthTable
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.io.text_tables import Line

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
    heads, rows = read_rows(path)
    if not rows or len(heads) < 2:
        raise _error(path, "needs a row for each duration and a column for each return period")
    hours = _numbers(heads, rows, 0, path) * _hours_in(heads[0], path)
    periods = [_period(name, path) for name in heads[1:]]
    order = np.argsort([years for years, *_ in periods])
    depths = np.empty((len(rows), len(periods)))
    for place, column in enumerate(order):
        _, to_mm, per_hour = periods[column]
        values = _numbers(heads, rows, int(column) + 1, path) * to_mm
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


def _numbers(heads: list[str], rows: list[Line], column: int, path: Path) -> NDArray[np.float64]:
    values = []
    for number, cells in rows:
        value = number_of(cells[column])
        if value is None:
            what = f'"{shown(cells[column])}" is not a number' if cells[column] else "is empty"
            raise _error(path, f"{shown(heads[column])}: {what}", f"line {number}")
        values.append(value)
    return np.array(values)


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9.]+", "_", name.strip().lower()).strip("_")


def _error(path: Path, message: str, place: str = "") -> InputError:
    return InputError.of(
        message,
        mend="write duration_h, depth_mm_2y, depth_mm_10y, … as the header and rising rows below",
        source=str(path),
        place=place,
    )
