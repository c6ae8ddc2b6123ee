"""Coarser elevation joined outside a fine survey."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import rasterio
from affine import Affine

from brimline.drainage.flow import accumulate, flow_directions
from brimline.errors import InputError
from brimline.grid.tiles import Window
from brimline.io.tile_index import index_tiles
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from pathlib import Path

WEST, NORTH = 400_000.0, 5_000_000.0


def plane(x: Any, y: Any) -> Any:
    """A valley side of 8 % that falls to the south, and 2 % to the east; levels in metres."""
    return 100 + 0.08 * (y - NORTH) - 0.02 * (x - WEST)


def write(path: Path, cell_m: float, west: float, north: float, shape: Any, add: float) -> None:
    rows, cols = shape
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    level = plane(west + col * cell_m, north - row * cell_m) + add
    place = Affine(cell_m, 0, west, 0, -cell_m, north)
    with rasterio.open(path, "w", "GTiff", cols, rows, 1, "EPSG:32633", place, "float32") as file:
        file.write(level.astype(np.float32), 1)


def test_coarser_ground_goes_on_outside_and_the_seam_is_measured(tmp_path: Path) -> None:
    write(tmp_path / "fine.tif", 1.0, WEST, NORTH - 200, (60, 100), 0.0)
    write(tmp_path / "coarse.tif", 10.0, WEST - 20, NORTH + 20, (30, 14), 0.75)
    index = index_tiles(tmp_path / "fine.tif", coarser=[tmp_path / "coarse.tif"])
    assert index.coarser is not None
    seam = index.coarser.seam
    assert (round(seam.offset_m, 2), seam.cells) == (0.75, 6000)
    assert seam.error_m < 0.01
    assert index.grid.bounds == (WEST - 20, NORTH - 280, WEST + 120, NORTH + 20)
    assert "lay +0.75 m off it" in index.notices[-1].message
    whole = Window(0, 0, index.grid.rows, index.grid.cols)
    levels = index.over(whole)(whole)
    col, row = np.meshgrid(np.arange(140) + 0.5, np.arange(300) + 0.5)
    exact = plane(WEST - 20 + col, NORTH + 20 - row)
    inner = np.s_[10:-10, 10:-10]  # beyond the outermost centres a plane is not gone on with
    np.testing.assert_allclose(levels[inner], exact[inner], atol=0.002)
    # the area that drains to a row of the fine survey is that of the ground above it
    codes = flow_directions(condition(levels, cell_m=1.0, mode="fill").surface)
    assert np.nansum(accumulate(codes)[codes == 8]) == levels.size


def test_coarser_ground_apart_from_the_fine_is_refused(tmp_path: Path) -> None:
    write(tmp_path / "fine.tif", 1.0, WEST, NORTH, (30, 30), 0.0)
    write(tmp_path / "coarse.tif", 10.0, WEST + 500, NORTH, (10, 10), 0.0)
    with pytest.raises(InputError, match="no ground in common"):
        index_tiles(tmp_path / "fine.tif", coarser=[tmp_path / "coarse.tif"])
