"""Time and memory of a survey in tiles: ``python tests/benchmarks/survey_in_tiles.py SIDE FOLDER``.

Makes an invented survey of SIDE × SIDE cells of 1 m in files of 2048 cells a side, drains it with
two workers, and prints processor time, wall time and the largest process. Under load trust the
processor time.
"""

from __future__ import annotations

import resource
import shutil
import sys
import time
from pathlib import Path

import numpy as np
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


def main(side: int, folder: Path, mode: str = "fill") -> None:
    """Make the survey where it is not there, drain it, and tell what that took."""
    if not (folder / "tiles").is_dir():
        make(folder / "tiles", side)
    shutil.rmtree(folder / "out", ignore_errors=True)
    began, passes = time.monotonic(), {}

    def told(title: str, done: int, count: int, _: int) -> None:
        if done == count:
            passes[title] = time.monotonic() - began

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
    most_gb = workers.ru_maxrss / 1e6, mine.ru_maxrss / 1e6
    print(f"largest worker {most_gb[0]:.2f} GB, this process {most_gb[1]:.2f} GB")


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
