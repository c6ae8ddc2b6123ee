"""Graded lines that a person asks for: from a start, or between two ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.errors import Problem, Severity
from brimline.lines.graded.between import NoLine, graded_between
from brimline.lines.graded.from_start import graded_line

if TYPE_CHECKING:
    from brimline.grid import Elevation, Grid
    from brimline.lines.graded.from_start import GradedLine, Side
    from brimline.lines.level_lines import Drawing
    from brimline.lines.limits import Limits


@dataclass(frozen=True, slots=True, eq=False)
class GradingGround:
    """The ground that graded lines are found on.

    Parameters
    ----------
    survey, surface : float32 (rows, cols) [m], as surveyed and smoothed for tracing.
    where : ground where no line may run.
    """

    survey: Elevation
    surface: Elevation
    grid: Grid
    where: Limits
    drawing: Drawing


@dataclass(frozen=True, slots=True)
class FromStart:
    """A line that sets out from a point, as `graded_line` takes it."""

    name: str
    start: tuple[float, float]
    run_per_fall: float
    side: Side
    max_length_m: float

    def on(self, ground: GradingGround) -> GradedLine | Problem:
        """Return the line, or say why there is none."""
        line = graded_line(
            self.start, self.run_per_fall, self.side,
            ground.survey, ground.surface, ground.grid, ground.where,
            max_length_m=self.max_length_m, drawing=ground.drawing,
        )  # fmt: skip
        return line or _none(self.name, "it cannot set out from here", "drain_starts")


@dataclass(frozen=True, slots=True)
class BetweenEnds:
    """A line from one point to another, as `graded_between` takes it."""

    name: str
    start: tuple[float, float]
    goal: tuple[float, float]
    least_fall_pct: float
    most_fall_pct: float

    def on(self, ground: GradingGround) -> GradedLine | Problem:
        """Return the line, or say why there is none."""
        line = graded_between(
            self.start, self.goal, ground.survey, ground.surface, ground.grid, ground.where,
            least_fall_pct=self.least_fall_pct, most_fall_pct=self.most_fall_pct,
            drawing=ground.drawing,
        )  # fmt: skip
        return _none(self.name, line.why, "drawn_drains") if isinstance(line, NoLine) else line


def _none(name: str, why: str, layer: str) -> Problem:
    return Problem(
        Severity.WARNING,
        f"no graded line for {name}: {why}",
        "move an end, or change the falls in [drains]",
        f"plan, {layer}",
    )
