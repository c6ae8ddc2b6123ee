"""What a person has drawn into the plan, cleaned and in the run's CRS."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import geopandas as gpd

from brimline.engine.stage import Stage
from brimline.errors import InputError, Problem, Severity, shown
from brimline.io.frames import conformed, empty
from brimline.io.paths import nearest_word
from brimline.io.vectors import VectorSource, WantedColumn, holds_rows, layer_names, read_layer
from brimline.layers.drawn import ITEMS
from brimline.layers.schema import Geometry
from brimline.stages._doubts import ground_doubts

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Elevation, Grid
    from brimline.layers.schema import Column, Layer

_KIND: Final[dict[Geometry, Literal["point", "line", "polygon"]]] = {
    Geometry.POINT: "point",
    Geometry.LINE: "line",
    Geometry.POLYGON: "polygon",
}


def read_plan(
    path: Path, elevation: Elevation, grid: Grid
) -> tuple[dict[str, gpd.GeoDataFrame], list[Problem]]:
    """Read every drawing layer; those that the plan lacks come back empty.

    Parameters
    ----------
    elevation : float32 (rows, cols) [m]; NaN is nodata.

    Returns
    -------
    layers by name, and everything found on the way.
    """
    try:
        there = set(layer_names(path))
    except InputError as error:
        return _nothing_drawn(grid), list(error.problems)
    layers, problems = {}, _strangers(path, there)
    for declared in ITEMS:
        if declared.name not in there:
            layers[declared.name] = gpd.GeoDataFrame(empty(declared, grid.crs))
            continue
        read = read_layer(
            VectorSource(path, declared.name),
            kinds={_KIND[declared.geometry]},
            crs=grid.crs,
            columns=[_wanted(column) for column in declared.columns],
        )
        if holds_rows(path, declared.name):  # without any is how a plan begins, not a fault
            problems += read.problems
        rows = _single(read.frame, declared).drop(columns="row")
        layers[declared.name] = gpd.GeoDataFrame(conformed(rows, declared, grid.crs))
        source = f"{path} ({declared.name})"
        problems += ground_doubts(layers[declared.name], declared.name, elevation, grid, source)
    return layers, problems


def _strangers(path: Path, there: set[str]) -> list[Problem]:
    """Warn of layers that nearly bear the name of one that is read."""
    known = [item.name for item in ITEMS]
    near = {name: nearest_word(name, known) for name in sorted(there.difference(known))}
    return [
        Problem(
            Severity.WARNING,
            f'the layer "{shown(name)}" is not known and was passed over',
            f"rename it if {meant} is meant.",
            str(path),
        )
        for name, meant in near.items()
        if meant
    ]


def _nothing_drawn(grid: Grid) -> dict[str, gpd.GeoDataFrame]:
    return {item.name: gpd.GeoDataFrame(empty(item, grid.crs)) for item in ITEMS}


def _wanted(column: Column) -> WantedColumn:
    return WantedColumn(
        column.name,
        column.dtype,
        allowed=column.values,
        minimum=column.minimum,
        maximum=column.maximum,
        unique=column.name == "name",
    )


def _single(rows: gpd.GeoDataFrame, declared: Layer) -> gpd.GeoDataFrame:
    """Polygons come from the reader as multi-part; a drawn pond is one part a row."""
    if declared.geometry is not Geometry.POLYGON:
        return rows
    return rows.explode(ignore_index=True)


def _run(given: Given, report: Reporter) -> Made:
    path, grid = given.source("plan", Path), given.grid
    if path is None:
        return _nothing_drawn(grid)
    layers, problems = read_plan(path, given.raster("elevation"), grid)
    errors = [problem for problem in problems if problem.severity is Severity.ERROR]
    if errors:
        raise InputError(errors)
    for problem in problems:
        report.problem(problem)
    return layers


STAGE = Stage(
    name="plan",
    version=2,
    title="reading the plan",
    needs=("grid", "elevation"),
    makes=tuple(item.name for item in ITEMS),
    run=_run,
    sources=("plan",),
)
