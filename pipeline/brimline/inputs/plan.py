"""The plan that a person draws: every layer of it, cleaned and in the run's CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import geopandas as gpd

from brimline.errors import InputError, Problem, Severity, shown
from brimline.inputs.doubts import ground_doubts
from brimline.io.frames import conformed, empty
from brimline.io.paths import nearest_word
from brimline.io.vectors import VectorSource, WantedColumn, holds_rows, layer_names, read_layer
from brimline.layers.drawn import ITEMS
from brimline.layers.schema import Geometry

if TYPE_CHECKING:
    from pathlib import Path

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
        return nothing_drawn(grid), list(error.problems)
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


def nothing_drawn(grid: Grid) -> dict[str, gpd.GeoDataFrame]:
    """Return every drawing layer without rows."""
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
