"""Who follows a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brimline.engine.stage import Stage
    from brimline.errors import Problem


class Listener:
    """Who follows a run, such as a console; this one does nothing, override what is of use."""

    def started(self, stage: Stage, why: str) -> None:
        """Hear that a stage begins to run, and why it is not reused."""

    def advanced(self, stage: Stage, fraction: float, note: str) -> None:
        """Hear how much of a stage is done, 0 to 1."""

    def problem(self, stage: Stage, problem: Problem) -> None:
        """Hear a notice or warning, also those of a reused stage."""

    def finished(self, stage: Stage, seconds: float, *, reused: bool) -> None:
        """Hear that a stage's result is there."""
