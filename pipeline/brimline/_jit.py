"""The one place that touches numba: how kernels are compiled, and where the result is kept.

numba's own on-disk cache does not notice an edit in a *called* kernel of another file, so the
cache lies in a folder whose name is a digest of every kernel source. Compiled code survives
between runs; a change of any kernel starts a fresh folder.
"""

from __future__ import annotations

import hashlib
import itertools
import os
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numba
import platformdirs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

_Result = TypeVar("_Result")

_PACKAGE: Final = Path(__file__).parent
_CACHE_ENV: Final = "BRIMLINE_KERNEL_CACHE"


@cache
def sources_digest() -> str:
    """Return a digest of every kernel source and of the compiler's version."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(_PACKAGE.rglob("_kernels.py")):
        digest.update(path.relative_to(_PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def cache_folder() -> Path:
    """Return the folder that holds compiled kernels; ``BRIMLINE_KERNEL_CACHE`` moves it."""
    base = os.environ.get(_CACHE_ENV) or platformdirs.user_cache_dir("brimline", appauthor=False)
    return Path(base) / "kernels" / sources_digest()


def is_compiled() -> bool:
    """Tell whether an earlier process has left compiled kernels to load."""
    folder = cache_folder()
    return folder.is_dir() and any(folder.rglob("*.nbc"))


def kernel(function: Callable[..., Any] | None = None, **options: Any) -> Any:  # noqa: ANN401
    """Compile a function over plain arrays on its first call, without the interpreter lock.

    Used bare or with numba options (``@kernel(parallel=True)``). Kernels are cached on disk,
    release the GIL, and keep strict IEEE arithmetic: ties must fall the same way on every
    machine, so ``fastmath`` is refused.

    Raises
    ------
    ValueError
        If ``fastmath`` is asked for.
    """
    if options.pop("fastmath", False):
        raise ValueError("fastmath changes how ties fall; kernels must not use it")
    if function is None:
        return lambda inner: kernel(inner, **options)
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(cache_folder())  # read once, when the cache is attached below
    try:
        return numba.njit(function, cache=True, nogil=True, **options)
    finally:
        numba.config.CACHE_DIR = before


prange = numba.prange


_threads_asked: int | None = None


def thread_count() -> int:
    """Return how many threads kernels share: one a processor that this process may use."""
    if _threads_asked is not None:
        return _threads_asked
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


@contextmanager
def threads(count: int) -> Iterator[None]:
    """Let kernels share so many threads inside the block; results never depend on it.

    Raises
    ------
    ValueError
        If `count` is below 1.
    """
    global _threads_asked  # noqa: PLW0603 one setting of the process
    if count < 1:
        raise ValueError(f"kernels need at least 1 thread, got {count}")
    before, _threads_asked = _threads_asked, count
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
