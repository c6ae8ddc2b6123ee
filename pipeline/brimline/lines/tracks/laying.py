"""A track beside what was drawn, on coarser ground around it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.lines.tracks.finding import (
    Track,
    TrackRules,
    eased,
    find_track,
    gentlest_grade_pct,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid

_MOSTLY: Final = 0.5  # of a place that is kept clear


@dataclass(frozen=True, slots=True)
class WantedTrack:
    """A line whose corners a track is to pass, and what it may be."""

    name: str
    drawn: shapely.LineString
    rules: TrackRules


@dataclass(frozen=True, slots=True, eq=False)
class LaidTrack:
    """What came of a wanted track; fields are named as columns of the layer tracks.

    Parameters
    ----------
    found : None where there is no way within the limits; the line is then as drawn.
    radius_m : of its tightest curve; None where it is straight [m].
    needs_grade_pct : gentlest grade that would do where there is none; None where none does [%].
    """

    wanted: WantedTrack
    line: shapely.LineString
    found: Track | None = None
    radius_m: float | None = None
    needs_grade_pct: float | None = None

    @property
    def track_id(self) -> str:
        """Name of the track."""
        return self.wanted.name

    @property
    def width_m(self) -> float:
        """Width of its bench [m]."""
        return self.wanted.rules.width_m

    @property
    def length_m(self) -> float:
        """Length along it [m]."""
        return float(self.line.length)

    @property
    def direct_m(self) -> float:
        """Length of the line as drawn [m]."""
        return float(self.wanted.drawn.length)

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""
        return () if self.found else ("no-track",)


@dataclass(frozen=True, slots=True, eq=False)
class TrackGround:
    """The ground that tracks are sought on, all (rows, cols).

    Parameters
    ----------
    level_m : float32 [m]; NaN cannot be crossed.
    blocked : what is kept clear.
    flows : where a flow path runs.
    cell_m : side of the coarser cells of the search [m].
    margin_m : how far beyond what is drawn a way may go [m].
    """

    grid: Grid
    level_m: Elevation
    blocked: BoolGrid
    flows: BoolGrid
    cell_m: float
    margin_m: float

    def track(self, wanted: WantedTrack) -> LaidTrack:
        """Seek the way on a coarser grid around what was drawn, and round its corners."""
        drawn, grid = wanted.drawn, self.grid
        factor = max(1, round(self.cell_m / grid.cell_m))
        west, south, east, north = drawn.buffer(self.margin_m).bounds
        (top, bottom), (left, right) = (
            np.clip(cells, 0, size)
            for cells, size in zip(grid.cell([west, east], [north, south]), grid.shape, strict=True)
        )
        rows, cols = (bottom - top) // factor, (right - left) // factor
        if rows < 1 or cols < 1:
            return LaidTrack(wanted, drawn)
        window = grid.window(int(top), int(left), int(rows * factor), int(cols * factor))
        inside = np.s_[top : top + rows * factor, left : left + cols * factor]

        def blocks(values: NDArray[Any]) -> NDArray[Any]:
            parts = values[inside].reshape(rows, factor, cols, factor)
            return parts.swapaxes(1, 2).reshape(rows, cols, -1)

        row, col = window.cell(*np.array(drawn.coords)[:, :2].T)
        places = [
            (int(np.clip(r // factor, 0, rows - 1)), int(np.clip(c // factor, 0, cols - 1)))
            for r, c in zip(row, col, strict=True)
        ]
        shut: NDArray[np.bool_] = np.greater(blocks(self.blocked).mean(axis=-1), _MOSTLY)
        for place in places:
            shut[place] = False  # a person drew it there
        level, cell_m = blocks(self.level_m).astype(np.float64).mean(axis=-1), factor * grid.cell_m
        there = level, shut, np.asarray(blocks(self.flows).max(axis=-1)), places, wanted.rules
        found = find_track(*there, cell_m=cell_m)
        if found is None or len(found.cells) < 2:
            needs_pct = gentlest_grade_pct(*there, cell_m=cell_m)
            return LaidTrack(wanted, drawn, needs_grade_pct=needs_pct)
        x, y = window.xy(*((found.cells.T + 0.5) * factor - 0.5))
        line, tightest_m = eased(np.column_stack([x, y]))
        radius_m = tightest_m if np.isfinite(tightest_m) else None
        return LaidTrack(wanted, shapely.LineString(line), found, radius_m)
