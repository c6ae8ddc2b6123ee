"""The one place that touches numba: how kernels are compiled, and where the result is kept.

numba's own on-disk cache does not notice an edit in a *called* kernel of another file, so the
cache lies in a folder whose name is a digest of every kernel source. Compiled code survives
between runs; a change of any kernel starts a fresh folder.
"""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numba
import platformdirs

if TYPE_CHECKING:
    from collections.abc import Callable

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
