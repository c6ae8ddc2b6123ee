"""One run of a site at a time: the second waits or leaves."""

from __future__ import annotations

import json
import os
import socket
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout

from brimline.engine.store import explained
from brimline.errors import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Holder:
    """The process that holds, or held, a site."""

    pid: int
    host: str
    since: str  # ISO 8601, UTC

    def __str__(self) -> str:
        return f"process {self.pid} on {self.host} since {self.since}"


@contextmanager
def site_lock(
    folder: Path,
    *,
    wait: bool = False,
    on_wait: Callable[[Holder | None], None] = lambda _: None,
) -> Iterator[Holder | None]:
    """Hold a site for the length of a ``with`` block.

    The operating system frees the lock when its holder ends in whatever way, so a dead holder
    never blocks; its note stays behind and is what the block is given.

    Parameters
    ----------
    folder : the site's store.
    wait : wait for a run that is going on; otherwise leave at once.
    on_wait : called once before waiting, with the note of the run that is going on.

    Yields
    ------
    Holder or None
        The run before, if it ended without letting go (killed, or the machine stopped).

    Raises
    ------
    StoreError
        If another run holds the site and `wait` is False, or the folder cannot be written.
    """
    note = folder / "holder.json"
    with explained(folder):
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / "lock")
        try:
            lock.acquire(timeout=0)
        except Timeout as error:
            holder = _read(note)
            if not wait:
                who = holder or "a process that is just starting"
                raise StoreError(
                    f"another run of this site is going on: {who}. Wait for it to end, or let "
                    f"this run wait for it"
                ) from error
            on_wait(holder)
            lock.acquire()
    try:
        dead = _read(note)
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with explained(folder):
            note.write_text(json.dumps(asdict(Holder(os.getpid(), socket.gethostname(), now))))
        yield dead
    finally:
        note.unlink(missing_ok=True)
        lock.release()


def _read(note: Path) -> Holder | None:
    try:
        return Holder(**json.loads(note.read_bytes()))
    except (OSError, ValueError, TypeError):
        return None  # no note, or one cut short
