"""Layers as DXF: each on its own drawing layer, lines and outlines as 3-D polylines, in metres."""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import ezdxf
import ezdxf.document
import numpy as np
import pandas as pd
import shapely
from ezdxf import units

from brimline.io.atomic import write_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import geopandas as gpd

    from brimline.layers import Layer

VERSION: Final = "R2010"
_COLOURS: Final = (5, 3, 1, 4, 6, 30, 2, 84, 140, 8)  # of the drawing's palette, told apart easily
_TEXT_HEIGHT_M: Final = 0.5
_NAMES: Final = (
    "stake_id", "element_id", "name", "swale_id", "drain_id", "keyline_id", "keypoint_id",
    "intake_id", "path_id",
)  # fmt: skip
_LEVELS: Final = ("level_m", "spill_level_m", "design_m", "crest_level_m")


def write_dxf(
    path: Path, layers: Sequence[tuple[Layer, gpd.GeoDataFrame]], *, labels: bool = True
) -> None:
    """Write layers to a drawing in map coordinates.

    The drawing layer has the layer's name and its title as description; labels lie on a second
    one, its name with "_text" behind. Heights are those of the geometry, else the row's level
    column, else a graded line's two levels, else 0.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    with _without_clock():
        drawing = ezdxf.new(VERSION, units=units.M)
        drawing.header["$MEASUREMENT"] = 1
        for place, (declaration, frame) in enumerate(layers):
            colour = _COLOURS[place % len(_COLOURS)]
            _draw_layer(drawing, declaration, frame, colour, labels=labels)
        content = io.StringIO(newline="\r\n")
        drawing.write(content)
    write_bytes(path, content.getvalue().encode("utf-8", "surrogateescape"))


@contextmanager
def _without_clock() -> Iterator[None]:
    """Make bytes that depend on the drawing alone."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _draw_layer(
    drawing: ezdxf.document.Drawing,
    declaration: Layer,
    frame: gpd.GeoDataFrame,
    colour: int,
    *,
    labels: bool,
) -> None:
    drawing.layers.add(declaration.name, color=colour).description = declaration.title
    name_columns = [name for name in _NAMES if name in frame.columns]
    if labels and name_columns:
        drawing.layers.add(f"{declaration.name}_text", color=colour)
    space, geometry = drawing.modelspace(), frame.geometry.name
    for _, row in frame.iterrows():
        _draw(space, declaration.name, row, geometry)
        if labels:
            _label(space, declaration.name, row, geometry, name_columns)


def _draw(space: Any, layer: str, row: pd.Series[Any], geometry: str) -> None:  # noqa: ANN401
    style = {"layer": layer}
    for part in shapely.get_parts(row[geometry]):
        if part.geom_type == "Point":
            space.add_point(_with_levels(part, row)[0], dxfattribs=style)
        elif part.geom_type == "LineString":
            space.add_polyline3d(_with_levels(part, row), dxfattribs=style)
        elif part.geom_type == "Polygon":
            for ring in (part.exterior, *part.interiors):
                space.add_polyline3d(_with_levels(ring, row)[:-1], close=True, dxfattribs=style)


def _label(
    space: Any,  # noqa: ANN401
    layer: str,
    row: pd.Series[Any],
    geometry: str,
    name_columns: Sequence[str],
) -> None:
    """Write what the row is called: its name, or the number that stands for one."""
    text = next((row[name] for name in name_columns if not pd.isna(row[name])), None)
    if text is None:
        return
    spot = shapely.point_on_surface(row[geometry])
    space.add_text(
        str(text), height=_TEXT_HEIGHT_M, dxfattribs={"layer": f"{layer}_text"}
    ).set_placement((spot.x, spot.y))


def _with_levels(shape: Any, row: pd.Series[Any]) -> list[tuple[float, float, float]]:  # noqa: ANN401
    """Corners with heights, from the geometry or from the row."""
    corners = shapely.get_coordinates(shape, include_z=True)
    unknown = np.isnan(corners[:, 2])
    if unknown.any():
        corners[unknown, 2] = _levels_of(corners, row)[unknown]
    return [(x, y, z) for x, y, z in corners.tolist()]


def _levels_of(corners: Any, row: pd.Series[Any]) -> Any:  # noqa: ANN401
    for column in _LEVELS:
        if column in row.index and not pd.isna(row[column]):
            return np.full(len(corners), float(row[column]))
    if {"from_level_m", "to_level_m"} <= set(row.index):
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners[:, :2], axis=0).T))])
        share = along / along[-1] if along[-1] > 0 else along
        return row["from_level_m"] + share * (row["to_level_m"] - row["from_level_m"])
    return np.zeros(len(corners))
