"""Proposed swale rows, fitted around those that a person has drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.drainage.flow import checked_directions
from brimline.grid import checked_same_shape
from brimline.lines.level_lines import Drawing, drawn_level, long_enough, measured
from brimline.lines.limits import Cut, Limits, near_lines
from brimline.lines.rows import place
from brimline.lines.rows.apart import made_room
from brimline.lines.rows.drawn import Corrected, corrected
from brimline.lines.rows.stacks import stack_of
from brimline.lines.rows.worth import WantedRows, curled, judged, judged_level, level_pieces
from brimline.lines.sample import checked_on_grid
from brimline.lines.strips import cells_of_lines, sheet_directions
from brimline.lines.tracing import traced
from brimline.terrain.slope import slope_pct

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation, Grid
    from brimline.lines.level_lines import LevelLine
    from brimline.lines.rows.rules import Duty, RowSpacing
    from brimline.lines.rows.worth import Judged

_CLOSEST = 0.9  # share of the least spacing that a row's measured mean must keep
_HOLLOW_M = 0.25  # deeper hollows keep the water that runs into them
_STEEPEST_PCT = 100.0  # height of the bands where no steepness stops a row


@dataclass(frozen=True, slots=True)
class SwaleRow:
    """One swale row.

    Parameters
    ----------
    line : single-part, not crossing itself; the higher ground on its right if proposed, directed
        as drawn if drawn.
    level_m : its level [m].
    length_m : length along the ground plan [m].
    level_error_m : largest departure of the survey surface from the level along it [m].
    level_rms_m : root mean square of the departure [m].
    mean_slope_pct : mean steepness of the smoothed ground along it [%].
    spacing_m : mean distance over the ground, up the slope, to the next row or the divide [m].
    catchment_m2 : ground that sheds to it, rows above excluded [m²].
    must_hold_m3 : runoff of the catchment in the design storm [m³].
    from_above_m3 : what rows above pass on to it in the storm [m³].
    passes_on_m3 : what it cannot hold of both [m³].
    passes_to : place among the rows of the one that most of its length leads to; -1 for none.
    stack : number of the rows that pass on to one another, from 1.
    holds_m3 : storage and soakage in the storm [m³].
    depth_m : to which a proposed row is to be dug to hold that; NaN if drawn [m].
    drawn : place of the row in the drawn ones; -1 if it is proposed.
    moved_m, moved_level_m : how far a drawn row was moved, as `Corrected`; 0 if proposed.
    flags : codes of the flag catalogue.
    """

    line: shapely.LineString
    level_m: float
    length_m: float
    level_error_m: float
    level_rms_m: float
    mean_slope_pct: float
    spacing_m: float
    catchment_m2: float
    must_hold_m3: float
    from_above_m3: float
    passes_on_m3: float
    passes_to: int
    stack: int
    holds_m3: float
    depth_m: float
    drawn: int
    moved_m: float
    moved_level_m: float
    flags: tuple[str, ...]

    @property
    def kept_m3(self) -> float:
        """What it keeps of the storm [m³]."""
        return self.must_hold_m3 + self.from_above_m3 - self.passes_on_m3

    @property
    def kept_m2(self) -> float:
        """What a metre of it keeps of the storm [m³/m]."""
        return self.kept_m3 / self.length_m


def swale_rows(
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    duty: Duty,
    spacing: RowSpacing | None,
    *,
    directions: Directions | None = None,
    drawn: Sequence[shapely.LineString] = (),
    drawn_levels_m: Sequence[float | None] | None = None,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
    wanted: WantedRows = WantedRows(any_size=True),  # noqa: B008 frozen, so it can be shared
) -> list[SwaleRow]:
    """Propose swale rows from the top of the ground downwards.

    The ground is looked at in narrow height bands; in each connected free piece of a band a row is
    placed as soon as its rule or its bounds say that it is due for what drains to the piece, rows
    above excluded. Pieces on different hills, spurs and sides of a flow path have rows of their
    own. Rows that are drawn stand first: proposals end before they come closer to them than the
    least spacing. Two proposals are nowhere closer than half of it, and none whose mean falls short
    of it is kept, give or take a tenth.

    Parameters
    ----------
    survey : float32 (rows, cols) [m]; the surface to be level on, NaN is nodata.
    surface : float32 (rows, cols) [m]; the survey smoothed, on which lines are traced.
    where : ground where no line may run.
    duty : what the design storm sends, and what a metre of row takes.
    spacing : when the next row is due; None proposes nothing and only takes the drawn ones.
    directions : uint8 (rows, cols), optional
        Which way sheet flow runs; left out, that of `surface`, whose deeper hollows keep their
        water. Directions over filled hollows would send it across them, and rows would wait for it.
    drawn : rows that are there already, in the map's metres.
    drawn_levels_m : level of each drawn row, None for the best one [m].
    wanted : which of the proposals are taken; unless it says any size, only what is level on the
        survey, and whose stack of rows holds what reaches it.

    Returns
    -------
    From the highest level down.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If a drawn row has no length or lies outside the data.
    """
    survey = checked_on_grid(survey, grid, "survey")
    surface = checked_on_grid(surface, grid, "surface")
    checked_same_shape(surface=surface, blocked=where.blocked)
    if directions is None:
        directions = sheet_directions(surface, hollow_depth_m=_HOLLOW_M)
    else:
        directions = checked_directions(directions)
        checked_same_shape(surface=surface, directions=directions)
    levels = [None] * len(drawn) if drawn_levels_m is None else list(drawn_levels_m)
    fixed = corrected(drawn, levels, survey, surface, grid, drawing=drawing)
    kept = _kept_drawn(fixed, where, grid, drawing)
    rows = measured(
        kept, np.array([fixed[i].level_m for i in kept.source]), survey, surface, grid, drawing
    )
    sources = [int(i) for i in kept.source]
    if spacing is not None:
        pieces, level = _proposed(
            survey, surface, grid, where, directions, duty, spacing, kept.lines, drawing
        )
        if not wanted.any_size:
            pieces, level = level_pieces(pieces, level, survey, surface, grid, drawing)
            sound = ~curled(pieces.lines)
            pieces, level = pieces.chosen(sound), level[sound]
        proposed = measured(pieces, level, survey, surface, grid, drawing)
        if not wanted.any_size:
            proposed = [judged_level(row) for row in proposed]
        rows += proposed
        sources += [-1] * len(pieces.lines)
    top_down = sorted(range(len(rows)), key=lambda i: (-rows[i].level_m, i))
    rows, sources = [rows[i] for i in top_down], [sources[i] for i in top_down]
    own = np.array([source >= 0 for source in sources], dtype=np.bool_)
    least_m = 0.0 if spacing is None else _CLOSEST * spacing.min_m
    shapes = np.empty(len(rows), dtype=object)
    shapes[:] = [row.line for row in rows]
    found = judged(
        shapes,
        np.array([row.level_m for row in rows]),
        own,
        surface,
        directions,
        grid,
        duty,
        wanted,
        least_spacing_m=least_m,
    )
    there = np.flatnonzero(found.stays)
    last = stack_of(found.to)
    number = {int(row): k for k, row in enumerate(np.unique(last), start=1)}
    return [
        _row(rows[i], sources[i], fixed, found, place, number[int(last[place])], duty, drawing,
             wanted)
        for place, i in enumerate(there)
    ]  # fmt: skip


def _slope_pct(surface: Elevation, grid: Grid, where: Limits) -> NDArray[np.float32]:
    """Steepness [%], from the limits where they hold it."""
    if where.slope_pct is not None:
        return where.slope_pct
    return slope_pct(surface, cell_m=grid.cell_m)


def _kept_drawn(fixed: list[Corrected], where: Limits, grid: Grid, drawing: Drawing) -> Cut:
    """Cut the corrected rows at the limits; of each, the longest piece is kept however short."""
    lines = np.empty(len(fixed), dtype=object)
    lines[:] = [row.line for row in fixed]
    pieces = long_enough(lines, where, grid, replace(drawing, min_length_m=0.0))
    length = shapely.length(pieces.lines)
    longest = np.zeros(len(fixed))
    np.maximum.at(longest, pieces.source, length)
    return pieces.chosen((length >= drawing.min_length_m) | (length == longest[pieces.source]))


def _proposed(
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    directions: Directions,
    duty: Duty,
    spacing: RowSpacing,
    drawn: NDArray[Any],
    drawing: Drawing,
) -> tuple[Cut, NDArray[np.float64]]:
    """Place rows beside drawn ones, draw them, and make room between them."""
    free = where.beside(near_lines(drawn, grid, spacing.min_m))
    lines, level = _traced(surface, grid, free, directions, duty, spacing, drawn, drawing)
    pieces, level = drawn_level(lines, level, survey, surface, grid, free, drawing)
    return made_room(pieces, level, drawn, spacing.min_m / 2, max(drawing.min_length_m, 1e-6))


def _traced(
    surface: Elevation,
    grid: Grid,
    free: Limits,
    directions: Directions,
    duty: Duty,
    spacing: RowSpacing,
    drawn: NDArray[Any],
    drawing: Drawing,
) -> tuple[NDArray[Any], NDArray[np.float64]]:
    """Place rows, again with what the tracing before gave, and trace them; with their levels."""
    ground = place.ground(
        surface,
        _slope_pct(surface, grid, free),
        directions,
        free.blocked,
        cells_of_lines(drawn, grid) > 0,
        grid,
        min(free.max_slope_pct, _STEEPEST_PCT),
    )
    length = ground.length_m
    for last in (False, True):
        level = place.levels_of_rows(
            ground, grid, duty, spacing, min_length_m=drawing.min_length_m, length_m=length
        )
        lines, piece = traced(surface, ground.piece, level, grid)
        if not last:
            # count what is left of each row after cutting; where that is nothing, no row is placed
            # the second time, and the water runs on to the next one
            rough = long_enough(lines, free, grid, drawing)
            drawn_m = np.bincount(
                piece[rough.source], shapely.length(rough.lines), minlength=len(level)
            )
            length = np.where(np.isfinite(level), drawn_m, length)
    return lines, level[piece]


def _row(
    line: LevelLine,
    source: int,
    fixed: list[Corrected],
    found: Judged,
    place: int,
    stack: int,
    duty: Duty,
    drawing: Drawing,
    wanted: WantedRows,
) -> SwaleRow:
    """Say what a row must hold and whether it does."""
    row = int(np.flatnonzero(found.stays)[place])
    area_m2 = float(found.area_m2[row])
    must = area_m2 * duty.runoff_mm / 1000.0
    depth_m, per_m = np.nan, duty.holds_m3_per_m
    if source < 0:
        section = wanted.sections_of(duty)[found.section[place]]
        depth_m, per_m = section.depth_m, section.holds_m3_per_m
    flags = set(line.flags)
    if not found.passed.taken[place]:
        flags.add("undersized")
    moved = fixed[source].moved_m if source >= 0 else 0.0
    moved_level = fixed[source].moved_level_m if source >= 0 else 0.0
    if not moved_level <= drawing.tolerance_m:
        flags.add("moved")
    return SwaleRow(
        line=line.line,
        level_m=line.level_m,
        length_m=line.length_m,
        level_error_m=line.level_error_m,
        level_rms_m=line.level_rms_m,
        mean_slope_pct=line.mean_slope_pct,
        spacing_m=float(found.spacing_m[row]),
        catchment_m2=area_m2,
        must_hold_m3=must,
        from_above_m3=max(float(found.passed.reaches_m3[place]) - must, 0.0),
        passes_on_m3=float(found.passed.passes_m3[place]),
        passes_to=int(found.to[place]),
        stack=stack,
        holds_m3=line.length_m * per_m,
        depth_m=float(depth_m),
        drawn=source,
        moved_m=moved,
        moved_level_m=moved_level,
        flags=tuple(sorted(flags)),
    )
