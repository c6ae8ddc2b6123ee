"""Time and memory of a survey in tiles: ``python tests/benchmarks/survey_in_tiles.py SIDE FOLDER``.

Makes an invented survey of SIDE × SIDE cells of 1 m in files of 2048 cells a side, drains it with
two workers, and prints processor time, wall time and the most memory of all processes together.
Under load trust neither time: what else runs takes the caches as well.
"""

from __future__ import annotations

import contextlib
import resource
import shutil
import sys
import threading
import time
from pathlib import Path

import numpy as np
import psutil
import rasterio
from affine import Affine
from scipy import ndimage

from brimline.io.tile_index import index_tiles
from brimline.tiled.survey import Options, drain_survey

FILE = 2048


def make(folder: Path, side: int) -> None:
    """Write hills of five sizes with noise of 3 cm, and a fall of 4 per thousand."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(7)
    detail = np.zeros((FILE, FILE), np.float32)  # repeats without a seam from file to file
    for reach, height in ((40, 9.0), (12, 2.0), (4, 0.4)):
        wave = ndimage.gaussian_filter(rng.standard_normal(detail.shape), reach, mode="wrap")
        detail += (height / wave.std() * wave).astype(np.float32)
    count = -(-side // FILE)
    coarse = ndimage.gaussian_filter(rng.standard_normal((8 * count + 2,) * 2), 3)
    coarse *= 60.0 / coarse.std()
    for row in range(count):
        for col in range(count):
            rows, cols = min(FILE, side - row * FILE), min(FILE, side - col * FILE)
            at = np.meshgrid(
                (row * FILE + np.arange(rows)) / 256,
                (col * FILE + np.arange(cols)) / 256,
                indexing="ij",
            )
            ground = ndimage.map_coordinates(coarse, at, order=1).astype(np.float32)
            ground += detail[:rows, :cols] + np.float32(300)
            ground += 0.004 * np.float32(col * FILE) + 0.004 * np.arange(cols, dtype=np.float32)
            ground += rng.normal(0, 0.03, ground.shape).astype(np.float32)
            place = Affine(1, 0, 352_000 + col * FILE, 0, -1, 5_211_000 - row * FILE)
            with rasterio.open(
                folder / f"t{row:02d}_{col:02d}.tif",
                "w",
                "GTiff",
                cols,
                rows,
                1,
                "EPSG:32626",
                place,
                "float32",
                compress="DEFLATE",
                zlevel=1,
                predictor=3,
                tiled=True,
            ) as file:
                file.write(ground, 1)


class MostMemory(threading.Thread):
    """Looks at the memory of this process and its children together until it is stopped."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.gb, self._end = 0.0, threading.Event()

    def run(self) -> None:
        """Look four times a second."""
        mine = psutil.Process()
        while not self._end.wait(0.25):
            held = 0
            for process in (mine, *mine.children(recursive=True)):
                with contextlib.suppress(psutil.Error):
                    held += process.memory_info().rss
            self.gb = max(self.gb, held / 1e9)

    def stopped(self) -> float:
        """Stop and return the most [GB]."""
        self._end.set()
        self.join()
        return self.gb


def main(side: int, folder: Path, mode: str = "fill") -> None:
    """Make the survey where it is not there, drain it, and tell what that took."""
    if not (folder / "tiles").is_dir():
        make(folder / "tiles", side)
    shutil.rmtree(folder / "out", ignore_errors=True)
    began, passes = time.monotonic(), {}

    def told(title: str, done: int, count: int, _: int) -> None:
        if done == count:
            passes[title] = time.monotonic() - began

    memory = MostMemory()
    memory.start()
    before = resource.getrusage(resource.RUSAGE_SELF)
    result = drain_survey(
        index_tiles(folder / "tiles/*.tif"), folder / "out", Options(mode=mode), told=told
    )
    mine, workers = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    cells = side * side
    processor_s = workers.ru_utime + workers.ru_stime + mine.ru_utime + mine.ru_stime
    processor_s -= before.ru_utime + before.ru_stime
    print(f"{cells / 1e6:.0f} million cells, {result.drained.rounds} rounds of flats")
    print(f"processor {processor_s:.1f} s, {processor_s / cells * 1e9:.0f} ns a cell")
    ends = ", ".join(f"{title} {ended:.0f} s" for title, ended in passes.items())
    print(f"wall {result.seconds:.1f} s; ended after {ends}")
    print(
        f"largest worker {workers.ru_maxrss / 1e6:.2f} GB, all together {memory.stopped():.2f} GB"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
