"""Compiling ahead: on a first run, processes beside it compile the kernels that it will want.

numba compiles one kernel at a time in a process. What a run compiles is listed in `_ahead.txt`,
a line a kernel and kinds of its arguments, in the order wanted; a line that no longer holds costs
only its time. ``python -m brimline._ahead list`` writes the list anew from the cache that
one first run left.
"""

from __future__ import annotations

import atexit
import importlib
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

from numba.core import types

from brimline import _jit

_PACKAGE: Final = Path(__file__).parent
_LIST: Final = Path(__file__).with_suffix(".txt")
_KINDS: Final = {**vars(types), "bool": types.bool_}


def start() -> None:
    """Start one process a processor; they end with this one, or when all is compiled."""
    count = _jit.thread_count()
    for part in range(count):
        command = [sys.executable, "-m", "brimline._ahead", f"{part}/{count}"]
        process = subprocess.Popen(  # noqa: S603 this interpreter, our own module
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        atexit.register(process.terminate)


def _kinds(text: str) -> tuple[Any, ...]:
    """Read kinds of arguments back from what numba calls them."""
    return tuple(eval(text, {"__builtins__": {}}, dict(_KINDS)))  # noqa: S307 our own list


def _compile(first: int, count: int) -> None:
    """Compile what is listed and not yet taken, each process from another place on."""
    lines = _LIST.read_text(encoding="utf-8").splitlines()
    begin = len(lines) * first // count
    for line in lines[begin:] + lines[:begin]:
        module, name, kinds = line.split(maxsplit=2)
        try:
            kernel = getattr(importlib.import_module(f"brimline.{module}"), name)
            if not kernel._cache.is_taken():  # noqa: SLF001 ours, see `_jit`
                kernel.compile(_kinds(kinds))
        except Exception:  # noqa: BLE001, S112 a line out of date; the run compiles for itself
            continue


def _list(kept_in: Path) -> None:
    """Write the list from a cache: kernels called from Python, whose kinds read back."""
    modules = {}
    for path in _PACKAGE.rglob("_kernels.py"):
        module = ".".join(path.relative_to(_PACKAGE).with_suffix("").parts)
        modules[path.parent.name] = module
    found = []
    for index in kept_in.rglob("*.nbi"):
        with index.open("rb") as file:
            pickle.load(file)  # noqa: S301 our own cache
            _, kept = pickle.loads(file.read())  # noqa: S301
        module = modules[index.parent.name.rsplit("-", 1)[0]]
        name = index.name.split(".")[1].rsplit("-", 1)[0]
        for key, data in kept.items():
            kinds = f"({''.join(f'{kind!r}, ' for kind in key[0])})"
            if not name.startswith("_") and _reads_back(kinds, key[0]):
                found.append(((index.parent / data).stat().st_mtime, f"{module} {name} {kinds}"))
    lines = [line for _, line in sorted(found)]
    _LIST.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")


def _reads_back(text: str, kinds: tuple[Any, ...]) -> bool:
    """Tell whether kinds are read back the same; records and literals are not."""
    try:
        return _kinds(text) == tuple(kinds)
    except (SyntaxError, NameError, TypeError):
        return False


if __name__ == "__main__":
    if sys.argv[1] == "list":
        _list(_jit.cache_folder())
    else:
        part, parts = sys.argv[1].split("/")
        _compile(int(part), int(parts))
