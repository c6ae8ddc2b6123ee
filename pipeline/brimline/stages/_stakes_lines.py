"""Stakes on lines that are not dug elements: rows, graded lines and keylines, where asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.elements.building import SectionProfile
from brimline.lines.staking import Tolerance, fall_tolerance, stakes_on, stations_along
from brimline.terrain.shaping import LevelAlong

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.config import Staking
    from brimline.engine.stage import Given
    from brimline.lines.staking import Stake
    from brimline.terrain.shaping import LevelsAt

# layer: what its lines are called, and the column that numbers them
LINES: Final = {
    "swale_lines": ("Swale line", "swale_id"),
    "drain_lines": ("Drain line", "drain_id"),
    "keylines": ("Keyline", "keyline_id"),
}
_ROLE: Final = "mark"
_STEP_M: Final = 1.0  # of the section along a line
_LEVEL: Final = Tolerance(0.05, "water would gather at a low place")  # common practice, no source


def line_stakes(
    given: Given, params: Staking, ground: LevelsAt
) -> tuple[list[Stake], list[SectionProfile]]:
    """Put stakes on every line of the layers that were asked for, at the level it should have.

    Returns
    -------
    stakes, and a section along each line.
    """
    found: list[Stake] = []
    cuts: list[SectionProfile] = []
    for layer in params.lines:
        word, number = LINES[layer]
        for row in given.frame(layer).itertuples(index=False):
            parts = shapely.get_parts(row.geometry)
            for place, part in enumerate(parts, start=1):
                name = f"{word} {getattr(row, number)}"
                name = f"{name}.{place}" if len(parts) > 1 else name
                wanted, tolerance = _wanted(part, row, params)
                found += _on(name, part, wanted, tolerance, params, ground)
                cuts.append(_along(name, part, wanted, ground))
    return found, cuts


def _wanted(
    line: shapely.LineString,
    row: Any,  # noqa: ANN401 - a row of a frame
    params: Staking,
) -> tuple[LevelAlong, Tolerance]:
    """Level that a line should have, and how far from it a mark may stand."""
    if not hasattr(row, "from_level_m"):
        return LevelAlong.flat(row.level_m), _LEVEL
    fall = abs(row.from_level_m - row.to_level_m) / line.length
    return (
        LevelAlong.graded(row.from_level_m, row.to_level_m, line.length),
        fall_tolerance(fall * min(params.interval_m, line.length)),
    )


def _along(
    name: str, line: shapely.LineString, wanted: LevelAlong, ground: LevelsAt
) -> SectionProfile:
    stations = stations_along(line, _STEP_M)
    at, x, y = stations.chainage_m, stations.x, stations.y
    level = wanted.at(at)
    return SectionProfile(name, _ROLE, "along", at, x, y, ground(x, y), level, level)


def _on(
    name: str,
    line: shapely.LineString,
    wanted: LevelAlong,
    tolerance: Tolerance,
    params: Staking,
    ground: LevelsAt,
) -> list[Stake]:
    stations = stations_along(line, params.interval_m, turn_deg=params.turn_deg)
    levels = wanted.at(stations.chainage_m)

    def design(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(np.isfinite(x + y), levels, np.nan)  # of the same stations, in their order

    return stakes_on(name, _ROLE, stations, ground, design, tolerance=tolerance)
