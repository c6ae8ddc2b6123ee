"""Layers as DXF: each on its own drawing layer, in metres, to the millimetre.

Level lines and outlines are light polylines at their elevation, the others 3-D polylines. The
frame of the file is ezdxf's; entities are written here, as that library takes forty times as long.
"""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import ezdxf
import numpy as np
import pandas as pd
import shapely
from ezdxf import units

from brimline.io.atomic import write_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import geopandas as gpd
    from ezdxf.document import Drawing
    from numpy.typing import NDArray

    from brimline.layers import Layer

VERSION: Final = "R2010"
_COLOURS: Final = (5, 3, 1, 4, 6, 30, 2, 84, 140, 8)  # of the drawing's palette, told apart easily
_NAMES: Final = (
    "stake_id", "element_id", "name", "swale_id", "drain_id", "keyline_id", "keypoint_id",
    "intake_id", "path_id",
)  # fmt: skip
_ENTITIES: Final = "  0\nSECTION\n  2\nENTITIES\n"
_IN_PLAN: Final = " 10\n%.3f\n 20\n%.3f\n"
_IN_3D: Final = _IN_PLAN + " 30\n%.3f\n"
_CLOSED, _IN_SPACE, _CORNER_IN_SPACE = 1, 8, 32  # flags of polylines and their corners
_LEVELS: Final = ("level_m", "spill_level_m", "design_m", "crest_level_m")


def write_dxf(
    path: Path,
    layers: Sequence[tuple[Layer, gpd.GeoDataFrame]],
    *,
    labels: bool = True,
    text_m: float = 0.5,
) -> None:
    """Write layers to a drawing in map coordinates.

    The drawing layer has the layer's name and its title as description; labels lie on a second
    one, its name with "_text" behind. Heights are those of the geometry, else the row's level
    column, else a graded line's two levels, else 0.

    Parameters
    ----------
    text_m : height of the letters [m].

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    with _without_clock():
        drawing = ezdxf.new(VERSION, units=units.M)
        drawing.header["$MEASUREMENT"] = 1
        entities: list[str] = []
        for place, (declaration, frame) in enumerate(layers):
            colour = _COLOURS[place % len(_COLOURS)]
            entities += _drawn_layer(
                drawing, declaration, frame, colour, text_m=text_m if labels else 0.0
            )
        for name in sorted(drawing.entitydb.dxf_types_in_use()):  # the library takes a set's order
            drawing.classes.add_class(name)
        content = io.StringIO()
        drawing.write(content)
    before, start, after = content.getvalue().partition(_ENTITIES)
    text = "".join((before, start, *entities, after)).replace("\n", "\r\n")
    write_bytes(path, text.encode("utf-8", "surrogateescape"))


@contextmanager
def _without_clock() -> Iterator[None]:
    """Make bytes that depend on the drawing alone."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _drawn_layer(
    drawing: Drawing, declaration: Layer, frame: gpd.GeoDataFrame, colour: int, *, text_m: float
) -> Iterator[str]:
    name = declaration.name
    drawing.layers.add(name, color=colour).description = declaration.title
    shapes = frame.geometry.to_numpy()
    parts, row = shapely.get_parts(shapes, return_index=True)
    rings, part = _lines_of(parts)
    corners, ring = shapely.get_coordinates(rings, include_z=True, return_index=True)
    levels = _Levels(frame)
    pen = _Pen(drawing, name)
    for place, own in enumerate(np.split(corners, np.flatnonzero(np.diff(ring)) + 1)):
        kind = parts[part[place]].geom_type
        own[:, 2] = np.where(np.isnan(own[:, 2]), levels.along(own, row[part[place]]), own[:, 2])
        yield pen.point(own[0]) if kind == "Point" else pen.line(own, closed=kind == "Polygon")
    if text_m and any(column in frame.columns for column in _NAMES):
        drawing.layers.add(f"{name}_text", color=colour)
        texts, spots = _texts(frame), shapely.get_coordinates(shapely.point_on_surface(shapes))
        pen = _Pen(drawing, f"{name}_text")
        for text, (x, y) in zip(texts, spots.tolist(), strict=True):
            if text:
                yield pen.text(text, x, y, text_m)


class _Pen:
    """Writes entities on one drawing layer."""

    def __init__(self, drawing: Drawing, layer: str) -> None:
        self._next = drawing.entitydb.handles.next
        self._space = drawing.modelspace().layout_key
        self._layer = layer

    def point(self, corner: NDArray[np.float64]) -> str:
        """Return a point."""
        return self._head("POINT", "Point")[0] + _IN_3D % tuple(corner)

    def line(self, corners: NDArray[np.float64], *, closed: bool) -> str:
        """Return a light polyline where all corners are level to the millimetre, else a 3-D one."""
        corners = corners[:-1] if closed else corners
        flags = _CLOSED if closed else 0
        if np.ptp(np.round(corners[:, 2], 3)) == 0:
            head, _ = self._head("LWPOLYLINE", "Polyline")
            counted = f" 90\n{len(corners)}\n 70\n{flags}\n 38\n{corners[0, 2]:.3f}\n"
            return head + counted + _IN_PLAN * len(corners) % tuple(corners[:, :2].ravel())
        head, handle = self._head("POLYLINE", "3dPolyline")
        found = [head, " 66\n1\n", _IN_3D % (0, 0, 0), f" 70\n{flags | _IN_SPACE}\n"]
        for corner in corners.tolist():
            head, _ = self._head("VERTEX", "Vertex", "3dPolylineVertex", owner=handle)
            found += head, _IN_3D % tuple(corner), f" 70\n{_CORNER_IN_SPACE}\n"
        return "".join((*found, self._head("SEQEND", owner=handle)[0]))

    def text(self, text: str, x: float, y: float, height_m: float) -> str:
        """Return a line of text whose lower left corner is there."""
        head, _ = self._head("TEXT", "Text")
        where = _IN_3D % (x, y, 0)
        return f"{head}{where} 40\n{height_m}\n  1\n{text}\n100\nAcDbText\n"

    def _head(self, kind: str, *classes: str, owner: str = "") -> tuple[str, str]:
        handle = self._next()
        told = "".join(f"100\nAcDb{name}\n" for name in classes)
        return (
            f"  0\n{kind}\n  5\n{handle}\n330\n{owner or self._space}\n"
            f"100\nAcDbEntity\n  8\n{self._layer}\n{told}"
        ), handle


class _Levels:
    """Heights of rows whose geometry has none."""

    def __init__(self, frame: gpd.GeoDataFrame) -> None:
        columns = [name for name in _LEVELS if name in frame.columns]
        own = frame[columns].astype(np.float64).bfill(axis=1) if columns else None
        self._level = np.full(len(frame), np.nan) if own is None else own.iloc[:, 0].to_numpy()
        graded = {"from_level_m", "to_level_m"} <= set(frame.columns)
        self._ends = frame[["from_level_m", "to_level_m"]].to_numpy(float) if graded else None

    def along(self, corners: NDArray[np.float64], row: int) -> NDArray[np.float64]:
        """Return the height of each corner."""
        if not np.isnan(self._level[row]):
            return np.full(len(corners), self._level[row])
        if self._ends is None:
            return np.zeros(len(corners))
        steps = np.hypot(*np.diff(corners[:, :2], axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        share = along / along[-1] if along[-1] > 0 else along
        start, end = self._ends[row]
        return np.asarray(start + share * (end - start))


def _lines_of(parts: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return single shapes with polygons as their rings, and the part that each comes from."""
    rings, whose = shapely.get_rings(parts, return_index=True)
    others = np.flatnonzero(shapely.get_dimensions(parts) < 2)
    found, owner = np.concatenate([parts[others], rings]), np.concatenate([others, whose])
    order = np.argsort(owner, kind="stable")
    return found[order], owner[order]


def _texts(frame: gpd.GeoDataFrame) -> list[str]:
    """Return what each row is called: its name, or the number that stands for one."""
    names = [frame[name].to_numpy(object) for name in _NAMES if name in frame.columns]
    return [
        " ".join(next((str(name) for name in row if not pd.isna(name)), "").split())
        for row in zip(*names, strict=True)
    ]
