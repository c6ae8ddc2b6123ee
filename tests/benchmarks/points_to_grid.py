"""Memory and time of gridding points: ``python tests/benchmarks/points_to_grid.py MILLIONS DIR``.

Makes tiles of two million ground points each at 4 a square metre, over hills, in two flight lines
that lie over each other, as LAZ; grids them in a process of its own, and prints the most memory
that it took.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import laspy
import numpy as np
from pyproj import CRS

TILE_POINTS, TILE_M = 2_000_000, 707.0


def make(folder: Path, millions: int) -> None:
    """Write the tiles in rows, as a square as far as they go."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(3)
    count = max(round(millions * 1e6 / TILE_POINTS), 1)
    across = max(round(count**0.5), 1)
    for tile in range(count):
        path = folder / f"t{tile:03d}.laz"
        if path.exists():
            continue
        header = laspy.LasHeader(version="1.4", point_format=6)
        header.offsets, header.scales = [352_000.0, 5_211_000.0, 0.0], [0.001] * 3
        header.add_crs(CRS.from_epsg(32626))
        las = laspy.LasData(header)
        x = (tile % across) * TILE_M + rng.uniform(0, TILE_M, TILE_POINTS)
        y = (tile // across) * TILE_M + rng.uniform(0, TILE_M, TILE_POINTS)
        z = 200 + 20 * np.sin(x / 300) + 15 * np.cos(y / 220) + rng.normal(0, 0.05, x.size)
        las.x, las.y, las.z = x + 352_000, y + 5_211_000, z
        las.classification = np.full(x.size, 2, np.uint8)
        las.return_number = las.number_of_returns = np.ones(x.size, np.uint8)
        las.point_source_id = np.where(rng.random(x.size) < 0.5, 1, 2).astype(np.uint16)
        las.write(path)


def grid(folder: Path) -> None:
    """Grid all tiles and say what it took."""
    from brimline.io.elevation import read_elevation

    before_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    began_s, processor_s = time.monotonic(), time.process_time()
    read = read_elevation(str(folder / "*.laz"), max_cells=10**9)
    most_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{read.facts.ground_points / 1e6:.1f} million points, {read.dem.size / 1e6:.1f} million"
        f" cells of {read.grid.cell_m:g} m: {most_gb:.2f} GB ({before_gb:.2f} before),"
        f" {time.monotonic() - began_s:.0f} s, {time.process_time() - processor_s:.0f} s of"
        " processor"
    )


if __name__ == "__main__":
    if sys.argv[1] == "grid":
        grid(Path(sys.argv[2]))
    else:
        make(Path(sys.argv[2]), int(sys.argv[1]))
        subprocess.run([sys.executable, __file__, "grid", sys.argv[2]], check=True, timeout=3600)
