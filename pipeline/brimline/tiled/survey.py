"""A whole survey from files to files, in tiles."""

from __future__ import annotations

import json
import math
import time
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import geopandas as gpd
import numpy as np
from filelock import FileLock, Timeout

from brimline.drainage.catchments import snap
from brimline.drainage.catchments.edges import OpenEdge, edge_sides, tiles_beyond
from brimline.drainage.flow.seams.accumulation import closed, entering
from brimline.errors import InputError, StoreError
from brimline.grid import NO_DATA
from brimline.grid.tiles import Tiling, Window
from brimline.io.atomic import told as told_plainly
from brimline.io.atomic import write_bytes, write_text
from brimline.io.geopackage import write_geopackage
from brimline.io.machine import MAX_CELLS
from brimline.io.rasters import plain_bytes, read_block, write_mosaic
from brimline.io.survey_facts import CUT_DAYS, CUT_FROM, first_and_last
from brimline.layers import layer, raster
from brimline.tiled.chain import Drained, Intakes, divide, drain, paths
from brimline.tiled.passes import TiledSurvey
from brimline.tiled.scheduled import OnDask, client
from brimline.tiled.store import WORK, FolderStore
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.io.tile_index import TileIndex

TILE_CELLS: Final = 2048  # a side; measured quicker a cell than 4096, in a third of the memory
MOST_TILES: Final = 4096  # beyond, tiles are larger: the driver holds what all borders tell
LARGEST_CELLS: Final = 16384
TASK_BYTES: Final = 40  # a cell of a tile, at the worst pass; measured 21 on hills, lakes take more
PROCESS_GB: Final = 0.35  # a worker before it does anything
RESULTS: Final = ("conditioned", "flow_direction", "contributing_area_m2")
FACTS: Final = "survey.json"
_PATH_CELLS: Final = 500  # cells that gather before a point is drawn to the path
_KEPT_M: Final = 10.0  # within which a point of a kept hollow finds its lowest cell
_TELL_FILL_M: Final = 0.5  # as conditioning.tell_fill_m is where a site does not say
_STEM_CELLS: Final = 256  # how far around a point two paths may prove to be one


@dataclass(frozen=True, slots=True)
class Options:
    """How a survey is drained.

    Parameters
    ----------
    mode, max_depth_m, max_length_m : as in `condition`.
    snap_m : how far an intake may move onto the flow path beside it [m].
    tile_cells : side of a tile in cells.
    workers : local worker processes.
    memory_gb : memory of all local workers together.
    scheduler : address of a running Dask scheduler; empty: local.
    clip_cells : largest ground around what drains to the intakes that is written as `clip.tif`.
    path_area_m2 : contributing area from which flow paths are drawn [m²]; None draws none.
    """

    mode: str = "breach"
    max_depth_m: float = 1.0
    max_length_m: float = 30.0
    snap_m: float = 20.0
    tile_cells: int = TILE_CELLS
    workers: int = 2
    memory_gb: float = 3.0
    scheduler: str = ""
    clip_cells: int = MAX_CELLS
    path_area_m2: float | None = None


class SnappedIntake(NamedTuple):
    """Where an intake came to lie, and how far it moved."""

    x_m: float
    y_m: float
    moved_m: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Result:
    """A drained survey.

    Parameters
    ----------
    files : the mosaics, by raster.
    facts : what is known of it as plain values, as in `survey.json`.
    """

    drained: Drained
    intakes: Intakes | None
    places: tuple[SnappedIntake, ...]
    files: dict[str, Path]
    reused_tasks: int
    called_tasks: int
    seconds: float
    facts: dict[str, Any]


def drain_survey(
    index: TileIndex,
    folder: Path,
    options: Options,
    *,
    intakes: Sequence[tuple[float, float]] = (),
    kept: Sequence[tuple[float, float]] = (),
    rim: Sequence[tuple[float, float]] = (),
    told: Callable[[str, int, int, int], None] = lambda *_: None,
) -> Result:
    """Condition, direct and accumulate all tiles of a survey, and divide it among intakes.

    Parameters
    ----------
    folder : where results go; a run that was stopped goes on from there.
    intakes : map coordinates of points that water is followed to.
    kept : of points in hollows that stay sinks, each at the lowest cell within 10 m.
    rim : map coordinates along a line whose ground above is wanted too, in `clip.tif`.
    told : as in `OnDask`.

    Raises
    ------
    InputError
        If a source cannot be read or an intake lies outside the data.
    StoreError
        If the folder cannot be written, another run holds it, or workers die again and again.
    """
    began_s = time.monotonic()
    _refuse_outside(index, intakes, "intakes")
    _refuse_outside(index, kept, "kept hollows")
    survey = TiledSurvey(
        Tiling(index.grid.rows, index.grid.cols, options.tile_cells, options.tile_cells),
        index.grid.cell_m,
        options.mode,
        options.max_depth_m,
        options.max_length_m,
        tuple(sorted({_lowest_near(index, x, y) for x, y in kept})),
    )
    store = FolderStore(folder.resolve(), survey.tiling, index.grid)
    lock = _held(store.folder / WORK)
    with lock:
        store.room_or_refuse()
        with client(
            address=options.scheduler,
            workers=options.workers,
            memory_gb=options.memory_gb,
            scratch=store.folder / WORK,
        ) as dask:
            runner = OnDask(dask, store, survey, told)
            parts = {t: index.over(survey.tiling.window(t)) for t in range(len(survey.tiling))}
            sources = {t: part.versions() for t, part in parts.items()}
            drained = drain(survey, runner, parts, sources, options.path_area_m2)
            files = {name: _mosaic(store, name) for name in RESULTS}
            if options.path_area_m2 is not None:
                files["flow_paths"] = _lines(store, survey)
            divided: Intakes | None = None
            places: tuple[SnappedIntake, ...] = ()
            ends = _on_data(store, rim)
            if len(intakes) or len(ends):
                cells, places = _snapped(store, files["contributing_area_m2"], intakes, options)
                divided = divide(survey, runner, drained, np.concatenate((cells, ends)))
                if not len(ends):
                    files["subcatchment"] = _mosaic(store, "subcatchment")
                whole = divided.box
                files |= _clip(store, index, "clip", _with_rim(store, whole), options.clip_cells)
                if "clip" not in files:
                    site = _box_of(np.concatenate((cells, ends)))
                    files |= _around_site(store, index, files, site, options.clip_cells)
                divided = first_of(divided, len(cells))
        seconds = time.monotonic() - began_s
        result = Result(
            drained, divided, places, files, runner.reused, runner.called, seconds,
            facts(index, drained, divided, places),
        )  # fmt: skip
        write_text(store.folder / FACTS, json.dumps(result.facts, indent=2) + "\n")
    return result


def _lines(store: FolderStore, survey: TiledSurvey) -> Path:
    """Draw the flow paths of the whole survey and write them as a layer."""
    found, channels = paths(survey, store, store.grid)
    fill_m = channels.fill_m[np.searchsorted(channels.cells, found.cells)]
    on_fill_m, deepest_m = found.over_cells(
        fill_m, _TELL_FILL_M, cols=store.grid.cols, cell_m=store.grid.cell_m
    )
    rows = gpd.GeoDataFrame(
        {
            "path_id": np.arange(1, len(found.lines) + 1),
            "downstream_id": found.downstream_ids,
            "order": found.order,
            "area_m2": found.area_m2,
            "length_m": found.length_m,
            "fall_pct": np.maximum(found.fall_pct, 0.0),  # filled ground is level, but for rounding
            "on_fill_m": on_fill_m,
            "deepest_fill_m": deepest_m,
        },
        geometry=found.lines,
        crs=store.grid.crs,
    )
    path = store.folder / "flow_paths.gpkg"
    write_geopackage(path, [(layer("flow_paths"), rows)], crs=store.grid.crs)
    return path


def first_of(found: Intakes, count: int) -> Intakes:
    """Return what drains to the first intakes, as if there were no others."""
    below = found.downstream_ids.copy()
    first = np.arange(below.size + 1)  # for each label, the first of them that its water meets
    while (passed := first > count).any():
        first[passed] = found.downstream_ids[first[passed] - 1]
    label = first[found.edge.label].astype(np.int32)
    edge, on = found.edge, label > 0
    edge = OpenEdge(label[on], edge.row[on], edge.col[on], edge.side[on])
    while (others := below > count).any():
        below[others] = found.downstream_ids[below[others] - 1]
    below, cells = below[:count], found.cells[:count]
    own = cells.copy()
    np.subtract.at(own, below[below > 0] - 1, cells[below > 0])
    return replace(
        found, downstream_ids=below, own_cells=own, cells=cells,
        edge_limited=found.edge_limited[:count], edge=edge,
    )  # fmt: skip


def _on_data(store: FolderStore, points: Sequence[tuple[float, float]]) -> NDArray[np.int64]:
    """Cells with data that points lie in, each once."""
    if not len(points):
        return np.empty((0, 2), dtype=np.int64)
    row, col = (np.asarray(place) for place in store.grid.cell(*np.array(points).T))
    on = store.grid.holds(row, col)
    cells = np.unique(np.column_stack((row[on], col[on])).astype(np.int64), axis=0)
    if not len(cells):
        return cells
    (top, left), (bottom, right) = cells.min(axis=0).tolist(), cells.max(axis=0).tolist()
    codes = store.read("flow_direction", Window(top, left, bottom - top + 1, right - left + 1))
    found: NDArray[np.int64] = cells[codes[cells[:, 0] - top, cells[:, 1] - left] != NO_DATA]
    return found


def _box_of(cells: NDArray[np.int64]) -> Window:
    """Return the block that holds all of some cells."""
    (top, left), (bottom, right) = cells.min(axis=0).tolist(), cells.max(axis=0).tolist()
    return Window(top, left, bottom - top + 1, right - left + 1)


def _with_rim(store: FolderStore, box: Window) -> Window:
    rim = max(64, max(box.shape) // 20)
    return Window(box.row - rim, box.col - rim, box.rows + 2 * rim, box.cols + 2 * rim).common(
        store.tiling.whole
    )


def _around_site(
    store: FolderStore, index: TileIndex, files: dict[str, Path], box: Window, most_cells: int
) -> dict[str, Path]:
    """Write the ground around the site alone, and where water enters it from how much ground.

    Flow paths that enter are rows as a plan has them; what trickles in beside them is one more,
    where most of it comes in.
    """
    inner = _with_rim(store, box)
    made = _clip(store, index, "site", inner, most_cells)
    if not made:
        return {}
    around = Window(inner.row - 1, inner.col - 1, inner.rows + 2, inner.cols + 2).common(
        store.tiling.whole
    )
    codes = store.read("flow_direction", around)
    cells, area_m2 = entering(
        codes, read_block(files["contributing_area_m2"], around), inner, around
    )
    large = area_m2 >= _PATH_CELLS * store.grid.cell_area_m2
    order = np.flatnonzero(large)[np.argsort(-area_m2[large], kind="stable")]
    names = [f"from outside {number}" for number in range(1, order.size + 1)]
    areas = area_m2[order].tolist()
    if (rest_m2 := float(area_m2[~large].sum())) > 0:
        most = np.flatnonzero(~large)[np.argmax(area_m2[~large])]
        order = np.append(order, most)
        names.append("from outside, spread along the edge")
        areas.append(rest_m2)
    row, col = np.divmod(cells[order], inner.cols)
    declared = layer("inflow_points")
    empty = {column.name: [None] * order.size for column in declared.columns}
    rows = gpd.GeoDataFrame(
        empty | {"name": names, "area_m2": areas},
        geometry=gpd.points_from_xy(*store.grid.xy(row + inner.row, col + inner.col)),
        crs=store.grid.crs,
    )
    path = store.folder / "inflow.gpkg"
    write_geopackage(path, [(declared, rows)], crs=store.grid.crs)
    return made | {"inflow": path}


def _clip(
    store: FolderStore, index: TileIndex, name: str, around: Window, most_cells: int
) -> dict[str, Path]:
    """Write the ground of a block, where a run can take so much.

    Levels are those of the source in metres, so that a site can name the file as its elevation.
    """
    if around.rows * around.cols > most_cells:
        return {}
    level = store.read("ground", around)
    level[~np.isfinite(level)] = np.nan
    path = store.folder / f"{name}.tif"
    tags = {
        CUT_FROM: f"{counted(len(index.pieces), 'file')} of {index.grid.rows} × {index.grid.cols}"
        " cells, drained in tiles",
        CUT_DAYS: " ".join(first_and_last(d for piece in index.pieces for d in piece.header.days)),
    }
    write_bytes(path, plain_bytes(level, store.grid.window(*around), nodata=np.nan, tags=tags))
    return {name: path}


def facts(
    index: TileIndex, drained: Drained, found: Intakes | None, places: Sequence[SnappedIntake]
) -> dict[str, Any]:
    """Return what is known of a drained survey as plain values."""
    grid = index.grid
    area_m2 = grid.cell_area_m2
    sides: Sequence[str] = ()
    missing: Sequence[Sequence[str]] = ()
    if found is not None:
        shapes, names = index.absent()
        sides = edge_sides(found.edge, found.downstream_ids)
        missing = tiles_beyond(found.edge, found.downstream_ids, grid, shapes, names)
    return {
        "rows": grid.rows,
        "cols": grid.cols,
        "cell_m": grid.cell_m,
        "crs": grid.crs,
        "bounds": list(grid.bounds),
        "source_files": [str(piece.header.path) for piece in index.pieces],
        "missing_tiles": [list(bounds) for bounds in index.gaps()],
        "seam": None if index.coarser is None else asdict(index.coarser.seam),
        "valid_cells": drained.valid_cells,
        "area_m2": drained.valid_cells * area_m2,
        "lowest_m": drained.lowest_m,
        "highest_m": drained.highest_m,
        "intakes": []
        if found is None
        else [
            {
                "intake_id": number + 1,
                **place._asdict(),
                "area_m2": float(found.cells[number] * area_m2),
                "own_area_m2": float(found.own_cells[number] * area_m2),
                "downstream_id": int(found.downstream_ids[number]),
                "edge_limited": bool(found.edge_limited[number]),
                "edge_sides": sides[number],
                "missing_tiles": list(missing[number]),
            }
            for number, place in enumerate(places)
        ],
    }


def needs_gb(tile_cells: int, workers: int) -> float:
    """Memory that workers need together [GB]."""
    return workers * (PROCESS_GB + TASK_BYTES * tile_cells**2 / 1e9)


def tiles_that_fit(cells: int, memory_gb: float, workers: int) -> int:
    """Side of tiles that workers have memory for, in whole blocks of 256 cells."""
    room = (memory_gb / workers - PROCESS_GB) * 1e9 / TASK_BYTES
    wanted = min(max(TILE_CELLS, math.ceil(math.sqrt(cells / MOST_TILES))), LARGEST_CELLS)
    return max(min(int(math.sqrt(max(room, 0.0))), wanted) // 256 * 256, 256)


def _held(work: Path) -> FileLock:
    """Hold a folder of working files against other runs."""
    try:
        work.mkdir(parents=True, exist_ok=True)
        lock = FileLock(work / "lock")
        lock.acquire(blocking=False)
    except Timeout:
        raise StoreError(
            f"{work.parent} is held by another run of a survey; wait for it, or give another --out."
        ) from None
    except OSError as fault:
        raise told_plainly(fault, work) from fault
    return lock


def _snapped(
    store: FolderStore, area: Path, points: Sequence[tuple[float, float]], options: Options
) -> tuple[NDArray[np.int64], tuple[SnappedIntake, ...]]:
    """Move points onto flow paths as `snap` does, with the ground around each in view.

    Paths are followed that far only, so that two which join farther down count as two.
    """
    grid = store.grid
    reach = math.ceil(options.snap_m / grid.cell_m) + _STEM_CELLS
    cells = np.empty((len(points), 2), dtype=np.int64)
    places = []
    for number, (x, y) in enumerate(points):
        row, col = (int(place) for place in grid.cell(x, y))
        around = Window(row - reach, col - reach, 2 * reach + 1, 2 * reach + 1).common(
            store.tiling.whole
        )
        codes, _ = closed(store.read("flow_direction", around))
        try:
            found = snap(
                np.array([grid.position(x, y)]) - (around.row, around.col),
                read_block(area, around),
                codes,
                cell_m=grid.cell_m,
                radius_m=options.snap_m,
                min_area_m2=_PATH_CELLS * grid.cell_area_m2,
            )
        except ValueError as fault:
            raise InputError.of(
                f"stands on no ground of the survey, at {x:.1f}, {y:.1f}",
                mend="move it onto data.",
                source="intakes",
                place=f"point {number + 1}",
            ) from fault
        cells[number] = found.cells[0] + (around.row, around.col)
        east, north = grid.xy(*cells[number])
        places.append(
            SnappedIntake(float(east), float(north), float(found.moved_m[0]), found.flags[0])
        )
    return cells, tuple(places)


def _lowest_near(index: TileIndex, x: float, y: float) -> int:
    """Linear index of the lowest cell near a point; of equal ones the first."""
    grid = index.grid
    reach = math.ceil(_KEPT_M / grid.cell_m)
    row, col = (int(place) for place in grid.cell(x, y))
    around = Window(row - reach, col - reach, 2 * reach + 1, 2 * reach + 1).common(
        Window(0, 0, grid.rows, grid.cols)
    )
    level = index.over(around)(around)
    if not np.isfinite(level).any():
        raise InputError.of(
            f"lies on no ground of the survey, at {x:.1f}, {y:.1f}",
            mend="move it onto data.",
            source="kept hollows",
        )
    low_row, low_col = divmod(int(np.nanargmin(level)), around.cols)
    return (around.row + low_row) * grid.cols + around.col + low_col


def _refuse_outside(index: TileIndex, points: Sequence[tuple[float, float]], source: str) -> None:
    for number, (x, y) in enumerate(points, start=1):
        if not index.grid.holds(*index.grid.cell(x, y)):
            west, south, east, north = index.grid.bounds
            raise InputError.of(
                f"lies outside the survey, at {x:.1f}, {y:.1f}; the survey reaches from"
                f" {west:.1f}, {south:.1f} to {east:.1f}, {north:.1f}",
                mend="move it, or name the tiles that hold it.",
                source=source,
                place=f"point {number}",
            )


def _mosaic(store: FolderStore, name: str) -> Path:
    tiles = {
        store.result(name, tile): store.tiling.window(tile) for tile in range(len(store.tiling))
    }
    path = store.folder / f"{name}.vrt"
    write_mosaic(path, tiles, store.grid, raster(name))
    return path
