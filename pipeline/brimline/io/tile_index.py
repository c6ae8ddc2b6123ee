"""Many elevation files as one survey: where each lies, and any block of them read."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from affine import Affine

from brimline.errors import InputError, Problem, Severity
from brimline.grid import Grid
from brimline.grid.tiles import Window
from brimline.io import crs as crs_of
from brimline.io import lengths, metric
from brimline.io._mosaic import checked_headers, grouped, layout
from brimline.io._raster_source import Header, read_header, read_levels
from brimline.io.coarser import Coarser, extended, measured, told
from brimline.io.paths import missing, spread

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid import Elevation

_LIST: Final = ".txt"
_VRT: Final = ".vrt"
_SOURCE: Final = re.compile(r"<SourceFilename[^>]*>([^<]+)</SourceFilename>")
_SQUARE: Final = 1e-4  # relative difference of a cell's sides that rounding explains


@dataclass(frozen=True, slots=True)
class TileFile:
    """One file of a survey.

    Parameters
    ----------
    at : its cells on the survey's grid.
    """

    header: Header
    at: Window


@dataclass(frozen=True, slots=True)
class Part:
    """The files of a survey that hold some block; called with a block, reads its levels."""

    pieces: tuple[TileFile, ...]
    grid: Grid
    coarser: Coarser | None = None

    def versions(self) -> tuple[str, ...]:
        """Return what tells whether files are still the same: path, size, time of change, unit.

        Raises
        ------
        InputError
            If files are gone.
        """
        gone = [p.header.path for p in self.pieces if not p.header.path.is_file()]
        if gone:
            raise InputError(missing(path) for path in gone)
        outside = () if self.coarser is None else self.coarser.versions()
        return outside + tuple(
            f"{p.header.path} {found.st_size} {found.st_mtime_ns} {p.header.unit.metres} {p.at}"
            for p in self.pieces
            for found in [p.header.path.stat()]
        )

    def __call__(self, window: Window) -> Elevation:
        """Read the levels of a block; where files overlap the one named first wins.

        Returns
        -------
        float32 (rows, cols) [m]; NaN is nodata.

        Raises
        ------
        InputError
            If a file is gone or damaged.
        """
        levels = np.full(window.shape, np.nan, dtype=np.float32)
        for piece in self.pieces:
            common = piece.at.common(window)
            if not common.rows or not common.cols:
                continue
            if not piece.header.path.is_file():
                raise InputError(missing(piece.header.path))
            inside = common.inside(piece.at)
            block = Window(inside[0].start, inside[1].start, common.rows, common.cols)
            found, _ = read_levels(piece.header, block)
            target = levels[common.inside(window)]
            np.copyto(target, found, where=np.isnan(target))
        if self.coarser is not None and (void := np.isnan(levels)).any():
            np.copyto(levels, self.coarser.read(self.grid.window(*window)), where=void)
        return levels


@dataclass(frozen=True, slots=True)
class TileIndex:
    """All files of a survey on one grid.

    Parameters
    ----------
    grid : north-up square cells in metres that covers all files.
    notices : what was found in the headers, for the person.
    footprints : polygons in map coordinates of all tiles that there are anywhere, and their names.
    coarser : what is read where none of the files has a level.
    """

    grid: Grid
    pieces: tuple[TileFile, ...]
    notices: tuple[Problem, ...]
    footprints: tuple[tuple[Any, ...], tuple[str, ...]] = ((), ())
    coarser: Coarser | None = None

    def over(self, window: Window) -> Part:
        """Return the files that have cells in a block."""
        pieces = tuple(p for p in self.pieces if min(p.at.common(window).shape) > 0)
        return Part(pieces, self.grid, self.coarser)

    def gaps(self) -> tuple[tuple[float, float, float, float], ...]:
        """Bounds of tiles that are missing from a regular layout (west, south, east, north) [m].

        Only where all files are of one size and lie in step.
        """
        sizes = {piece.at.shape for piece in self.pieces}
        if len(sizes) != 1:
            return ()
        rows, cols = sizes.pop()
        places = {(piece.at.row, piece.at.col) for piece in self.pieces}
        if any(row % rows or col % cols for row, col in places):
            return ()
        return tuple(
            self.grid.window(row, col, rows, cols).bounds
            for row in range(0, self.grid.rows, rows)
            for col in range(0, self.grid.cols, cols)
            if (row, col) not in places
        )

    def absent(self) -> tuple[NDArray[np.object_], tuple[str, ...]]:
        """Footprints and names of tiles that are not among the files.

        Those of an index where one is given, else those missing from a regular layout, named by
        their south-western corner.
        """
        shapes, names = self.footprints
        if shapes:
            here = shapely.union_all(
                [shapely.box(*self.grid.window(*piece.at).bounds) for piece in self.pieces]
            )
            missing = [shapely.area(one - here) > 0.5 * shapely.area(one) for one in shapes]
            kept = np.flatnonzero(missing)
            return np.array(shapes, dtype=np.object_)[kept], tuple(names[i] for i in kept)
        boxes = self.gaps()
        told = tuple(f"{west:.0f} {south:.0f}" for west, south, _, _ in boxes)
        return np.array([shapely.box(*box) for box in boxes], dtype=np.object_), told


def index_tiles(
    paths: str | Path | Iterable[str | Path],
    *,
    vertical_unit: str = "auto",
    crs: str | None = None,
    coarser: Iterable[str | Path] = (),
) -> TileIndex:
    """Read the headers of a survey's files and lay them on one grid; no cell is read.

    Parameters
    ----------
    paths : files or globs; a ``.txt`` with a file or glob a line, or a ``.vrt``, of which the
        files it is made of are taken.
    vertical_unit, crs : as in `read_elevation`.
    coarser : likewise, of elevation in any cells and reference system that is read where the
        files have no level; the grid then covers it too.

    Raises
    ------
    InputError
        With every problem of every file; or if their cells are not north-up squares in a
        projected CRS that a run can take as they are.
    """
    files = _listed(paths)
    headers = checked_headers(files, vertical_unit, crs)
    offsets, shape, transform = layout(headers)
    first, source = headers[0], str(headers[0].path)
    notices = list(grouped([notice for header in headers for notice in header.notices]))
    box = metric.box_of(
        [transform.c, transform.c + shape[1] * transform.a],
        [transform.f, transform.f + shape[0] * transform.e],
    )
    target, factor, why = metric.run_crs(first.crs, box, source=source)
    square = abs(transform.a + transform.e) <= _SQUARE * abs(transform.a)
    scaled = factor != 1.0 or crs_of.same(first.crs, target)
    if transform.b or transform.d or not square or transform.a <= 0 or not scaled:
        raise InputError.of(
            f"has cells that a survey in tiles cannot take as they are: {crs_of.title(first.crs)}",
            mend="warp the tiles to north-up square cells in a projected system in metres or feet,"
            " for example with gdalwarp -t_srs and -tap.",
            source=source,
        )
    if not first.unit.is_metre:
        notices.append(lengths.converted(first.unit, source))
    if why:
        notices.append(Problem(Severity.NOTICE, why, "", source))
    if factor != 1.0:
        transform = Affine.scale(factor) @ transform
    grid = Grid(*shape, transform.a, transform.c, transform.f, crs_of.canonical(target))
    pieces = tuple(
        TileFile(header, Window(row, col, header.rows, header.cols))
        for header, (row, col) in zip(headers, offsets, strict=True)
    )
    index = TileIndex(grid, pieces, tuple(notices))
    names = tuple(coarser)
    return _joined(index, names) if names else index


def _joined(index: TileIndex, names: Sequence[str | Path]) -> TileIndex:
    """Return the index with coarser elevation around it."""
    headers = tuple(read_header(path, vertical_unit="auto", crs=None) for path in _listed(names))
    found = Coarser(headers)
    blocks = [piece.at for piece in index.pieces]
    found = replace(found, seam=measured(found, index.grid, blocks, lambda at: index.over(at)(at)))
    grid, up, left = extended(index.grid, found.box(index.grid.crs))
    pieces = tuple(
        replace(p, at=p.at._replace(row=p.at.row + up, col=p.at.col + left)) for p in index.pieces
    )
    return replace(
        index, grid=grid, pieces=pieces, notices=(*index.notices, told(found)), coarser=found
    )


def _listed(paths: str | Path | Iterable[str | Path]) -> Sequence[Path]:
    """Return the files that are meant, those of lists in place of the lists."""
    files: list[Path] = []
    for path in spread(paths):
        if path.suffix.lower() not in {_LIST, _VRT}:
            files.append(path)
            continue
        text = path.read_text(encoding="utf-8-sig")
        lines = _SOURCE.findall(text) if path.suffix.lower() == _VRT else text.splitlines()
        names = [path.parent / line.strip() for line in lines if line.strip()]
        if not names:
            raise InputError.of(
                "names no file", mend="write one file or glob a line.", source=str(path)
            )
        files += spread(names)
    if not files:
        raise InputError.of("names no file", mend="name the elevation files.", source="elevation")
    return list(dict.fromkeys(files))
