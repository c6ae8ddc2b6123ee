"""How a run shows its progress: one moving line on a terminal, plain lines in a log."""

from __future__ import annotations

import shutil
import sys
import time
from typing import TYPE_CHECKING

from brimline.cli import console
from brimline.engine import Listener

if TYPE_CHECKING:
    from collections.abc import Callable

    from brimline.engine import Stage
    from brimline.errors import Problem

_EVERY_S = 0.1
_EVERY_IN_LOG_S = 5.0


class Progress(Listener):
    """Follows a run on standard error.

    Parameters
    ----------
    stages : how many stages the run has.
    hold_back : say nothing before something happens: a stage runs, or `release` is called.

    Attributes
    ----------
    on_work : called when a stage begins to run.
    """

    def __init__(self, stages: int, *, hold_back: bool = False) -> None:
        console.begin()
        self._held: list[Problem] | None = [] if hold_back else None
        self._count = stages
        self._done = 0
        self._began = time.monotonic()
        self._shown = 0.0
        self._live = console.is_terminal()
        self._compiling_said = False
        self.on_work: Callable[[], None] = lambda: None

    def started(self, stage: Stage, why: str) -> None:
        """Show that a stage begins, and why."""
        self.release()
        self.on_work()
        if not self._compiling_said:
            self._compiling_said = True
            _say_compiling()
        if self._live:
            self._line(f"{self._head()} {stage.title}")
        else:
            console.say(f"{self._head()} {stage.name}: {stage.title} ({why})")

    def advanced(self, stage: Stage, fraction: float, note: str) -> None:
        """Show how far a stage is."""
        now = time.monotonic()
        if self._live and now - self._shown >= _EVERY_S:
            self._line(f"{self._head()} {stage.title} {100 * fraction:3.0f} % {note}")

    def problem(self, stage: Stage, problem: Problem) -> None:  # noqa: ARG002
        """Show a notice or a warning, also of a stage that was reused."""
        if self._held is not None:
            self._held.append(problem)
            return
        self._clear()
        console.say_problem(problem)

    def finished(self, stage: Stage, seconds: float, *, reused: bool) -> None:
        """Show that a stage is done; reused ones pass in silence."""
        self._done += 1
        self._clear()
        if not reused:
            console.say(f"{self._head()} {stage.name}: done in {seconds:.1f} s")

    def note(self, text: str) -> None:
        """Show work outside the stages."""
        self.release()
        if self._live:
            self._line(f"{self._head()} {text}")
        elif time.monotonic() - self._shown >= _EVERY_IN_LOG_S:
            console.say(f"{self._head()} {text}")
            self._shown = time.monotonic()

    def release(self) -> None:
        """Say what was held back, and hold nothing back from now on."""
        held, self._held = self._held, None
        for problem in held or ():
            console.say_problem(problem)

    def end(self) -> None:
        """Take the moving line away."""
        self._clear()

    def _head(self) -> str:
        return f"[{self._done}/{self._count}, {time.monotonic() - self._began:.0f} s]"

    def _line(self, text: str) -> None:
        width = shutil.get_terminal_size().columns - 1
        sys.stderr.write("\r\x1b[K" + text[:width])
        sys.stderr.flush()
        self._shown = time.monotonic()

    def _clear(self) -> None:
        if self._live:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def _say_compiling() -> None:
    from brimline import _jit

    if not _jit.is_compiled():
        console.say("first run on this machine: compiling the fast loops, a minute or two, once")
