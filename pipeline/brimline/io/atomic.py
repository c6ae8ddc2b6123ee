"""Files and folders that appear whole or not at all, also when the process is killed.

A file is written beside its place under another name and renamed into it. A run folder is
exchanged with the old one in a single step where the system can (Linux, macOS). Elsewhere it
takes two renames, which leave at every moment enough on disk for `recover` to undo them: the
target itself, or the old folder under a name that only this module uses.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import time
import uuid
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from brimline.errors import StoreError
from brimline.io._exchange import exchange

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

_PART: Final = ".part-"
_OLD: Final = ".old-"
_TRIES: Final = 6  # on Windows a scanner or viewer holds a file for a moment
_FIRST_WAIT_S: Final = 0.05
_TURN_S: Final = 600.0  # publishing takes seconds; who holds a folder longer hangs
_held: Final[set[Path]] = set()  # folders in which this process publishes


@contextmanager
def alone_beside(target: Path) -> Iterator[None]:
    """Keep processes that publish into one folder apart, for the length of a ``with`` block.

    Two sites may put their results in one place. Each has a lock of its own, so that one would
    take the other's unfinished folder for that of a killed run. The folder itself is locked, which
    leaves no file and ends with the process. Where that cannot be done (Windows, some network
    drives) nobody is kept apart.

    Raises
    ------
    StoreError
        If another process publishes there and does not end.
    """
    folder = _real(target).parent
    if os.name == "nt" or folder in _held or not os.access(folder, os.R_OK):
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    until = time.monotonic() + _TURN_S
    try:
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() > until:
                    raise StoreError(
                        f"{folder}: another run has been writing here for {_TURN_S / 60:g} min;"
                        " end it, or name another folder with --out"
                    ) from None
                time.sleep(_FIRST_WAIT_S)
            except OSError:
                break  # a disk without locks
            else:
                break
        _held.add(folder)
        yield
    finally:
        _held.discard(folder)
        os.close(handle)


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a path to write to; rename it to `path` at the end, or remove it on an error.

    The temporary name keeps the ending, which some writers choose the format by.

    Raises
    ------
    StoreError
        If the folder is missing, full or read-only; an earlier file at `path` is untouched.
    """
    part = path.with_name(f"{path.stem}{_PART}{uuid.uuid4().hex[:8]}{path.suffix}")
    try:
        yield part
        _flush_file(part)
        _patiently(lambda: part.replace(path))
        _flush_folder(path.parent)
    except OSError as fault:
        raise told(fault, path) from fault
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    StoreError
        If it cannot be written; an earlier file at `path` is untouched.
    """
    with written_whole(path) as part:
        part.write_bytes(content)


def write_text(path: Path, content: str) -> None:
    """Write a text file in UTF-8 with plain line ends, whole or not at all.

    Raises
    ------
    StoreError
        If it cannot be written; an earlier file at `path` is untouched.
    """
    write_bytes(path, content.encode())


def new_folder_beside(target: Path) -> Path:
    """Make an empty folder on the same disk as `target`, to be filled and then published.

    Raises
    ------
    StoreError
        If it cannot be made.
    """
    target = _real(target)
    make_room_for(target)
    part = target.with_name(f".{target.name}{_PART}{uuid.uuid4().hex[:8]}")
    try:
        part.mkdir()
    except OSError as fault:
        raise told(fault, target) from fault
    return part


def make_room_for(target: Path) -> None:
    """Make the folder that a folder is to lie in, where it is not there.

    Raises
    ------
    StoreError
        If it cannot be made.
    """
    target = _real(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise told(fault, target) from fault


def replace_folder(new: Path, target: Path) -> None:
    """Publish a finished folder in the place of the old one, as a whole.

    Files of `new` are flushed to disk first. Killed at any moment, `target` is the old folder or
    the new one; where the system cannot exchange folders in one step it may also be missing,
    which `recover` puts right.

    Parameters
    ----------
    new : the finished folder, on the same disk; gone afterwards.
    target : the place to publish to; may not exist yet.

    Raises
    ------
    StoreError
        If a rename fails; the old folder is then back in its place.
    """
    target = _real(target)
    with alone_beside(target):
        recover(target, keep=new)
        try:
            _flush_tree(new)
            if not target.exists():
                _patiently(lambda: new.rename(target))
                old = None
            elif exchange(new, target):
                old = new
            else:
                old = _rename_twice(new, target)
            _flush_folder(target.parent)
        except OSError as fault:
            raise told(fault, target) from fault
    if old is not None:
        shutil.rmtree(old, ignore_errors=True)  # what stays is taken by the next recover


def recover(target: Path, *, keep: Path | None = None) -> str:
    """Put right what a killed run left beside `target`.

    Call it with the site's lock held: it removes unfinished folders of other runs, but waits for
    a site that publishes in the same place (`alone_beside`).

    Parameters
    ----------
    keep : an unfinished folder that is in use and stays.

    Returns
    -------
    str
        What was done, for the journal; empty where nothing was.

    Raises
    ------
    StoreError
        If the old folder cannot be brought back.
    """
    with alone_beside(target):
        return _recover(_real(target), keep)


def _recover(target: Path, keep: Path | None) -> str:
    if not target.parent.is_dir():
        return ""
    done = []
    olds = sorted(target.parent.glob(f".{_escaped(target.name)}{_OLD}*"), key=_changed)
    if olds and not target.exists():
        try:
            olds.pop().rename(target)
        except OSError as fault:
            raise told(fault, target) from fault
        done.append("an interrupted exchange was undone: the last good result is back")
    leftovers = [
        *olds,
        *(
            part
            for part in target.parent.glob(f".{_escaped(target.name)}{_PART}*")
            if keep is None or part != keep
        ),
    ]
    for leftover in leftovers:
        shutil.rmtree(leftover, ignore_errors=True)
    if leftovers:
        done.append(f"{len(leftovers)} unfinished folders of killed runs were removed")
    return "; ".join(done)


def told(fault: OSError, path: Path) -> StoreError:
    """Turn an error of the operating system into what a person can do about it."""
    if fault.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        why = "the disk is full; free some space and run again"
    elif fault.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        why = "it may not be written to (read-only, or held open by another program)"
    elif fault.errno == errno.ENOENT:
        why = f"its folder {path.parent} does not exist"
    elif fault.errno == errno.EXDEV:
        why = "the new folder lies on another disk"
    else:
        why = fault.strerror or str(fault)
    return StoreError(f"{path} could not be written: {why}. What was there before is untouched.")


def _rename_twice(new: Path, target: Path) -> Path:
    """Put the old folder aside and the new one in its place; return where the old one is."""
    old = target.with_name(f".{target.name}{_OLD}{uuid.uuid4().hex[:8]}")
    _patiently(lambda: target.rename(old))
    try:
        _patiently(lambda: new.rename(target))
    except OSError:
        old.rename(target)
        raise
    return old


def _patiently(action: Callable[[], object]) -> None:
    """Try again for a moment where another program holds a file open (Windows)."""
    wait_s = _FIRST_WAIT_S
    for left in range(_TRIES, 0, -1):
        try:
            action()
        except PermissionError:
            if os.name != "nt" or left == 1:
                raise
            time.sleep(wait_s)
            wait_s *= 2
        else:
            return


def _flush_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Make renames in a folder last through a power cut, where the system can."""
    if os.name == "nt":
        return  # a folder cannot be opened for it there
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as fault:
        if fault.errno not in {errno.EINVAL, errno.ENOTSUP}:  # some network disks
            raise
    finally:
        os.close(handle)


def _flush_tree(folder: Path) -> None:
    for path in sorted(folder.rglob("*")):
        if path.is_dir():
            _flush_folder(path)
        elif path.is_file():
            _flush_file(path)
    _flush_folder(folder)


def _real(target: Path) -> Path:
    """Follow a link, so that the folder behind it is exchanged and the link stays."""
    return target.resolve() if target.is_symlink() else target


def _changed(path: Path) -> float:
    return path.stat().st_mtime


def _escaped(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)
