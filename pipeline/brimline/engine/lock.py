"""One run of a site at a time: the second waits or leaves."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import socket
import tempfile
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout

from brimline.engine.store import explained
from brimline.errors import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


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
    never blocks; its note stays behind and is what the block is given. On a disk without locks
    (some network drives) the lock lies in the machine's folder for passing files: it keeps apart
    the runs of one person on this machine, and none of another.

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
        lock = FileLock(folder / "lock" if _has_locks(folder) else _elsewhere(folder))
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


def _has_locks(folder: Path) -> bool:
    """Tell whether files of a folder can be locked; filelock waits for ever where they cannot."""
    if os.name == "nt":
        return True
    import fcntl

    with tempfile.TemporaryFile(dir=folder) as probe:
        try:
            fcntl.flock(probe, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
    return True


def _elsewhere(folder: Path) -> Path:
    """Return a place for the lock that others of this machine cannot write to."""
    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]
    user = os.getuid() if hasattr(os, "getuid") else 0
    mine = Path(tempfile.gettempdir()) / f"brimline-{user}"
    mine.mkdir(mode=0o700, exist_ok=True)
    if os.name == "posix" and mine.lstat().st_uid != user:
        raise PermissionError(errno.EPERM, "it belongs to somebody else", str(mine))
    return mine / f"{name}.lock"


def _read(note: Path) -> Holder | None:
    try:
        return Holder(**json.loads(note.read_bytes()))
    except (OSError, ValueError, TypeError):
        return None  # no note, or one cut short
