"""How much of a storm is worth showing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pandas import DataFrame

_PASSED: Final = 0.01  # of the largest flow: below it the storm has passed
_BEYOND: Final = 1.25


def busy_until_h(series: DataFrame) -> float:
    """Return when the flows of a storm have mostly passed, and a quarter more [h].

    Parameters
    ----------
    series : rows of ``storm_series`` of one storm.
    """
    flow = series[["inflow_m3_s", "outflow_m3_s"]].max(axis=1)
    last_h = float(series["time_h"].max())
    if flow.max() <= 0:
        return last_h
    return min(last_h, _BEYOND * float(series["time_h"][flow > _PASSED * flow.max()].max()))
