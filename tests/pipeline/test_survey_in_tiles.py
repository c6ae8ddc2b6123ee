"""`brimline survey`: files in, files out; what goes wrong costs a message and nothing finished."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from rasterio.errors import RasterioIOError

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.paths import flow_paths
from brimline.errors import InputError, StoreError
from brimline.grid import Grid, held_levels
from brimline.grid.tiles import Tiling
from brimline.io.tile_index import index_tiles
from brimline.terrain.conditioning import condition
from brimline.tiled import store as store_of
from brimline.tiled.scheduled import local_cluster
from brimline.tiled.store import FolderStore
from brimline.tiled.survey import Options, Result, drain_survey

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from distributed import LocalCluster

PATH_AREA_M2 = 60.0
WEST_M, NORTH_M, SIDE = 352_000.0, 5_211_000.0, 60


@pytest.fixture(scope="module")
def dem() -> Any:
    rng = np.random.default_rng(3)
    row, col = np.mgrid[:170, :150]
    ground = 80 + 4 * np.sin(col / 13) + 3 * np.cos(row / 17) + 0.03 * row
    ground = np.round(ground + rng.normal(0, 0.3, ground.shape), 1)
    ground[50:75, 40:80] = 82.0  # a flat over the corner of four files
    ground[118:124, 57:63] = np.nan  # a hole across a seam
    ground[160:, :20] = np.nan
    return held_levels(ground)  # as files are read


def write(path: Path, levels: Any, row: int, col: int, crs: str = "EPSG:32626") -> None:
    place = Affine(1, 0, WEST_M + col, 0, -1, NORTH_M - row)
    rows, cols = levels.shape
    with rasterio.open(
        path, "w", "GTiff", cols, rows, 1, crs, place, "float32", nodata=-9999.0
    ) as file:
        file.write(np.where(np.isnan(levels), np.float32(-9999), levels), 1)


@pytest.fixture
def tiles(tmp_path: Path, dem: Any) -> Path:
    folder = tmp_path / "tiles"
    folder.mkdir()
    for row in range(0, dem.shape[0], SIDE):
        for col in range(0, dem.shape[1], SIDE):
            write(folder / f"t{row}_{col}.tif", dem[row : row + SIDE, col : col + SIDE], row, col)
    return folder


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LocalCluster]:
    scratch = tmp_path_factory.mktemp("dask")
    with local_cluster(workers=2, memory_gb=3.0, scratch=scratch) as started:
        yield started


@pytest.fixture
def scheduler(cluster: LocalCluster) -> str:
    return str(cluster.scheduler_address)


def drained(tiles: Path, scheduler: str, **more: Any) -> Result:
    options = Options(
        tile_cells=64, max_length_m=6.0, scheduler=scheduler, path_area_m2=PATH_AREA_M2
    )
    out = tiles.parent / "out"
    return drain_survey(index_tiles(tiles / "*.tif"), out, options, **more)


def band(result: Result, name: str) -> Any:
    with rasterio.open(result.files[name]) as file:
        assert (file.transform.c, file.transform.f, file.crs) == (WEST_M, NORTH_M, "EPSG:32626")
        return file.read(1)


def assert_whole(result: Result, dem: Any) -> None:
    surface = condition(dem, cell_m=1.0, max_length_m=6.0).surface
    codes = flow_directions(surface)
    np.testing.assert_array_equal(band(result, "conditioned"), surface)
    np.testing.assert_array_equal(band(result, "flow_direction"), codes)
    area_m2 = accumulate(codes)
    np.testing.assert_array_equal(band(result, "contributing_area_m2"), area_m2)
    grid = Grid(*dem.shape, 1.0, WEST_M, NORTH_M, "EPSG:32626")
    lines = flow_paths(codes, area_m2, surface, grid, min_area_m2=PATH_AREA_M2)
    drawn = gpd.read_file(result.files["flow_paths"], layer="flow_paths")
    assert [*drawn["area_m2"]] == lines.area_m2.tolist()
    assert [*drawn["downstream_id"]] == lines.downstream_ids.tolist()
    assert all(one.equals(other) for one, other in zip(drawn.geometry, lines.lines, strict=True))
    on_fill_m, deepest_m = lines.over(surface - dem, 0.5, cell_m=1.0)
    np.testing.assert_allclose(drawn["on_fill_m"], on_fill_m)
    np.testing.assert_allclose(drawn["deepest_fill_m"], deepest_m)
    assert deepest_m.any()


@pytest.mark.slow
def test_files_give_what_memory_gives_and_a_second_run_does_nothing(
    tiles: Path, scheduler: str, dem: Any
) -> None:
    points = [(WEST_M + 75.5, NORTH_M - 90.5), (WEST_M + 20.5, NORTH_M - 120.5)]
    result = drained(tiles, scheduler, intakes=points)
    assert_whole(result, dem)
    cells = [(int(NORTH_M - place.y_m), int(place.x_m - WEST_M)) for place in result.places]
    expected = subcatchments(band(result, "flow_direction"), cells)
    np.testing.assert_array_equal(band(result, "subcatchment"), expected.labels)
    with rasterio.open(result.files["clip"]) as file:
        row, col = int(NORTH_M - file.transform.f), int(file.transform.c - WEST_M)
        clip = file.read(1)
    np.testing.assert_array_equal(clip, dem[row:, col:][: clip.shape[0], : clip.shape[1]])
    held = np.zeros(dem.shape, np.bool_)
    held[row : row + clip.shape[0], col : col + clip.shape[1]] = True
    assert held[expected.labels > 0].all()
    facts = json.loads((tiles.parent / "out" / "survey.json").read_text())
    assert [one["area_m2"] for one in facts["intakes"]] == expected.cells.tolist()
    assert facts["valid_cells"] == np.isfinite(dem).sum()

    again = drained(tiles, scheduler, intakes=points)
    assert again.called_tasks <= 9 * result.drained.rounds  # only what tiles tell each other
    changed = dem.copy()
    changed[100, 100] += 5.0
    write(tiles / "t60_60.tif", changed[60:120, 60:120], 60, 60)
    after = drained(tiles, scheduler)
    assert_whole(after, changed)
    assert 5 <= after.reused_tasks < again.reused_tasks
    shutil.rmtree(tiles.parent / "out/.work/ground")  # marks and rasters lie side by side
    assert_whole(drained(tiles, scheduler), changed)


def test_a_kept_hollow_is_a_sink_at_the_lowest_cell_near_its_point(
    tiles: Path, scheduler: str, dem: Any
) -> None:
    places = [(90.5, 30.5), (20.5, 130.5)]  # columns and rows
    result = drained(tiles, scheduler, kept=[(WEST_M + x, NORTH_M - y) for x, y in places])
    sinks = np.zeros(dem.shape, np.bool_)
    for x, y in places:
        part = dem[int(y) - 10 : int(y) + 11, int(x) - 10 : int(x) + 11]
        row, col = np.unravel_index(np.nanargmin(part), part.shape)
        sinks[int(y) - 10 + row, int(x) - 10 + col] = True
    surface = condition(dem, cell_m=1.0, max_length_m=6.0, sinks=sinks).surface
    np.testing.assert_array_equal(band(result, "conditioned"), surface)
    codes = flow_directions(surface, sinks=sinks)
    np.testing.assert_array_equal(band(result, "flow_direction"), codes)
    with pytest.raises(InputError, match="kept hollows"):
        drained(tiles, scheduler, kept=[(WEST_M - 500, NORTH_M)])


def test_a_worker_that_is_killed_costs_a_retry(
    tiles: Path, cluster: LocalCluster, dem: Any
) -> None:
    killed = []

    def kill(title: str, done: int, *_: int) -> None:
        if title == "spills" and done == 1 and not killed:
            killed.append(cluster.workers[0].pid)
            os.kill(killed[0], signal.SIGKILL)

    assert_whole(drained(tiles, str(cluster.scheduler_address), told=kill), dem)
    assert killed


def test_a_tile_that_is_damaged_is_named_and_the_others_are_finished(
    tiles: Path, scheduler: str, dem: Any
) -> None:
    bad = tiles / "t0_60.tif"
    whole = bad.read_bytes()
    bad.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"t0_60.tif.*damaged.*copy or download"):
        drained(tiles, scheduler)
    bad.write_bytes(whole)
    told: dict[str, int] = {}
    result = drained(
        tiles, scheduler, told=lambda title, _done, _of, kept: told.setdefault(title, kept)
    )
    assert told["ground"] == 9 - 2  # those that have no cell of the damaged file
    assert_whole(result, dem)


def test_a_tile_in_another_crs_or_off_the_grid_is_refused_before_anything_runs(
    tiles: Path, dem: Any
) -> None:
    write(tiles / "t0_60.tif", dem[:SIDE, 60:120], 0, 60, crs="EPSG:32627")
    write(tiles / "t60_0.tif", dem[60:120, :SIDE], 60.4, 0)
    with pytest.raises(InputError) as caught:
        index_tiles(tiles / "*.tif")
    text = str(caught.value)
    assert "t0_60.tif" in text
    assert "zone 27N" in text
    assert "t60_0.tif" in text
    assert "of a cell off" in text


def test_a_tile_that_is_missing_is_named_by_its_place(tiles: Path) -> None:
    (tiles / "t60_60.tif").unlink()
    shutil.rmtree(tiles.parent / "out", ignore_errors=True)
    for path in tiles.glob("t120_*.tif"):
        path.unlink()
    for path in tiles.glob("*_120.tif"):
        path.unlink()
    gaps = index_tiles(tiles / "*.tif").gaps()
    assert gaps == ((WEST_M + 60, NORTH_M - 120, WEST_M + 120, NORTH_M - 60),)
    (tiles / "list.txt").write_text("t0_0.tif\nt0_60.tif\n\nt9_9.tif\n")
    with pytest.raises(InputError, match=r"t9_9.tif: does not exist"):
        index_tiles(tiles / "list.txt")
    index = index_tiles(tiles / "t*.tif")
    (tiles / "t0_0.tif").unlink()
    with pytest.raises(InputError, match=r"t0_0.tif: does not exist"):
        index.over(Tiling(120, 120, 64, 64).window(0)).versions()


def test_a_second_run_on_the_folder_is_turned_away(tiles: Path, scheduler: str) -> None:
    def second(title: str, *_: int) -> None:
        if title == "ground":
            drained(tiles, scheduler)

    with pytest.raises(StoreError, match="held by another run"):
        drained(tiles, scheduler, told=second)


def test_a_full_disk_is_said_before_and_while_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = FolderStore(tmp_path, Tiling(10, 10, 5, 5), Grid(10, 10, 1.0))
    store.write("ground", 0, np.ones((5, 5), np.float32))

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(np, "save", full)
    with pytest.raises(StoreError, match="the disk is full"):
        store.write("ground", 0, np.zeros((5, 5), np.float32))
    assert np.load(tmp_path / ".work/ground/r0000_c0000.npy").all()
    assert not list(tmp_path.rglob("*.part-*"))
    monkeypatch.setattr(store_of.shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 9, 9))
    with pytest.raises(StoreError, match="GB more for"):
        store.room_or_refuse()


def test_no_result_is_left_half_written(tmp_path: Path) -> None:
    store = FolderStore(tmp_path, Tiling(300, 300, 200, 300), Grid(300, 300, 1.0, 5.0, 400.0))
    store.publish("flow_direction", 1, np.zeros((100, 300), np.uint8))
    with rasterio.open(store.result("flow_direction", 1)) as file:
        assert file.bounds == (5.0, 100.0, 305.0, 200.0)
        assert file.nodata == 255
    with pytest.raises(RasterioIOError):
        rasterio.open(store.result("flow_direction", 0))
