"""How often the ground filter errs, point by point, on clouds whose points are labelled.

Type I: share of ground points that are left out; type II: share of the others that are taken; as in
Sithole & Vosselman (2004), doi:10.1016/j.isprsjprs.2004.05.004 (from memory).
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import laspy
import numpy as np
import pytest

from brimline.grid import Grid
from brimline.io.points import ON_GROUND_M
from brimline.terrain.ground import ground_cells
from brimline.terrain.points import LowestBins

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Figures(NamedTuple):
    type_one: float
    type_two: float
    kappa: float


def figures(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    z: NDArray[np.float64],
    is_ground: NDArray[np.bool_],
    cell_m: float = 1.0,
) -> Figures:
    """Tell ground as a run does: points close above the lowest one of a cell on the ground."""
    west, south = np.floor(x.min()), np.floor(y.min())
    rows, cols = int((y.max() - south) / cell_m) + 1, int((x.max() - west) / cell_m) + 1
    grid = Grid(rows, cols, cell_m, west, south + rows * cell_m, "EPSG:32633")
    lowest = LowestBins(grid)
    lowest.add(x, y, z)
    levels = lowest.levels()
    levels[~ground_cells(levels, cell_m=cell_m)] = np.nan
    with np.errstate(invalid="ignore"):
        taken = z - levels[grid.cell(x, y)] <= ON_GROUND_M
    ground, others = int(is_ground.sum()), int((~is_ground).sum())
    lost, wrong = int((is_ground & ~taken).sum()), int((~is_ground & taken).sum())
    count = ground + others
    agree = 1 - (lost + wrong) / count
    called = ground - lost + wrong
    chance = (ground * called + others * (count - called)) / count**2  # Cohen (1960)
    return Figures(lost / ground, wrong / others, (agree - chance) / (1 - chance))


def made(slope: float, seed: int) -> tuple[NDArray[np.float64], ...]:
    """Four points a square metre over hills with roofs, trees, shrubs and a wall, all labelled."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 200, (2, 160_000))
    z = 50 + slope * x + 3 * np.sin(y / 18) + 2 * np.cos(x / 25)
    above = np.zeros(x.size)
    for west, south, wide, deep, height in ((30, 40, 12, 8, 4), (100, 120, 24, 15, 6)):
        on = (x > west) & (x < west + wide) & (y > south) & (y < south + deep)
        above[on] = height
    above[(np.abs(x - 150) < 0.3) & (y < 80)] = 1.2  # a wall
    for trunk_x, trunk_y, reach in rng.uniform((0, 0, 1.5), (200, 200, 4), (120, 3)):
        on = np.hypot(x - trunk_x, y - trunk_y) < reach
        on &= rng.random(x.size) < 0.7  # the rest goes through to the ground
        above[on] = np.maximum(above[on], rng.uniform(0.5, 12, int(on.sum())))
    shrubs = (rng.random(x.size) < 0.02) & (above == 0)
    above[shrubs] = rng.uniform(0.3, 1.0, int(shrubs.sum()))
    return x, y, z + above + rng.normal(0, 0.03, x.size), above == 0


@pytest.mark.parametrize(
    ("slope", "most"),
    # measured, and no worse since; on slopes what is high in its cell is left out, at no cost to
    # the level of the cell, which is a mean point on the ground
    [(0.0, Figures(0.01, 0.02, 0.95)), (0.15, Figures(0.05, 0.02, 0.75)),
     (0.3, Figures(0.2, 0.02, 0.4))],
)  # fmt: skip
def test_figures_on_an_invented_cloud_whose_labels_are_known(slope: float, most: Figures) -> None:
    found = figures(*made(slope, 6))
    print(found)
    assert found.type_one <= most.type_one
    assert found.type_two <= most.type_two
    assert found.kappa >= most.kappa


@pytest.mark.realdata
@pytest.mark.skipif("BRIMLINE_DATA" not in os.environ, reason="BRIMLINE_DATA is not set")
def test_figures_on_a_surveyed_cloud_that_its_makers_classified() -> None:
    """Class 2 of the makers is ground; of what they left unclassified only last returns count."""
    las = laspy.read(Path(os.environ["BRIMLINE_DATA"]) / "highland_ftus.las")
    last = np.asarray(las.return_number) >= np.asarray(las.number_of_returns)
    x, y, z = (np.asarray(part)[last] * 1200 / 3937 for part in (las.x, las.y, las.z))
    found = figures(x, y, z, np.asarray(las.classification)[last] == 2)
    print(found)
    assert found.type_one < 0.01
    assert found.type_two < 0.3  # what its makers left unclassified close to the ground
    assert found.kappa > 0.8
