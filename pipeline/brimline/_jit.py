"""The one place that touches numba: how kernels are compiled, and where the result is kept.

numba's own on-disk cache asks for a file's path and time of change, and does not notice an edit
in a *called* kernel of another file. Ours asks for content alone: compiled code lies in a folder
named by a digest of the kernels' file and of all files of ours that it imports. An edit compiles
anew what it reaches and no more, and checkouts with the same sources share what was compiled.
"""

from __future__ import annotations

import errno
import gc
import hashlib
import itertools
import os
import re
import stat
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Final, TypeVar

import numba
import numpy as np
import platformdirs
from filelock import FileLock, Timeout
from numba.core import event
from numba.core.caching import CompileResultCacheImpl, FunctionCache

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

_Result = TypeVar("_Result")

_PACKAGE: Final = Path(__file__).parent
_LONGEST_COMPILING_S: Final = 60.0
_CACHE_ENV: Final = "BRIMLINE_KERNEL_CACHE"
_IMPORT: Final = re.compile(r"^from (brimline[\w.]*) import", re.MULTILINE)


@cache
def _imported(path: Path) -> frozenset[Path]:
    """Return the file and all files of ours that it imports, directly or through others."""
    found, waiting = {path}, [path]
    while waiting:
        for module in _IMPORT.findall(waiting.pop().read_text(encoding="utf-8")):
            place = _PACKAGE.joinpath(*module.split(".")[1:])
            for name in (place.with_suffix(".py"), place / "__init__.py"):
                if name.is_file() and name not in found:
                    found.add(name)
                    waiting.append(name)
    return frozenset(found)


@cache
def sources_digest(path: Path) -> str:
    """Return a digest of a kernels' file, of what it imports of ours, and of the compiler."""
    digest = hashlib.sha256(f"{numba.__version__} {np.__version__}".encode())
    for source in sorted(_imported(path)):
        name = source.relative_to(_PACKAGE) if source.is_relative_to(_PACKAGE) else source.name
        digest.update(Path(name).as_posix().encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


@cache
def cache_folder() -> Path:
    """Return the folder that holds compiled kernels; ``BRIMLINE_KERNEL_CACHE`` moves it."""
    base = os.environ.get(_CACHE_ENV) or platformdirs.user_cache_dir("brimline", appauthor=False)
    folder = Path(base) / "kernels"
    if os.name == "posix" and folder.is_dir():
        found = folder.stat()
        if found.st_mode & stat.S_IWOTH or found.st_uid not in (0, os.geteuid()):
            text = (
                "others on this machine can write to the folder that compiled code is loaded from"
            )
            raise PermissionError(errno.EPERM, text, str(folder))
    return folder


def is_compiled() -> bool:
    """Tell whether an earlier process has left compiled kernels to load."""
    folder = cache_folder()
    return folder.is_dir() and any(folder.rglob("*.nbc"))


class _Place:
    """Where numba keeps one kernel; its stamp never changes, as the folder's name tells all."""

    def __init__(self, function: Callable[..., Any], path: Path) -> None:
        name = path.parent.relative_to(_PACKAGE) if path.is_relative_to(_PACKAGE) else path.parent
        self._folder = cache_folder() / f"{name.name}-{sources_digest(path)}"
        self._line = function.__code__.co_firstlineno
        self._py_file = str(path)  # what numba names where code cannot be kept

    @classmethod
    def from_function(cls, function: Callable[..., Any], file: str) -> _Place:
        return cls(function, Path(file).resolve())

    def get_cache_path(self) -> str:
        return str(self._folder)

    def ensure_cache_path(self) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)

    def get_source_stamp(self) -> str:
        return ""

    def get_disambiguator(self) -> str:
        return str(self._line)


class _Kept(CompileResultCacheImpl):  # type: ignore[misc] # numba is untyped
    _locator_classes: ClassVar = [_Place]


class _Cache(FunctionCache):  # type: ignore[misc] # numba is untyped
    """What is kept of one kernel; a process that finds nothing kept compiles it under a lock.

    Another process that wants the same kernel waits and loads it. Kernels call each other one
    way only, so that processes cannot wait for each other in a circle.
    """

    _impl_class = _Kept

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        place = Path(self._cache_path) / f"{self._impl.filename_base}.lock"
        self._lock = FileLock(place, thread_local=False)

    def load_overload(self, sig: Any, target_context: Any) -> Any:  # noqa: ANN401
        kept = super().load_overload(sig, target_context)
        if kept is not None:
            return kept
        with suppress(Timeout, OSError):  # without the lock, it is only compiled twice
            self._impl.locator.ensure_cache_path()
            self._lock.acquire(timeout=_LONGEST_COMPILING_S)
        kept = super().load_overload(sig, target_context)
        if kept is not None:
            self._lock.release()
        return kept

    def save_overload(self, sig: Any, data: Any) -> None:  # noqa: ANN401
        super().save_overload(sig, data)
        self._lock.release()


class _Uncollected(event.Listener):  # type: ignore[misc] # numba is untyped
    """Halts the search for garbage while kernels are compiled: a fifth of the time, for nothing."""

    def __init__(self) -> None:
        self._depth, self._was_on = 0, False

    def on_start(self, event: Any) -> None:  # noqa: ANN401, ARG002 as numba calls it
        """Begin to compile a kernel, perhaps for another one."""
        if self._depth == 0:
            self._was_on = gc.isenabled()
            gc.disable()
        self._depth += 1

    def on_end(self, event: Any) -> None:  # noqa: ANN401, ARG002
        """Have it compiled, or failed to."""
        self._depth -= 1
        if self._depth == 0 and self._was_on:
            gc.enable()


event.register("numba:compile", _Uncollected())


def kernel(function: Callable[..., Any] | None = None, **options: Any) -> Any:  # noqa: ANN401
    """Compile a function over plain arrays on its first call, without the interpreter lock.

    Used bare or with numba options (``@kernel(parallel=True)``). Kernels are cached on disk,
    release the GIL, and keep strict IEEE arithmetic: ties must fall the same way on every
    machine, so ``fastmath`` is refused. A kernel whose name begins with ``_`` is for other kernels
    only: what lets Python call it is not compiled.

    Raises
    ------
    ValueError
        If ``fastmath`` is asked for.
    """
    if options.pop("fastmath", False):
        raise ValueError("fastmath changes how ties fall; kernels must not use it")
    if function is None:
        return lambda inner: kernel(inner, **options)
    compiled = numba.njit(
        function,
        nogil=True,
        no_cpython_wrapper=function.__name__.startswith("_"),
        no_cfunc_wrapper=True,
        **options,
    )
    if not numba.config.DISABLE_JIT:
        compiled._cache = _Cache(function)  # noqa: SLF001 what `cache=True` sets, asking for content
    return compiled


prange = numba.prange


_threads_asked: int | None = None


def thread_count() -> int:
    """Return how many threads kernels share: one a processor that this process may use."""
    if _threads_asked is not None:
        return _threads_asked
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def use_threads(count: int) -> None:
    """Let kernels share so many threads from now on."""
    global _threads_asked  # noqa: PLW0603 one setting of the process
    if count < 1:
        raise ValueError(f"kernels need at least 1 thread, got {count}")
    _threads_asked = count


@contextmanager
def threads(count: int) -> Iterator[None]:
    """Let kernels share so many threads inside the block; results never depend on it.

    Raises
    ------
    ValueError
        If `count` is below 1.
    """
    global _threads_asked  # noqa: PLW0603 one setting of the process
    before = _threads_asked
    use_threads(count)
    try:
        yield
    finally:
        _threads_asked = before


def side_by_side(calls: Sequence[Callable[[], _Result]]) -> list[_Result]:
    """Make the calls, at the same time where threads allow, and return their results in order.

    Kernels release the interpreter lock, so plain threads run them side by side; numba's own
    ``parallel=True`` compiles several times slower and must not be entered from two threads.
    """
    count = min(thread_count(), len(calls))
    if count < 2:
        return [call() for call in calls]
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(lambda call: call(), calls))


def bands(rows: int, *, least: int = 64) -> list[tuple[int, int]]:
    """Split rows into one run of at least `least` a thread, as (first, last + 1)."""
    count = max(1, min(thread_count(), rows // least))
    edges = [rows * band // count for band in range(count + 1)]
    return list(itertools.pairwise(edges))
