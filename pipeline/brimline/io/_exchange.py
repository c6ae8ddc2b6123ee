"""Exchanging two folders in one step of the operating system, which Python does not offer."""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from functools import cache
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

_AT_FDCWD: Final = -100  # Linux, <fcntl.h>: paths count from the working folder
_RENAME_EXCHANGE: Final = 2  # Linux, <linux/fs.h>
_RENAME_SWAP: Final = 2  # macOS, <sys/stdio.h>
_CANNOT: Final = frozenset({errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP})


def exchange(one: Path, other: Path) -> bool:
    """Exchange the names of two folders so that no moment lies between.

    Returns
    -------
    bool
        False where the system or the disk cannot do it; nothing has then changed.

    Raises
    ------
    OSError
        If the system can, but may not or fails.
    """
    swap = _swap()
    if swap is None:
        return False
    if swap(os.fsencode(one), os.fsencode(other)) == 0:
        return True
    code = ctypes.get_errno()
    if code in _CANNOT:
        return False
    raise OSError(code, os.strerror(code), str(other))


@cache
def _swap() -> Any:  # noqa: ANN401  (a foreign function)
    if sys.platform == "win32":
        return None
    library = ctypes.CDLL(None, use_errno=True)
    if sys.platform == "darwin":
        swap = getattr(library, "renamex_np", None)
        return None if swap is None else lambda one, other: swap(one, other, _RENAME_SWAP)
    rename = getattr(library, "renameat2", None)
    if rename is None:
        return None
    return lambda one, other: rename(_AT_FDCWD, one, _AT_FDCWD, other, _RENAME_EXCHANGE)
