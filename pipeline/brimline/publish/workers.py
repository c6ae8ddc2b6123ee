"""Pieces side by side in processes: this one and as many more as there are cores to use."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from functools import cached_property
from typing import TYPE_CHECKING, Final, Self

from brimline.publish.piece import make

if TYPE_CHECKING:
    from types import TracebackType

    from brimline.publish.piece import Made, Piece
    from brimline.publish.sight import World

_AHEAD: Final = 2  # pieces that each worker is handed, so that it never waits for the next


class Workers:
    """Processes beside this one, which load what they need while this one still computes.

    They are started afresh, as forks and threads do not go together; that takes a second or two
    of a core.

    Parameters
    ----------
    alone : this process makes everything; otherwise there are as many as threads that kernels
        share, this one among them.
    """

    def __init__(self, *, alone: bool = False) -> None:
        self._alone = alone
        self._out: dict[Future[Made], Piece] = {}
        self._pool: ProcessPoolExecutor | None = None

    @cached_property
    def _count(self) -> int:
        from brimline import _jit  # loads the compiler: only where something is to be made

        return 0 if self._alone else _jit.thread_count() - 1

    def start(self) -> None:
        """Start the processes, as soon as it is known that there will be something to make."""
        if self._count > 0 and self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(self._count, context, initializer=_begin)
            for _ in range(self._count):
                self._pool.submit(_load)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is None:
            return
        running = list((self._pool._processes or {}).values())  # noqa: SLF001 no public way
        self._pool.shutdown(wait=False, cancel_futures=True)
        for process in running:
            process.terminate()  # it holds nothing that is half written

    @property
    def free(self) -> bool:
        """Whether one more piece may be handed over."""
        return len(self._out) < _AHEAD * self._count

    @property
    def busy(self) -> bool:
        """Whether any piece is still out."""
        return bool(self._out)

    def is_at(self, name: str) -> bool:
        """Whether a piece of that name is out."""
        return any(piece.name == name for piece in self._out.values())

    def hand_over(self, piece: Piece, base: str, world: World) -> None:
        """Have a piece made elsewhere; `finished` gives it back."""
        self.start()
        if self._pool is not None:
            self._out[self._pool.submit(make, piece, base, world)] = piece

    def finished(self, *, patient: bool) -> list[tuple[Piece, Made]]:
        """Return what has been made since; where `patient`, wait until there is something.

        Raises
        ------
        BrimlineError
            That a piece has raised.
        """
        done, _ = wait(self._out, timeout=None if patient else 0, return_when=FIRST_COMPLETED)
        return [(self._out.pop(future), future.result()) for future in done]


def _load() -> None:
    """Load what pieces need."""
    import brimline.publish.plan
    import brimline.report.page
    import brimline.report.plates.sheet  # noqa: F401


def _begin() -> None:
    """Leave interrupts to the process that started this one, and end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    from brimline import _jit

    _jit.use_threads(1)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
