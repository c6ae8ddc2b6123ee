"""What stages made, kept by content in a folder that may be deleted at any time.

::

    .brimline/
      objects/ab/ab12…      a value as a file; its name is the SHA-256 of its bytes
      results/<key>         which objects a stage made under that key; touched on every use
      notes/<name>          what a run leaves for the next: digests of files, parts of keys
      partial/              files being written; they enter the folders above by one rename

Every file appears whole or not at all. An object's name says what its bytes must be, and a
result or note begins with the digest of what follows, so that readers and writers need no lock
among themselves, a killed process leaves nothing to repair, and damage is noticed.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import stat
import tempfile
import time
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from brimline.errors import InputError, Problem, Severity, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator

_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_FORBIDDEN: Final = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})
_LEAST_FREE_BYTES: Final = 1 << 20
STORE: Final = ".brimline"  # beside the site's file, where no other folder is named
_FOLDERS: Final = ("objects", "results", "notes", "partial")
_GRACE_S: Final = 3600.0  # an object may wait this long for the record that names it


class DamagedError(StoreError):
    """A stored object is gone or holds other bytes than its name says; it has been removed."""


@dataclass(frozen=True, slots=True)
class Stored:
    """One object: the SHA-256 of its bytes, and how many there are."""

    digest: str
    size: int


@dataclass(frozen=True, slots=True)
class Record:
    """What one run of a stage left: its outputs, what it told, and how long it took."""

    stage: str
    outputs: dict[str, Stored]
    problems: tuple[Problem, ...] = ()
    seconds: float = 0.0


class Store:
    """The folder of kept results; made on first use.

    Raises
    ------
    StoreError
        If the folder cannot be made or written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._partial = folder / "partial"
        with explained(folder):
            for name in _FOLDERS:
                (folder / name).mkdir(parents=True, exist_ok=True)
            if not (folder / ".gitignore").exists():
                (folder / ".gitignore").write_text("*\n", encoding="utf-8")

    def put(self, write: Callable[[Path], object]) -> Stored:
        """Keep what `write` writes to the path that it is handed."""
        with explained(self.folder), self._fresh() as path:
            write(path)
            stored = Stored(digest_of(path), path.stat().st_size)
            target = self._object(stored.digest)
            if self._sound(stored):  # one of the right size may be damaged all the same
                os.utime(target)  # so that a prune going on elsewhere lets it stay
            else:
                target.parent.mkdir(exist_ok=True)
                path.replace(target)
            return stored

    def open(self, stored: Stored) -> Path:
        """Return the file of an object after checking its bytes.

        Raises
        ------
        DamagedError
            If the object is gone or damaged.
        """
        path = self._object(stored.digest)
        with explained(self.folder):
            if self._sound(stored):
                return path
            path.unlink(missing_ok=True)
        raise DamagedError(f"stored object {stored.digest[:12]} is damaged and was removed")

    def record(self, key: str, *, verify: bool = False) -> Record | None:
        """Return what is kept under a key, if all of its objects are there.

        Parameters
        ----------
        verify : check every byte; otherwise only that each object is there with its size.
        """
        record = self._read_record(self._result(key))
        if record is None:
            return None
        if verify:  # every one, so that none that is damaged is left behind
            opened = [self._opens(stored) for stored in record.outputs.values()]
            if not all(opened):
                return None
        elif not all(self._whole(stored) for stored in record.outputs.values()):
            return None
        with suppress(OSError):  # a folder that only reads still gives what it holds
            os.utime(self._result(key))
        return record

    def keep(self, key: str, record: Record) -> None:
        """Keep a record under a key."""
        self._write(self._result(key), asdict(record))

    def noted(self, name: str) -> dict[str, Any] | None:
        """Return a note of an earlier run; None where there is none."""
        return _read(self.folder / "notes" / name)

    def note(self, name: str, value: dict[str, Any]) -> None:
        """Keep plain values for the next run."""
        self._write(self.folder / "notes" / name, value)

    def size_bytes(self) -> int:
        """Return how much all objects take."""
        total = 0
        for path in self._objects():
            with suppress(FileNotFoundError):  # another process may have pruned it just now
                total += path.stat().st_size
        return total

    def sweep(self, *, grace_s: float = _GRACE_S) -> None:
        """Remove partial files that a killed run left."""
        self._remove(self._partial.iterdir(), older_than_s=grace_s)

    def prune(
        self, max_bytes: int, *, keep: Collection[str] = (), grace_s: float = _GRACE_S
    ) -> int:
        """Forget what was used longest ago until the objects fit, and return their size.

        Parameters
        ----------
        max_bytes : room for objects [bytes].
        keep : keys that stay in any case, so that the size may remain larger.
        grace_s : objects younger than this stay: another run may be about to name them [s].
        """
        self.sweep(grace_s=grace_s)
        with explained(self.folder):
            paths = sorted((self.folder / "results").iterdir(), key=_used, reverse=True)
            paths.sort(key=lambda path: path.name not in keep)
            named: dict[str, int] = {}
            full = False
            for path in paths:
                record = self._read_record(path)
                more = {s.digest: s.size for s in record.outputs.values()} if record else {}
                full = full or sum((named | more).values()) > max_bytes
                if record is None or (full and path.name not in keep):
                    path.unlink(missing_ok=True)
                else:
                    named |= more
            unnamed = [path for path in self._objects() if path.name not in named]
            self._remove(unnamed, older_than_s=grace_s)
            return self.size_bytes()

    def _object(self, digest: str) -> Path:
        return self.folder / "objects" / digest[:2] / digest

    def _objects(self) -> list[Path]:
        return list((self.folder / "objects").glob("*/*"))

    def _result(self, key: str) -> Path:
        return self.folder / "results" / key

    def _opens(self, stored: Stored) -> bool:
        try:
            self.open(stored)
        except DamagedError:
            return False
        return True

    def _sound(self, stored: Stored) -> bool:
        if not self._whole(stored):
            return False
        try:
            return digest_of(self._object(stored.digest)) == stored.digest
        except FileNotFoundError:  # another process has pruned it just now
            return False

    def _whole(self, stored: Stored) -> bool:
        try:
            return self._object(stored.digest).stat().st_size == stored.size
        except OSError:
            return False

    def _read_record(self, path: Path) -> Record | None:
        body = _read(path)
        if body is None:
            return None
        return Record(
            body["stage"],
            {name: Stored(**stored) for name, stored in body["outputs"].items()},
            tuple(Problem(**p | {"severity": Severity(p["severity"])}) for p in body["problems"]),
            body["seconds"],
        )

    def _write(self, target: Path, value: dict[str, Any]) -> None:
        body = json.dumps(value, sort_keys=True)
        with explained(self.folder), self._fresh() as path:
            path.write_text(f"{_text_digest(body)}\n{body}", encoding="utf-8")
            path.replace(target)

    @contextmanager
    def _fresh(self) -> Iterator[Path]:
        handle, name = tempfile.mkstemp(dir=self._partial)
        os.close(handle)
        path = Path(name)
        try:
            yield path
        finally:
            path.unlink(missing_ok=True)

    @staticmethod
    def _remove(paths: Iterator[Path] | list[Path], *, older_than_s: float) -> None:
        for path in paths:
            with suppress(OSError):  # another process may have been faster
                # what is from tomorrow, by a clock that was set back, is old as well
                if abs(time.time() - path.stat().st_mtime) >= older_than_s:
                    path.unlink()


def refuse_store(folder: Path) -> None:
    """Refuse a folder that cannot be a store: a file, below a file, or writable by anybody.

    What lies in a store is believed, so nobody else may put anything there.

    Raises
    ------
    InputError
        With the way out.
    """
    there = next(one for one in (folder, *folder.parents) if one.exists())
    if not there.is_dir():
        raise InputError.of(
            f"{there} is a file, not a folder for the results of stages",
            mend="name another folder.",
            source="configuration",
            place="keep.store",
        )
    if os.name == "posix" and folder.is_dir() and folder.stat().st_mode & stat.S_IWOTH:
        raise InputError.of(
            f"anybody on this machine can write to {folder}, and so change results",
            mend=f"take that right away: chmod o-w {folder}",
            source="configuration",
            place="keep.store",
        )


@contextmanager
def explained(folder: Path) -> Iterator[None]:
    """Turn a failure of the file system into a `StoreError` that says what to do."""
    try:
        yield
    except OSError as error:
        if error.errno in _FULL or _is_full(folder):
            text = "the disk is full. Free some room, or prune or delete this folder, and run again"
        elif error.errno in _FORBIDDEN:
            text = "it cannot be written. Check its permissions, or choose another folder"
        else:
            text = f"it cannot be read or written ({error})"
        raise StoreError(f"{folder}: {text}; earlier results are untouched") from error


def _is_full(folder: Path) -> bool:
    """Tell a full disk where GDAL's errors give no number."""
    try:
        return shutil.disk_usage(folder).free < _LEAST_FREE_BYTES
    except OSError:
        return False


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _text_digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _read(path: Path) -> dict[str, Any] | None:
    try:
        digest, _, body = path.read_text(encoding="utf-8").partition("\n")
    except (OSError, ValueError):
        return None
    if digest != _text_digest(body):
        return None  # cut short or damaged: as if it had never been written
    value: dict[str, Any] = json.loads(body)
    return value


def _used(path: Path) -> float:
    """Return when a record was used; 0 where that is not known, or a clock was set back since."""
    try:
        used = path.stat().st_mtime
    except OSError:
        return 0.0
    return used if used <= time.time() + _GRACE_S else 0.0
