"""``brimline survey``: a survey of any size, conditioned, directed and accumulated in tiles."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.errors import InputError
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from brimline.tiled.survey import Options, Result

_EVERY_S = 5.0
_NAMED = 12  # missing tiles
REMOTE = "remote"  # in the folder of the results


def run(
    elevation: Sequence[str],
    out: Path,
    options: Options,
    *,
    intakes: Path | None,
    kept: Path | None,
    footprints: Path | None,
    coarser: Sequence[str],
    hosts: Sequence[str],
    crs: str,
    vertical_unit: str,
    as_json: bool,
) -> None:
    """Drain a survey and say where its results are."""
    from brimline.inputs.tile_index import read_footprints
    from brimline.io.paths import VectorSource
    from brimline.io.tile_index import index_tiles
    from brimline.tiled.survey import drain_survey, needs_gb, tiles_that_fit

    elevation, coarser = (_brought(names, out, hosts) for names in (elevation, coarser))
    index = index_tiles(elevation, vertical_unit=vertical_unit, crs=crs or None, coarser=coarser)
    if footprints is not None:
        shapes, names = read_footprints(VectorSource(footprints), index.grid.crs)
        index = replace(index, footprints=(tuple(shapes), names))
    for problem in index.notices:
        console.say_problem(problem)
    cells = index.grid.rows * index.grid.cols
    options = replace(
        options,
        tile_cells=options.tile_cells or tiles_that_fit(cells, options.memory_gb, options.workers),
    )
    tiles = -(-index.grid.rows // options.tile_cells) * -(-index.grid.cols // options.tile_cells)
    console.say(
        f"{counted(len(index.pieces), 'file')}, {index.grid.rows} × {index.grid.cols} ="
        f" {cells / 1e6:.1f} million cells in {counted(tiles, 'tile')}; workers take up to"
        f" {needs_gb(options.tile_cells, options.workers):.1f} GB"
    )
    gaps = index.gaps()
    if gaps:
        west, south, east, north = gaps[0]
        console.say(
            f"{counted(len(gaps), 'tile is', 'tiles are')} missing from the layout, the first at"
            f" {west:.0f}, {south:.0f} to {east:.0f}, {north:.0f}: water ends at their edges"
        )
    refuse_lengths(options.max_length_m)
    points, hollows = (_points(file, index.grid.crs) for file in (intakes, kept))
    progress = TileProgress()
    result = drain_survey(index, out, options, intakes=points, kept=hollows, told=progress)
    if as_json:
        console.result_json(_plain(result))
        return
    console.result(_summary(result))


def _points(file: Path | None, crs: str) -> list[tuple[float, float]]:
    """Return the map coordinates of the points of a file."""
    from brimline.io.vectors import read_layer

    if file is None:
        return []
    shapes = read_layer(file, kinds={"point"}, crs=crs).usable().geometry
    return list(zip(shapes.x.tolist(), shapes.y.tolist(), strict=True))


def _brought(names: Sequence[str], out: Path, hosts: Sequence[str]) -> list[str]:
    """Fetch files that are named by address, and return all of them as they lie here."""
    from brimline.io.paths import is_remote

    urls = [name for name in names if is_remote(name)]
    if not urls:
        return list(names)
    from brimline.io.remote import fetch

    found = fetch(urls, out.resolve() / REMOTE, hosts, FetchProgress())
    for problem in found.notices:
        console.say_problem(problem)
    return [str(found.paths.get(name, name)) for name in names]


def _summary(result: Result) -> str:
    drained = result.drained
    area_km2 = result.facts["area_m2"] / 1e6
    head = (
        f"{drained.valid_cells} cells with data, {area_km2:.2f} km², {drained.lowest_m:.1f} to"
        f" {drained.highest_m:.1f} m; every one drains to an outlet; {result.called_tasks} tasks in"
        f" {result.seconds:.0f} s, {result.reused_tasks} finished before"
    )
    lines = [head]
    if result.intakes is not None:
        lines += [
            f"  intake {one['intake_id']}: {one['area_m2'] / 1e6:.4f} km²{_ends(one)}"
            for one in result.facts["intakes"]
        ]
    lines += [f"  {path}" for path in result.files.values()]
    return "\n".join(lines)


def _ends(one: dict[str, Any]) -> str:
    """Say where an intake's ground leaves the data, and what tiles go on from there."""
    if not one["edge_limited"]:
        return ""
    where = f" in the {one['edge_sides']}" if one["edge_sides"] else ""
    names = one["missing_tiles"]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    missing = f"; get {', '.join(names[:_NAMED])}{more}" if names else ""
    return f"; a lower bound: it reaches the edge of the data{where}{missing}"


def _plain(result: Result) -> dict[str, Any]:
    return {
        "ok": True,
        "files": {name: str(path) for name, path in result.files.items()},
        "reused_tasks": result.reused_tasks,
        "called_tasks": result.called_tasks,
    } | result.facts


class FetchProgress:
    """Says how much of a remote file is here: when it is whole, and every few seconds before."""

    def __init__(self) -> None:
        self._said = time.monotonic()

    def __call__(self, url: str, here: int, size: int) -> None:
        """Say so, but not too often."""
        now = time.monotonic()
        if here < size and now - self._said < _EVERY_S:
            return
        self._said = now
        console.say(f"fetching {url}: {here / 1e6:.1f} of {size / 1e6:.1f} MB")


class TileProgress:
    """Says how far a pass is: when it ends, and every few seconds before."""

    def __init__(self) -> None:
        self._began = self._said = time.monotonic()

    def __call__(self, title: str, done: int, count: int, reused: int) -> None:
        """Say so, but not too often."""
        now = time.monotonic()
        if done < count and now - self._said < _EVERY_S:
            return
        self._said = now
        kept = f" ({reused} finished before)" if reused else ""
        console.say(
            f"{now - self._began:6.0f} s  {title}: {done} of {counted(count, 'tile')}{kept}"
        )


def refuse_lengths(max_length_m: float) -> None:
    """Refuse a breach without an end: each pit would see the whole survey."""
    if not max_length_m < float("inf"):
        raise InputError.of(
            "the longest breach must be finite in tiles",
            mend="give --breach-length in metres.",
            source="--breach-length",
        )
