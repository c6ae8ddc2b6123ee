"""The folder of a survey in tiles: working rasters, packs, what is finished, and the results.

Working rasters are plain arrays, a file a tile, so that the halo of a neighbour costs only its
own bytes. A pass's pack is written last, under the key of what it was made from: where it lies with
the same key and its files are there, the pass need not be called again.
"""

from __future__ import annotations

import os
import shutil
import uuid
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.errors import StoreError
from brimline.io.atomic import told
from brimline.io.rasters import write_tile
from brimline.layers import raster

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.grid.tiles import Tiling, Window
    from brimline.tiled.passes import Pack

WORK: Final = ".work"
WORK_BYTES: Final = 16  # a cell: ground, conditioned, cells above, directions; packs 2, measured
RESULT_BYTES: Final = 5  # a cell, about; measured 2 to 4 on real ground
_KEY: Final = "key of the pass"
_FILES: Final = "files of the pass"


@dataclass
class FolderStore:
    """Rasters and packs of a survey as files.

    Parameters
    ----------
    folder : where the results go; working files lie in `.work` in it.
    grid : the whole grid.
    """

    folder: Path
    tiling: Tiling
    grid: Grid
    written: list[str] = field(default_factory=list)

    def read(self, name: str, window: Window) -> NDArray[Any]:
        """Return a block of a raster, which may lie in several tiles."""
        block: NDArray[Any] | None = None
        for tile in self.tiling.over(window):
            path = self._path(name, tile, ".npy")
            try:
                held = np.load(path, mmap_mode="r", allow_pickle=False)
            except (OSError, ValueError) as fault:
                raise self._lost(path, str(fault)) from fault
            at = self.tiling.window(tile)
            common = at.common(window)
            if block is None:
                block = np.empty(window.shape, dtype=held.dtype)
            block[common.inside(window)] = held[common.inside(at)]
        assert block is not None
        return block

    def write(self, name: str, tile: int, array: NDArray[Any]) -> None:
        """Keep a tile of a raster."""
        self._save(self._path(name, tile, ".npy"), lambda file: np.save(file, array))

    def read_pack(self, name: str, tile: int) -> Pack:
        """Return the pack of a tile."""
        found = _loaded(self._path(name, tile, ".npz"))
        if found is None:
            raise self._lost(self._path(name, tile, ".npz"), "gone or damaged")
        return found

    def write_pack(self, name: str, tile: int, pack: Pack) -> None:
        """Keep a pack of a tile."""
        self._save(self._path(name, tile, ".npz"), lambda file: np.savez(file, **pack))

    def publish(self, name: str, tile: int, array: NDArray[Any]) -> None:
        """Write a tile of a result, as a GeoTIFF in the folder of its raster."""
        path = self.result(name, tile)
        _made(path.parent)
        write_tile(path, array, self.grid.window(*self.tiling.window(tile)), raster(name))
        self.written.append(str(path.relative_to(self.folder)))

    def result(self, name: str, tile: int) -> Path:
        """Return the file of a tile of a result."""
        return self.folder / name / f"{self._name(tile)}.tif"

    def kept(self, title: str, tile: int, key: str) -> Pack | None:
        """Return what a pass gave when it was finished with the same key; None where it was not."""
        found = _loaded(self._path(title, tile, ".npz"))
        if found is None or str(found.pop(_KEY, "")) != key:
            return None
        files = [str(name) for name in found.pop(_FILES)]
        return found if all((self.folder / name).is_file() for name in files) else None

    def keep(self, title: str, tile: int, key: str, pack: Pack) -> None:
        """Mark a pass as finished."""
        marked = pack | {_KEY: key, _FILES: np.array(self.written, dtype=np.str_)}
        self._save(self._path(title, tile, ".npz"), lambda file: np.savez(file, **marked))

    def room_or_refuse(self) -> None:
        """Refuse to begin where the disk cannot hold what will be written.

        Raises
        ------
        StoreError
            Saying how much is missing.
        """
        cells = self.grid.rows * self.grid.cols
        held = sum(file.stat().st_size for file in self.folder.rglob("*") if file.is_file())
        needs = cells * (WORK_BYTES + RESULT_BYTES) - held
        free = shutil.disk_usage(self.folder).free
        if needs > free:
            raise StoreError(
                f"{self.folder} needs about {needs / 1e9:.1f} GB more for {cells / 1e6:.0f} million"
                f" cells, and its disk has {free / 1e9:.1f} GB free. Make room, or give --out on"
                " another disk."
            )

    def _lost(self, path: Path, why: str) -> StoreError:
        return StoreError(
            f"{path} could not be read ({why}). Remove {self.folder / WORK} and run again."
        )

    def _name(self, tile: int) -> str:
        return f"r{tile // self.tiling.across:04d}_c{tile % self.tiling.across:04d}"

    def _path(self, name: str, tile: int, ending: str) -> Path:
        return self.folder / WORK / name / f"{self._name(tile)}{ending}"

    def _save(self, path: Path, save: Callable[[Any], object]) -> None:
        """Write a working file whole or not at all; a lost one is only made again."""
        _made(path.parent)
        part = path.with_name(f"{path.name}.part-{uuid.uuid4().hex[:8]}")
        try:
            with part.open("wb") as file:
                save(file)
            os.replace(part, path)  # noqa: PTH105 Path.replace would do the same
        except OSError as fault:
            raise told(fault, path) from fault
        finally:
            part.unlink(missing_ok=True)
        self.written.append(str(path.relative_to(self.folder)))


def _made(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise told(fault, folder) from fault


def _loaded(path: Path) -> Pack | None:
    try:
        with np.load(path, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except (OSError, ValueError, EOFError, KeyError):
        return None
