"""Hydrographs of water from outside the site, from a CSV file.

The first column holds times from the start of the storm and says their unit (``time_h``,
``time_min``, ``time_s``); each other column is named as a row of the plan's inflow points and holds
its flow in m³/s. Empty cells at the end of a column end its hydrograph early.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from brimline.errors import InputError
from brimline.io.paths import missing
from brimline.rainfall import Hydrograph

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_TIME: Final = re.compile(r"\s*time_(h|min|s)\s*")
_SECONDS: Final = {"h": 3600.0, "min": 60.0, "s": 1.0}


def read_inflows(path: Path) -> dict[str, Hydrograph]:
    """Read the hydrographs by name.

    Raises
    ------
    InputError
        If the file is missing, or a column is not a hydrograph.
    """
    if not path.is_file():
        raise InputError(missing(path))
    try:
        rows = pd.read_csv(path, comment="#", skipinitialspace=True, encoding="utf-8-sig")
    except (ValueError, pd.errors.ParserError) as fault:
        raise _error(path, f"is not a table of comma-separated values ({fault})") from fault
    unit = _TIME.fullmatch(str(rows.columns[0]))
    if not unit or rows.shape[1] < 2:
        raise _error(path, "needs a column time_h, time_min or time_s, then one for each inflow")
    time_s = _numbers(rows.iloc[:, 0], path) * _SECONDS[unit[1]]
    found = {}
    for name in rows.columns[1:]:
        flows = rows[name]
        count = int(np.flatnonzero(flows.notna()).max(initial=-1)) + 1
        try:
            found[str(name).strip()] = Hydrograph(
                time_s[:count], _numbers(flows.iloc[:count], path)
            )
        except ValueError as fault:
            raise _error(path, f"{name}: {fault}") from fault
    return found


def _numbers(column: pd.Series, path: Path) -> NDArray[np.float64]:
    values = pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        at = int(bad[0])
        found = column.iloc[at]
        raise _error(path, f'line {at + 2}, {column.name}: "{found}" is not a number')
    return values


def _error(path: Path, message: str) -> InputError:
    return InputError.of(
        message,
        mend="write time_h and the names of the inflow points as the header, flows in m³/s below",
        source=str(path),
    )
