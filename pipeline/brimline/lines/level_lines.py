"""Level lines on the ground: traced, cut at the limits, drawn smoothly, measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.contours import contours
from brimline.lines.limits import Cut, Limits, Stop, cut, cut_at_folds, named_ends
from brimline.lines.measure import departures, mean_slope_pct
from brimline.lines.tidy import tidied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid


@dataclass(frozen=True, slots=True)
class Drawing:
    """How level lines are drawn.

    Parameters
    ----------
    tolerance_m : departure from level, on the survey surface, above which a line is flagged [m].
    bend_m : length of the bends whose swing is halved by smoothing [m].
    min_length_m : shorter pieces are dropped [m].
    join_m : gaps in steep ground up to this length are bridged [m].
    simplify_m : greatest distance that leaving out vertices may move a line [m].
    """

    tolerance_m: float = 0.05
    bend_m: float = 10.0
    min_length_m: float = 20.0
    join_m: float = 3.0
    simplify_m: float = 0.03


@dataclass(frozen=True, slots=True)
class LevelLine:
    """One level line.

    Parameters
    ----------
    line : single-part, not crossing itself, the higher ground on its right.
    level_m : its level [m].
    length_m : length along the ground plan [m].
    level_error_m : largest departure of the survey surface from the level along it [m].
    level_rms_m : root mean square of the departure [m].
    mean_slope_pct : mean steepness of the smoothed ground along it [%].
    flags : codes of the flag catalogue.
    """

    line: shapely.LineString
    level_m: float
    length_m: float
    level_error_m: float
    level_rms_m: float
    mean_slope_pct: float
    flags: tuple[str, ...]


def level_lines(
    levels_m: Sequence[float] | NDArray[np.float64],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    drawing: Drawing = Drawing(),
) -> list[LevelLine]:
    """Draw level lines, ended or broken where they may not go.

    Parameters
    ----------
    levels_m : levels to draw [m].
    survey : float32 (rows, cols) [m]; the surface to be level on, NaN is nodata.
    surface : float32 (rows, cols) [m]; the survey smoothed, on which lines are traced.
    where : ground where no line may run.

    Returns
    -------
    From the highest level down; within a level in the order of tracing.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    """
    levels = np.sort(np.asarray(levels_m, dtype=np.float64))[::-1]
    traced = [shapely.get_parts(lines) for lines in contours(surface, grid, levels)]
    level = np.repeat(levels, [len(parts) for parts in traced])
    lines = np.concatenate(traced) if traced else np.zeros(0, dtype=object)
    pieces, level = drawn_level(lines, level, survey, surface, grid, where, drawing)
    return measured(pieces, level, survey, surface, grid, drawing)


def drawn_level(
    traced: NDArray[Any],
    level_m: NDArray[np.float64],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    drawing: Drawing,
) -> tuple[Cut, NDArray[np.float64]]:
    """Cut traced lines at the limits and draw what is long enough as smooth level curves.

    Returns
    -------
    The pieces, whose `source` is the place in `traced`, and the level of each [m].
    """
    rough = long_enough(traced, where, grid, drawing)
    smooth = np.empty(len(rough.lines), dtype=object)
    smooth[:] = tidied(
        rough.lines,
        level_m[rough.source],
        survey,
        grid,
        bend_m=drawing.bend_m,
        tolerance_m=drawing.tolerance_m,
        simplify_m=drawing.simplify_m,
        guide=surface,
    )
    # smoothing moves a line by less than a cell or two: what strays over a limit is cut again
    again = long_enough(smooth, where, grid, drawing, folds=True)
    start = np.where(again.start == Stop.NONE, rough.start[again.source], again.start)
    end = np.where(again.end == Stop.NONE, rough.end[again.source], again.end)
    pieces = named_ends(Cut(again.lines, rough.source[again.source], start, end), where, grid)
    return pieces, level_m[pieces.source]


def long_enough(
    traced: NDArray[Any], where: Limits, grid: Grid, drawing: Drawing, *, folds: bool = False
) -> Cut:
    """Cut lines at the limits, and where they fold, and drop the pieces that are too short."""
    whole = np.flatnonzero(shapely.length(traced) >= drawing.min_length_m)
    pieces = cut(traced[whole], where, grid, join_m=drawing.join_m)
    pieces = cut_at_folds(pieces, grid.cell_m) if folds else pieces
    pieces = pieces.chosen(shapely.length(pieces.lines) >= max(drawing.min_length_m, 1e-9))
    return Cut(pieces.lines, whole[pieces.source], pieces.start, pieces.end)


def measured(
    pieces: Cut,
    level_m: NDArray[np.float64],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    drawing: Drawing,
) -> list[LevelLine]:
    """Measure drawn pieces against the survey and say why they end."""
    off = departures(pieces.lines, level_m, survey, grid)
    slope = mean_slope_pct(pieces.lines, surface, grid)
    length = shapely.length(pieces.lines)
    found = []
    for i, line in enumerate(pieces.lines):
        flags = {Stop(int(code)).flag for code in (pieces.start[i], pieces.end[i])} - {""}
        if not off.largest_m[i] <= drawing.tolerance_m:
            flags.add("level-error")
        found.append(
            LevelLine(
                line,
                float(level_m[i]),
                float(length[i]),
                float(off.largest_m[i]),
                float(off.rms_m[i]),
                float(slope[i]),
                tuple(sorted(flags)),
            )
        )
    return found
