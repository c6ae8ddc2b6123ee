"""Time whole runs as a person meets them, and write the page of them.

Each run is a process of its own, with every kernel compiled by a run before it. Wall time counts on
a quiet machine; on a busy one trust the processor time, which the page gives beside it.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from affine import Affine
from ground import terrain
from scipy import ndimage

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).parent / "RUNS.md"
CRS = "EPSG:32633"
CORNER = (400_000.0, 5_200_000.0)
HEAD = """\
# Whole runs

Written by `make bench` (`tests/benchmarks/whole_runs.py`); not edited by hand. {cores} cores, every
kernel compiled before. Each run is a process of its own; its memory is that of its largest process.

| run | wall [s] | at most [s] | processor [s] | memory [GB] | bytes a cell | before [s] |
| --- | --- | --- | --- | --- | --- | --- |
"""
MOVED_M = 0.7


class Measured(NamedTuple):
    """What one process and its children took."""

    wall_s: float
    cpu_s: float
    bytes: int


def measured(*arguments):
    """Run ``brimline run`` with arguments."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    # a process between, whose children's largest is the run's own and no other's
    code = (
        "import resource, subprocess, sys;"
        "code = subprocess.run([sys.executable, '-m', 'brimline', 'run', *sys.argv[1:]],"
        " stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss);"
        "code.returncode and sys.exit(code.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        check=True, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Measured(wall, cpu, int(done.stdout) * 1024)


def demo(folder):
    """Copy the demo's site, without what earlier runs kept."""
    shutil.copytree(ROOT / "sample_data", folder / "sample_data")
    (folder / "configs").mkdir(parents=True)
    shutil.copy(ROOT / "configs/quillback_hill.toml", folder / "configs")
    return folder / "configs/quillback_hill.toml"


def move_pond(folder, steps):
    """Move the one drawn pond so many steps from where it was drawn."""
    plan = folder / "sample_data/quillback_hill/plan.gpkg"
    drawn = ROOT / "sample_data/quillback_hill/plan.gpkg"
    made = plan.with_name("moved.gpkg")
    for layer, _ in pyogrio.list_layers(drawn):
        rows = gpd.read_file(drawn, layer=layer)
        if layer == "drawn_ponds":
            rows.geometry = rows.geometry.translate(steps * MOVED_M, steps * MOVED_M / 2)
        rows.to_file(made, layer=layer, driver="GPKG")
    made.replace(plan)


def stand_in(rows=643, cols=1197, cell_m=30.0, seed=7):
    """Mountains as rough as a DEM of 30 m: many short flow paths, most far from any site."""
    rng = np.random.default_rng(seed)
    dem = np.zeros((rows, cols))
    for reach, height in ((60, 900.0), (20, 300.0), (6, 80.0), (2, 15.0)):
        wave = ndimage.gaussian_filter(rng.standard_normal(dem.shape), reach)
        dem += height / wave.std() * wave
    dem += rng.normal(0, 1.0, dem.shape)
    return (dem - dem.min() + 200).astype(np.float32), cell_m


def site(folder, dem, cell_m, side_m):
    """Write a site: the elevation, and a square boundary in its middle with one intake."""
    folder.mkdir(parents=True)
    west, north = CORNER
    rows, cols = dem.shape
    with rasterio.open(
        folder / "dem.tif", "w", "GTiff", cols, rows, 1, CRS,
        Affine(cell_m, 0, west, 0, -cell_m, north), "float32", tiled=True,
    ) as file:  # fmt: skip
        file.write(dem, 1)
    x, y = west + cols * cell_m / 2, north - rows * cell_m / 2
    square = shapely.box(x - side_m / 2, y - side_m / 2, x + side_m / 2, y + side_m / 2)
    for layer, rows_of in (
        ("boundary", {"name": ["Site"], "geometry": [square]}),
        ("intakes", {"name": ["Middle"], "geometry": [shapely.Point(x, y)]}),
    ):
        gpd.GeoDataFrame(rows_of, crs=CRS).to_file(folder / "site.gpkg", layer=layer)
    text = (
        '[site]\nname = "Measured"\n\n[inputs]\nelevation = "dem.tif"\n'
        'boundary = {file = "site.gpkg", layer = "boundary"}\n'
        'intakes = {file = "site.gpkg", layer = "intakes"}\n'
    )
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def row(name, found, at_most="", cells=0, before=""):
    """Return a row of the page, missed targets marked."""
    missed = " **missed**" if at_most and found.wall_s > at_most else ""
    each = f"{found.bytes / cells:.0f}" if cells else ""
    return (
        f"| {name} | {found.wall_s:.1f} | {at_most}{missed} | {found.cpu_s:.1f} |"
        f" {found.bytes / 1e9:.2f} | {each} | {before} |"
    )


def demo_rows(folder):
    """Measure the demo: from nothing, then with its pond moved, drafted and published."""
    path, out = demo(folder), folder / "run"
    move_pond(folder, 0)
    measured(path, "--out", out, "--jobs", 2)  # compiles
    shutil.rmtree(path.parent / ".brimline")
    shutil.rmtree(out)
    yield row("demo, from nothing", measured(path, "--out", out), 15, 900 * 900, "37")
    time.sleep(3)
    yield row("demo, nothing to do", measured(path, "--out", out, "--draft"), "", 0, "4.5")
    move_pond(folder, 1)
    yield row("demo, pond moved, draft", measured(path, "--out", out, "--draft"), 2, 0, "8")
    move_pond(folder, 2)
    yield row("demo, pond moved, published", measured(path, "--out", out), 4, 0, "29.8")
    plain = path.read_text(encoding="utf-8")
    path.write_text(f"{plain}\n[proof]\nrain_on_grid = true\n", encoding="utf-8")
    rained = measured(path, "--out", out, "--draft", "--until", "flooding")
    yield row("demo, rain on grid", rained, 60, 0, "396")


def bare_chain(dem):
    """Wall time of the fastest way through fill, directions, accumulation and catchments [s]."""
    from contestants import contestants  # peer libraries, which the rest does without
    from ground import nested_intakes
    from run import chains, turns

    entries, _ = contestants(dem, nested_intakes(dem))
    return min(chains(turns(entries, 2, 1)).values())


def square_rows(folder, sides):
    """Measure sites whose elevation is square, and the peers' bare flow chain beside the last."""
    found = {}
    for side in sides:
        dem = terrain(side)
        path = site(folder / f"square_{side}", dem, 1.0, 600.0)
        found[side] = measured(path, "--out", path.parent / "run")
        limit = 60 if side == 4000 else ""
        yield row(f"{side}², all", found[side], limit, side * side, "460" if limit else "")
    last, fastest = found[sides[-1]], bare_chain(dem)
    yield (
        f"\nThe bare flow chain of the fastest peers at {sides[-1]}² took {fastest:.1f} s: the"
        f" whole run takes {last.wall_s / fastest:.1f} times that (at most 12)."
    )
    if len(sides) > 1:
        first, cells = found[sides[0]], (sides[-1] / sides[0]) ** 2
        yield (
            f"From {sides[0]}² to {sides[-1]}², {cells:.1f} times the cells: "
            f"{last.wall_s / first.wall_s:.1f} times the wall time, "
            f"{last.cpu_s / first.cpu_s:.1f} times the processor time (at most 4.4 for 4 times)."
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sides", type=int, nargs="*", default=[2000, 4000])
    parser.add_argument("--only", choices=("demo", "squares", "30m"), nargs="*")
    arguments = parser.parse_args()
    only = arguments.only or ("demo", "30m", "squares")
    lines = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        parts = []
        if "demo" in only:
            parts.append(demo_rows(folder / "demo"))
        if "30m" in only:
            dem, cell_m = stand_in()
            path = site(folder / "coarse", dem, cell_m, 900.0)
            cells = dem.size
            parts.append(
                row("643 × 1197 cells of 30 m", one, 60, cells, "over 400")
                for one in (measured(path, "--out", path.parent / "run"),)
            )
        if "squares" in only:
            parts.append(square_rows(folder, arguments.sides))
        for part in parts:
            for line in part:
                print(line, flush=True)
                lines.append(line)
    PAGE.write_text(HEAD.format(cores=os.cpu_count()) + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
