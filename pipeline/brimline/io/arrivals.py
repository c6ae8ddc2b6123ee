"""Files that arrive in a folder: which are complete, and which are still being copied."""

from __future__ import annotations

import shutil
import time
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import laspy
import rasterio

from brimline.errors import InputError
from brimline.io._clouds import FAULTS
from brimline.io.atomic import told, written_whole
from brimline.io.formats import open_raster
from brimline.io.paths import is_points

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

_PARTIAL: Final = (".part", ".partial", ".tmp", ".crdownload", ".filepart", "~")
_RASTERS: Final = (".tif", ".tiff")
_PIECE: Final = 1_000_000  # points read at a time

Status = tuple[int, int, int]


@dataclass(slots=True)
class Settling:
    """Tells which files have stayed as they are for some time.

    Parameters
    ----------
    settle_s : how long size, time of change and inode must stay the same [s].
    clock : gives the time that passes [s].
    """

    settle_s: float
    clock: Callable[[], float] = time.monotonic
    _seen: dict[Path, tuple[Status, float]] = field(default_factory=dict)

    def settled(self, paths: Iterable[Path]) -> list[Path]:
        """Look at files, and return those that have not changed since they settled."""
        now = self.clock()
        quiet = []
        seen: dict[Path, tuple[Status, float]] = {}
        for path in paths:
            status = status_of(path)
            if status is None:
                continue
            before = self._seen.get(path)
            since = before[1] if before and before[0] == status else now
            seen[path] = (status, since)
            if now - since >= self.settle_s:
                quiet.append(path)
        self._seen = seen
        return quiet


def status_of(path: Path) -> Status | None:
    """Return what changes when a file is written to; None where there is no such file."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns, found.st_ino


def tiles_in(folder: Path) -> list[Path]:
    """Return the elevation files that lie in a folder, without names that copiers use meanwhile.

    Raises
    ------
    InputError
        If the folder cannot be read.
    """
    try:
        found = sorted(path for path in folder.iterdir() if path.is_file())
    except OSError as fault:
        raise InputError.of(
            f"cannot be read ({fault.strerror})", mend="name a folder", source=str(folder)
        ) from fault
    return [
        path
        for path in found
        if not path.name.startswith(".")
        and not path.name.lower().endswith(_PARTIAL)
        and (path.suffix.lower() in _RASTERS or is_points(path))
    ]


def why_unreadable(path: Path) -> str:
    """Read an elevation file from end to end; return what is wrong with it, or nothing."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a file that does not say where it is
            return _points_fault(path) if is_points(path) else _raster_fault(path)
    except (OSError, ValueError, InputError, rasterio.errors.RasterioError, *FAULTS) as fault:
        return " ".join(str(fault).split()) or type(fault).__name__


def take(path: Path, folder: Path, aside: Path) -> Path:
    """Move a file into a folder; one of the same name there is put aside, never overwritten.

    Parameters
    ----------
    aside : folder for the file that is replaced; its name gets the time in front.

    Raises
    ------
    StoreError
        If it cannot be moved; both files are then where they were or whole in their new place.
    """
    target = folder / path.name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with written_whole(target) as part:
            shutil.copy2(path, part)
            if target.exists():
                aside.mkdir(parents=True, exist_ok=True)
                stamp = time.strftime("%Y%m%d-%H%M%S", time.gmtime())
                shutil.copy2(target, aside / f"{stamp}-{target.name}")
        path.unlink()
    except OSError as fault:
        raise told(fault, target) from fault
    return target


def _raster_fault(path: Path) -> str:
    with open_raster(path) as source:
        for _, window in source.block_windows(1):
            source.read(1, window=window)
    return ""


def _points_fault(path: Path) -> str:
    with laspy.open(path) as source:
        declared = int(source.header.point_count)
        read = sum(len(chunk) for chunk in source.chunk_iterator(_PIECE))
    return "" if read == declared else f"{read} of {declared} points can be read"
