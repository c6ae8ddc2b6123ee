"""Content digests of files, remembered while a file's status stays the same."""

from __future__ import annotations

import glob
import hashlib
import re
import time
from pathlib import Path
from types import CodeType
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.store import digest_of
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from brimline.engine.store import Store

# A file changed this shortly before it was read may change again within the clock's step and
# keep its size, so its digest is not remembered (git calls such an entry racy).
_FRESH_S: Final = 2.0
_NOTE: Final = "files"
_WITH_OTHER_ENDING: Final = (".shx", ".dbf", ".prj", ".cpg", ".tfw", ".wld")
_WITH_MORE_ENDING: Final = ("-wal", ".aux.xml", ".msk")
_VRT_SOURCE: Final = re.compile(r"<Source(?:Filename|Dataset)[^>]*>([^<]+)</Source")

Status = tuple[int, int, int, int]

# What a process has read of the code serves all its runs, whichever store they keep.
_code_known: Final[dict[str, list[Any]]] = {}


class Digests:
    """SHA-256 of files, read again only when size, times or inode differ.

    One of these serves one run, which must not mix two versions of a file: one that differs from
    what was read before is refused.

    Parameters
    ----------
    store : remembers digests between runs; None remembers nothing.
    trust : False reads every file again, whatever its status says.
    """

    def __init__(self, store: Store | None = None, *, trust: bool = True) -> None:
        self._store = store
        known = store.noted(_NOTE) if store and trust else None
        self._known: dict[str, list[Any]] = {**(_code_known if trust else {}), **(known or {})}
        self._seen: dict[Path, Status] = {}
        self._taken: dict[Path, str] = {}
        self._new = not self._known.keys() <= (known or {}).keys()

    def content(self, path: Path) -> str:
        """Return the SHA-256 of a file's bytes.

        Raises
        ------
        InputError
            If the file cannot be read, is being written at this moment, or is no longer the one
            that was read before.
        """
        self._taken[path] = self._remembered("content", path, digest_of)
        return self._taken[path]

    def taken(self, path: Path) -> tuple[int, str]:
        """Return size and SHA-256 of a file as it was read, whatever has become of it since."""
        digest = self._taken.get(path) or self.content(path)
        return self._seen[path][0], digest

    def code(self, path: Path) -> str:
        """Return the SHA-256 of what a module does: its bytecode without docstrings and lines."""
        return self._remembered("code", path, _code_digest)

    @property
    def seen(self) -> dict[Path, Status]:
        """Files that were asked for, with their status before they were read."""
        return dict(self._seen)

    def check_unchanged(self, paths: Iterable[Path]) -> None:
        """Make sure that files are still as they were when their digests were taken.

        Raises
        ------
        InputError
            If one was changed in between.
        """
        for path in paths:
            if status(path) != self._seen[path]:
                raise moving(path)

    def save(self) -> None:
        """Remember digests for the next run; entries of files that are gone are dropped."""
        if self._store is not None and self._new:
            there = {k: v for k, v in self._known.items() if Path(k.partition(":")[2]).exists()}
            self._store.note(_NOTE, there)

    def _remembered(self, kind: str, path: Path, compute: Callable[[Path], str]) -> str:
        before = status(path)
        if self._seen.setdefault(path, before) != before:
            raise moving(path)
        name = f"{kind}:{path.absolute()}"
        known = self._known.get(name)
        if known and known[:-1] == list(before):
            return str(known[-1])
        try:
            digest = compute(path)
        except OSError as error:
            raise _unreadable(path, error) from error
        if status(path) != before:
            raise moving(path)
        if not is_fresh(before, time.time()):
            self._known[name] = [*before, digest]
            if kind == "code":
                _code_known[name] = self._known[name]
            self._new = True
        return digest


def files_of(path: Path) -> tuple[Path, ...]:
    """Return every file whose content a person means by a path, in a fixed order.

    A folder stands for all files below it; a path with ``*``, ``?`` or ``[`` for all that
    match (``**`` through folders). Each file brings the ones that are read along with it: the
    parts of a shapefile, world files, GDAL's notes, a GeoPackage's write-ahead log, the sources
    of a VRT.
    """
    if path.is_dir():
        found = [inner for inner in path.rglob("*") if inner.is_file()]
    elif path.exists() or not glob.has_magic(str(path)):
        found = [path]
    else:
        matches = [Path(name) for name in glob.glob(str(path), recursive=True)]  # noqa: PTH207
        found = [match for match in matches if match.is_file()]
        if "**" in str(path):  # folders that links lead to are entered, even in circles
            found.sort(key=lambda match: len(match.parts), reverse=True)
            found = list({match.resolve(): match for match in found}.values())
    seen: dict[Path, None] = {}
    for main in sorted(found):
        _add_with_companions(main, seen)
    return tuple(seen)


def _add_with_companions(path: Path, seen: dict[Path, None]) -> None:
    if path in seen:
        return
    seen[path] = None
    others = [path.with_suffix(ending) for ending in _WITH_OTHER_ENDING]
    others += [path.with_name(path.name + ending) for ending in _WITH_MORE_ENDING]
    seen.update(dict.fromkeys(other for other in others if other.is_file()))
    if path.suffix.lower() == ".vrt" and path.is_file():
        for name in _VRT_SOURCE.findall(path.read_text(encoding="utf-8", errors="replace")):
            source = path.parent / name
            if source.is_file():
                _add_with_companions(source, seen)


def _code_digest(path: Path) -> str:
    # Compiled to bytecode and back to plain values takes a third of the time of a dumped syntax
    # tree. Places in the file stay out of it, so that a comment changes nothing.
    code = compile(path.read_bytes(), "", "exec", optimize=2, dont_inherit=True)
    return hashlib.sha256(repr(_without_places(code)).encode()).hexdigest()


def _without_places(code: CodeType) -> tuple[Any, ...]:
    constants: list[Any] = []
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            constants.append(_without_places(constant))
        elif isinstance(constant, frozenset):  # in an order of its own in each process
            constants.append(sorted(map(repr, constant)))
        else:
            constants.append(constant)
    arguments = (code.co_argcount, code.co_posonlyargcount, code.co_kwonlyargcount)
    names = (code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars)
    return (code.co_name, arguments, code.co_flags, names, code.co_code, code.co_exceptiontable,
            constants)  # fmt: skip


def is_fresh(found: Status, read_s: float) -> bool:
    """Tell whether a file changed so shortly before it was read that it may have changed since.

    Parameters
    ----------
    read_s : moment of reading, in seconds as `time.time` gives them.
    """
    return read_s - max(found[1], found[2]) / 1e9 <= _FRESH_S


def status(path: Path) -> Status:
    """Return size, times of change in ns, and inode of a file.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        found = path.stat()
    except OSError as error:
        raise _unreadable(path, error) from error
    return found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino


def _unreadable(path: Path, error: OSError) -> InputError:
    return InputError.of(
        f"the file cannot be read ({error.strerror or error})",
        mend="check the path in the site file and the file's permissions",
        source=str(path),
    )


def moving(path: Path) -> InputError:
    """Return what is told of a file that is not the same throughout a run."""
    return InputError.of(
        "the file changed while it was being read",
        mend="wait until copying or saving has finished, then run again",
        source=str(path),
    )
