"""Means of a raster by period over days, a growing season or a year."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.layers.reading import PERIODS
from brimline.sun.path import season

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.report.results import Results

DAYS: Final = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)  # of the months


def of_days(results: Results, by_period: NDArray[np.float32], day: str) -> NDArray[Any] | None:
    """Mean over some days of a raster by period: one of `PERIODS`, the growing season, or all.

    Parameters
    ----------
    day : a period, "growing season" or "mean day".
    """
    if day == "growing season":
        sun = results.facts.get("sun", {})
        months = season(float(sun["latitude_deg"])) if sun else ()
        mean: NDArray[Any] | None = by_period[list(months)].mean(axis=0) if months else None
        return mean
    if day == "mean day":
        year: NDArray[Any] = np.average(by_period[: len(DAYS)], axis=0, weights=DAYS)
        return year
    one: NDArray[Any] = by_period[PERIODS.index(day)]
    return one
