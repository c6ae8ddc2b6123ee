"""Hydrographs of water from outside the site, from a CSV file.

The first column holds times from the start of the storm and says their unit (``time_h``,
``time_min``, ``time_s``); each other column is named as a row of the plan's inflow points and holds
its flow in m³/s. Empty cells at the end of a column end its hydrograph early.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.errors import InputError, Problem, Severity, shown
from brimline.io.paths import nearest_word
from brimline.io.text_tables import number_of, read_rows
from brimline.rainfall import Hydrograph

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from brimline.io.text_tables import Line

_TIME: Final = re.compile(r"\s*time_(h|min|s)\s*")
_SECONDS: Final = {"h": 3600.0, "min": 60.0, "s": 1.0}
_MOST_M3_S: Final = 500.0  # a river in flood; nobody leads that into a swale (ours)
_LONGEST_H: Final = 720.0


def read_inflows(path: Path) -> dict[str, Hydrograph]:
    """Read the hydrographs by name.

    Raises
    ------
    InputError
        If the file is missing, or a column is not a hydrograph.
    """
    heads, rows = read_rows(path)
    unit = _TIME.fullmatch(heads[0])
    if not unit or len(heads) < 2:
        raise _error(path, "needs a column time_h, time_min or time_s, then one for each inflow")
    seconds = _SECONDS[unit[1]]
    found = {}
    for column, name in enumerate(heads[1:], start=1):
        count = max((at for at, (_, cells) in enumerate(rows, start=1) if cells[column]), default=0)
        time_s = np.array([_value(row, 0, heads, path) for row in rows[:count]]) * seconds
        flows = np.array([_value(row, column, heads, path) for row in rows[:count]])
        if name in found:
            raise _error(path, f"has two columns called {shown(name)}")
        try:
            found[name] = Hydrograph(time_s, flows)
        except ValueError as fault:
            raise _error(path, f"{shown(name)}: {fault}") from fault
    return found


def inflow_doubts(
    flows: Mapping[str, Hydrograph], named: Iterable[str], source: str
) -> list[Problem]:
    """Say which hydrographs no inflow point takes, bring no water, or more than a stream does.

    Parameters
    ----------
    named : inflow points of the plan.
    """
    points, found = set(named), []
    for name, flow in flows.items():
        peak = float(flow.flow_m3_s.max(initial=0.0))
        if name not in points:
            near = nearest_word(name, points)
            hint = f"did you mean {near}?" if near else "name an inflow point in the plan like it"
            found.append((f"no inflow point is called {shown(name)}: it was left out", hint))
        ends_h = float(flow.time_s[-1]) / 3600
        if ends_h > _LONGEST_H:
            usual = f"usual are up to {_LONGEST_H:g} h, as every minute of them is routed"
            found.append((f"{shown(name)} runs on for {ends_h:g} h; {usual}", "check its times"))
        if peak == 0:
            found.append((f"{shown(name)} brings no water at all", "check its flows, in m³/s"))
        elif peak > _MOST_M3_S:
            usual = f"usual of a ditch or outfall are up to {_MOST_M3_S:g}"
            hint = "check the unit: flows are in m³/s, not litres"
            found.append((f"{shown(name)} brings {peak:g} m³/s; {usual}", hint))
    return [Problem(Severity.WARNING, message, mend, source) for message, mend in found]


def _value(row: Line, column: int, heads: list[str], path: Path) -> float:
    number, cells = row
    value = number_of(cells[column])
    if value is None:
        what = f'"{shown(cells[column])}" is not a number' if cells[column] else "is empty"
        raise _error(path, f"{shown(heads[column])}: {what}", f"line {number}")
    return value


def _error(path: Path, message: str, place: str = "") -> InputError:
    return InputError.of(
        message,
        mend="write time_h and the names of the inflow points as the header, flows in m³/s below",
        source=str(path),
        place=place,
    )
