"""Rasters, tables, styles, and the GeoPackage with all layers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import brimline
from brimline.io.about import About
from brimline.io.exchange_csv import write_table_csv
from brimline.io.geopackage import join_parts, write_part
from brimline.io.rasters import write_raster
from brimline.layers import CATALOGUE, Layer, Raster, Table
from brimline.layers.themes import DESIGN_FILE, place_of
from brimline.report.sld import item_style, layer_style

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.publish.sight import Sight


def part_of(name: str) -> str:
    """Return the name of the piece that holds one layer or table for the GeoPackages."""
    return f"parts/layers/{name}.gpkg"


def write_one_raster(sight: Sight, path: Path, name: str) -> None:
    """Write a raster as a cloud-optimised GeoTIFF."""
    item = CATALOGUE[name]
    if isinstance(item, Raster):
        grid = sight.near_grid if item.near else sight.world.grid
        write_raster(path, sight.value(name), grid, item)


def write_one_table(sight: Sight, path: Path, name: str) -> None:
    """Write a table that holds rows as CSV, for spreadsheets."""
    item, rows = CATALOGUE[name], sight.rows(name)
    if isinstance(item, Table) and rows is not None:
        write_table_csv(path, rows, item)


def write_style(sight: Sight, path: Path, name: str) -> None:
    """Write the style of a layer or raster."""
    item = CATALOGUE[name]
    if isinstance(item, Layer | Raster):
        path.write_text(item_style(sight.results, item), encoding="utf-8")


def write_layer(sight: Sight, path: Path, name: str) -> None:
    """Write one layer or table as it goes into the GeoPackage."""
    item = CATALOGUE[name]
    if not isinstance(item, Raster):
        write_part(path, item, sight.value(name), crs=sight.world.grid.crs)


def write_layers(sight: Sight, path: Path) -> None:
    """Write every layer and table as one GeoPackage; nothing where a run holds rasters only."""
    _write(sight, path, _vectors(sight))


def write_design(sight: Sight, path: Path) -> None:
    """Write the few layers of the design as a GeoPackage of their own, as far as they hold rows."""
    if sight.rows("elements") is None:
        return
    declared = [item for item in _vectors(sight) if item.name in DESIGN_FILE]
    _write(sight, path, [item for item in declared if sight.rows(item.name) is not None])


def _vectors(sight: Sight) -> list[Layer | Table]:
    return [item for item in sight.published if not isinstance(item, Raster)]


def _write(sight: Sight, path: Path, items: list[Layer | Table]) -> None:
    if not items:
        return
    items.sort(key=lambda item: (isinstance(item, Table), place_of(item.name)))
    world, manifest = sight.world, sight.results.manifest
    about = About(
        title=world.site_name,
        description=f"Land and water at {world.site_name}, by brimline {brimline.__version__}; SI.",
        cautions=world.cautions,
        details={"versions": dict(manifest["versions"]), "finished": manifest["finished"]},
        styles={item.name: layer_style(item) for item in items if isinstance(item, Layer)},
        written_at=sight.day,
    )
    parts = [(item, sight.piece_file(part_of(item.name))) for item in items]
    join_parts(path, [(item, file) for item, file in parts if file is not None], about=about)
