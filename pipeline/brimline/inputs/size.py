"""How large a survey is, and whether a run takes all of it or what drains to the site."""

from __future__ import annotations

import math
import shutil
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline._jit import thread_count
from brimline.errors import InputError
from brimline.grid.tiles import Window
from brimline.io.crs import is_local, parsed
from brimline.io.machine import MAX_CELLS, free_gb, most_cells, needs
from brimline.io.paths import VectorSource, is_levels, is_points
from brimline.io.placed import stated_crs
from brimline.io.tile_index import index_tiles
from brimline.io.vectors import read_layer
from brimline.tiled.store import RESULT_BYTES, WORK_BYTES
from brimline.tiled.survey import Options, drain_survey, needs_gb, tiles_that_fit
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.grid import Elevation, Grid
    from brimline.io.tile_index import TileIndex
    from brimline.tiled.survey import Result

READ_BYTES: Final = 10  # a cell of the files, while it is read
TILE_NS: Final = 770.0  # of a processor, a cell from files to files; measured at 400 million
FOLDER: Final = "surveys"
_SPARE: Final = 0.8  # of the free memory; others need some
_LEAST_GB: Final = 1.0
_AROUND_M: Final = 200.0  # ground around the site that its inputs are checked on


@dataclass(frozen=True, slots=True)
class SurveySize:
    """How much a survey is, and what a run of it takes.

    Parameters
    ----------
    needs_gb, has_gb : memory of a run on all of it, and what there is.
    in_tiles : whether it is drained in tiles first.
    """

    index: TileIndex
    needs_gb: float
    has_gb: float
    in_tiles: bool
    options: Options

    @property
    def cells(self) -> int:
        """Cells of the files."""
        return self.index.grid.rows * self.index.grid.cols

    @property
    def disk_gb(self) -> float:
        """What draining it in tiles writes."""
        return self.cells * (WORK_BYTES + RESULT_BYTES) / 1e9

    def told(self) -> str:
        """Say which way it goes and what it will take."""
        cells = f"{self.cells / 1e6:.3g} million cells"
        fits = f"about {self.needs_gb:.2g} of {self.has_gb:.2g} GB of memory"
        if not self.in_tiles:
            return f"elevation: all {cells} in memory, {fits}"
        options, grid = self.options, self.index.grid
        tiles = math.ceil(grid.rows / options.tile_cells) * math.ceil(
            grid.cols / options.tile_cells
        )
        minutes = self.cells * TILE_NS / options.workers / 6e10
        where = (
            f"at {options.scheduler}"
            if options.scheduler
            else (
                f"in {counted(options.workers, 'process', 'processes')} with"
                f" {needs_gb(options.tile_cells, options.workers):.2g} GB of memory"
            )
        )
        return (
            f"elevation: {cells} in memory would take {fits}; it is drained in"
            f" {counted(tiles, 'tile')} {where}, about {max(minutes, 0.1):.2g} minutes and"
            f" {self.disk_gb:.2g} GB of disk, and the run takes"
            " the ground that drains to the site"
        )


def survey_size(loaded: Loaded) -> SurveySize | None:
    """Tell how large a site's survey is, from the headers of its files alone.

    None where there is no choice: single levels, point clouds, and files that tiles cannot take,
    of which the run itself says what is wrong.

    Raises
    ------
    InputError
        If coarser elevation is named and cannot be joined, or the tiles' results need more disk
        than there is.
    """
    settings = loaded.settings
    terrain, tiles = settings.terrain, settings.tiles
    names = [loaded.resolve(name) for name in settings.inputs.elevation]
    if tiles.use == "never" or is_levels(names[0]) or is_points(names[0]):
        if settings.inputs.coarser:
            raise InputError.of(
                "coarser elevation is joined to rasters only, in tiles",
                mend='name GeoTIFF elevation and leave tiles.use at "auto", or take coarser out.',
                source="inputs.coarser",
            )
        return None
    try:
        index = index_tiles(
            names,
            vertical_unit=terrain.vertical_unit,
            crs=stated_crs(terrain),
            coarser=[loaded.resolve(name) for name in settings.inputs.coarser or ()],
        )
    except InputError:
        if settings.inputs.coarser:
            raise  # a run without it would have smaller catchments
        return None
    grid = index.grid
    cells = grid.rows * grid.cols
    run_cells = cells * (grid.cell_m / (terrain.cell_m or grid.cell_m)) ** 2
    need = needs(run_cells).memory_bytes / 1e9
    if terrain.cell_m:
        need = max(need, needs(0).memory_bytes / 1e9 + cells * READ_BYTES / 1e9)
    has = tiles.memory_gb or max(_SPARE * free_gb(), _LEAST_GB)
    workers = tiles.workers or thread_count()
    share = max(min(has, 64.0), _LEAST_GB)
    conditioning = settings.conditioning
    size = SurveySize(
        index,
        need,
        has,
        tiles.use == "always" or index.coarser is not None or need > has or run_cells > MAX_CELLS,
        Options(
            mode=conditioning.mode,
            max_depth_m=conditioning.breach_depth_m,
            max_length_m=conditioning.breach_length_m,
            snap_m=settings.drainage.snap_radius_m,
            tile_cells=tiles_that_fit(cells, share, workers),
            workers=workers,
            memory_gb=share,
            scheduler=tiles.scheduler,
            clip_cells=most_cells(int(has * 1e9)),
        ),
    )
    free = shutil.disk_usage(loaded.folder).free / 1e9
    if size.in_tiles and size.disk_gb > free:
        raise InputError.of(
            f"is too large for this machine: {cells / 1e6:.3g} million cells take {need:.3g} GB of"
            f" memory where {has:.3g} GB can be had, or, in tiles, {size.disk_gb:.3g} GB of disk"
            f" where {free:.3g} GB are free",
            mend="cut the elevation to the tiles that drain to the site, or work where there is"
            " more room.",
            source="inputs.elevation",
        )
    return size


def cut_to_site(
    loaded: Loaded, size: SurveySize, told: Callable[[str, int, int, int], None]
) -> tuple[Loaded, Result]:
    """Drain a survey in tiles, and return the site on the ground that drains to it.

    The survey's own results stay in the folder `surveys` beside the site's file.

    Raises
    ------
    InputError
        If that ground is itself more than a run can take, or an input cannot be used.
    """
    settings = loaded.settings
    folder = loaded.folder / FOLDER / loaded.path.stem
    crs = size.index.grid.crs
    points = []
    if settings.inputs.intakes is not None:
        entry = settings.inputs.intakes
        source = VectorSource(loaded.resolve(entry.file), entry.layer, entry.where)
        rows = read_layer(source, kinds={"point"}, crs=crs, default_layer="intakes").usable()
        points = list(zip(rows.geometry.x.tolist(), rows.geometry.y.tolist(), strict=True))
    result = drain_survey(
        size.index,
        folder,
        size.options,
        intakes=points,
        rim=_rim(loaded, size.index.grid),
        told=told,
    )
    clip = result.files.get("clip")
    if clip is None:
        raise _too_far(result.files, size.options.clip_cells, folder)
    inputs = settings.inputs.model_copy(update={"elevation": (str(clip),)})
    # the clip says where it is, in metres
    local = settings.terrain.crs is not None and is_local(parsed(settings.terrain.crs))
    stated = {"vertical_unit": "m"} | ({} if local else {"crs": None})
    terrain = settings.terrain.model_copy(update=stated)
    changed = settings.model_copy(update={"inputs": inputs, "terrain": terrain})
    return replace(loaded, settings=changed), result


def _too_far(files: dict[str, Path], most_cells: int, folder: Path) -> InputError:
    """Say that what drains to the site is too much for a run, and what can be had of it."""
    mend = "state a larger terrain.cell_m, or move the intakes that gather it upstream."
    if "inflow" in files:
        mend = (
            f"name {files['site']}, the ground around the site, as the elevation, and copy the rows"
            f" of {files['inflow']} into inflow_points of the plan: where water enters it, and from"
            " how much ground (area_m2); give each a cover or a curve_number. Or " + mend
        )
    return InputError.of(
        "the ground that drains to the site is itself larger than a run can take"
        f" ({most_cells / 1e6:.3g} million cells in this memory); the survey is drained, in"
        f" {folder}",
        mend=mend,
        source="elevation",
    )


def ground_near(loaded: Loaded, size: SurveySize) -> tuple[Elevation, Grid]:
    """Read the ground around the site alone, to hold its inputs against."""
    grid = size.index.grid
    west, south, east, north = shapely.total_bounds(_boundary(loaded, grid)).tolist()
    (top, bottom), (left, right) = grid.cell(
        np.array([west - _AROUND_M, east + _AROUND_M]),
        np.array([north + _AROUND_M, south - _AROUND_M]),
    )
    block = Window(int(top), int(left), int(bottom - top) + 1, int(right - left) + 1).common(
        Window(0, 0, grid.rows, grid.cols)
    )
    if not block.rows or not block.cols:
        raise InputError.of(
            "lies outside the elevation",
            mend="name the tiles that hold it.",
            source=str(settings_file(loaded)),
        )
    return size.index.over(block)(block), grid.window(*block)


def settings_file(loaded: Loaded) -> Path:
    """Return the file of the site's boundary."""
    return loaded.resolve(loaded.settings.inputs.boundary.file)


def _boundary(loaded: Loaded, grid: Grid) -> shapely.Geometry:
    entry = loaded.settings.inputs.boundary
    source = VectorSource(loaded.resolve(entry.file), entry.layer, entry.where)
    shapes = read_layer(source, kinds={"polygon"}, crs=grid.crs, default_layer="boundary").usable()
    return shapely.union_all(shapes.geometry.to_numpy())


def _rim(loaded: Loaded, grid: Grid) -> list[tuple[float, float]]:
    """Return points along the boundary, a cell apart: all that drains to the site meets one."""
    line = shapely.segmentize(_boundary(loaded, grid), grid.cell_m)
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(line)]
