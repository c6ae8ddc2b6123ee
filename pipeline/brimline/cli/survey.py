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


def run(
    elevation: Sequence[str],
    out: Path,
    options: Options,
    *,
    intakes: Path | None,
    crs: str,
    vertical_unit: str,
    as_json: bool,
) -> None:
    """Drain a survey and say where its results are."""
    from brimline.io.tile_index import index_tiles
    from brimline.io.vectors import read_layer
    from brimline.tiled.survey import drain_survey, needs_gb, tiles_that_fit

    index = index_tiles(elevation, vertical_unit=vertical_unit, crs=crs or None)
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
    points: list[tuple[float, float]] = []
    if intakes is not None:
        shapes = read_layer(intakes, kinds={"point"}, crs=index.grid.crs).usable().geometry
        points = list(zip(shapes.x.tolist(), shapes.y.tolist(), strict=True))
    progress = _Progress()
    result = drain_survey(index, out, options, intakes=points, told=progress)
    if as_json:
        console.result_json(_plain(result, out))
        return
    console.result(_summary(result, index.grid.cell_area_m2))


def _summary(result: Result, cell_m2: float) -> str:
    drained = result.drained
    area_km2 = drained.valid_cells * cell_m2 / 1e6
    head = (
        f"{drained.valid_cells} cells with data, {area_km2:.2f} km², {drained.lowest_m:.1f} to"
        f" {drained.highest_m:.1f} m; every one drains to an outlet; {result.called_tasks} tasks in"
        f" {result.seconds:.0f} s, {result.reused_tasks} finished before"
    )
    lines = [head]
    if result.intakes is not None:
        for number, (cells, limited) in enumerate(
            zip(result.intakes.cells, result.intakes.edge_limited, strict=True), start=1
        ):
            more = "; reaches the edge of the data: a lower bound" if limited else ""
            lines.append(f"  intake {number}: {cells * cell_m2 / 1e6:.4f} km²{more}")
    lines += [f"  {path}" for path in result.files.values()]
    return "\n".join(lines)


def _plain(result: Result, out: Path) -> dict[str, Any]:
    import json

    facts: dict[str, Any] = json.loads((out / "survey.json").read_text(encoding="utf-8"))
    return {
        "ok": True,
        "files": {name: str(path) for name, path in result.files.items()},
        "reused_tasks": result.reused_tasks,
        "called_tasks": result.called_tasks,
    } | facts


class _Progress:
    """Says how far a pass is: when it ends, and every few seconds before."""

    def __init__(self) -> None:
        self._began = self._said = time.monotonic()

    def __call__(self, title: str, done: int, count: int, reused: int) -> None:
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
