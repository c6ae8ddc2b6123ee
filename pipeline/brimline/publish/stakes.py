"""The folder `stakes` of a run: what a crew, a machine and another program take away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.io.exchange_csv import write_logger_csv, write_points_csv
from brimline.io.exchange_geojson import write_geojson
from brimline.io.exchange_landxml import write_landxml
from brimline.io.geographic import on_earth
from brimline.layers import layer
from brimline.terrain.triangles import Triangles

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pandas as pd

    from brimline.publish.sight import Sight

_DRAWN: Final = (
    "boundary", "keep_out", "contours", "swale_lines", "drain_lines", "keypoints", "keylines",
    "cultivation_lines", "pads", "elements", "overflows", "proof_paths", "stakes",
)  # fmt: skip
_TRACKS: Final = ("elements", "pads", "swale_lines", "drain_lines", "keylines")
GEOJSON: Final = ("elements", "pads", "overflows", "stakes", *_TRACKS[2:])
_NAMES: Final = ("element_id", "swale_id", "drain_id", "keyline_id")
_NOTES: Final = ("role", "ground_m", "design_m", "build_m", "cut_m")


def write_drawing(sight: Sight, path: Path) -> None:
    """Write the design and the ground around it for drawing programs."""
    drawn = _held(sight, _DRAWN)
    if drawn:
        from brimline.io.exchange_dxf import write_dxf

        write_dxf(path, [(layer(name), rows) for name, rows in drawn.items()])


def write_tracks(sight: Sight, path: Path) -> None:
    """Write stakes and lines for handheld receivers; none in a local grid."""
    lines = _held(sight, _TRACKS)
    if _held(sight, _DRAWN) and on_earth(sight.world.grid.crs):
        from brimline.io.exchange_gpx import write_gpx

        write_gpx(
            path,
            name=sight.world.site_name,
            points=sight.rows("stakes"),
            notes=_NOTES,
            lines=[(layer(name).title, rows) for name, rows in lines.items()],
            line_names=_NAMES,
        )


def write_features(sight: Sight, path: Path, name: str) -> None:
    """Write one layer as GeoJSON, which is in degrees; none in a local grid."""
    rows = sight.rows(name)
    if rows is not None and on_earth(sight.world.grid.crs):
        write_geojson(path, rows, layer(name))


def write_points(sight: Sight, path: Path, name: str) -> None:
    """Write the points of one layer as CSV."""
    rows = sight.rows(name)
    if rows is not None:
        write_points_csv(path, rows, layer(name))


def write_for_logger(sight: Sight, path: Path) -> None:
    """Write stakes as data loggers take them."""
    stakes = sight.rows("stakes")
    if stakes is not None:
        write_logger_csv(
            path,
            stakes["stake_id"].tolist(),
            stakes.geometry.y,
            stakes.geometry.x,
            stakes["build_m"],
            stakes["role"].fillna("").tolist(),
        )


def write_surfaces(sight: Sight, path: Path) -> None:
    """Write the designed ground of each element, and the stakes, for machines."""
    stakes = sight.rows("stakes")
    if stakes is None:
        return
    points, faces = sight.value("surface_points"), sight.value("surface_faces")
    on_line = stakes[stakes["offset_m"] == 0]
    write_landxml(
        path,
        name=sight.world.site_name,
        crs=sight.world.grid.crs,
        written_at=sight.day,
        surfaces={} if points is None else meshes(points, faces),  # a run that stopped at stakes
        points=list(
            zip(
                on_line["stake_id"],
                on_line["role"].fillna(""),
                on_line.geometry.x,
                on_line.geometry.y,
                on_line["build_m"],
                strict=True,
            )
        ),
    )


def meshes(points: pd.DataFrame, faces: pd.DataFrame) -> Mapping[str, Triangles]:
    """Triangles of each element from their rows."""
    found = {}
    for name, corners in points.groupby("element_id", sort=False):
        mine = faces[faces["element_id"] == name]
        found[str(name)] = Triangles(
            corners["x_m"].to_numpy(), corners["y_m"].to_numpy(), corners["z_m"].to_numpy(),
            mine[["one", "two", "three"]].to_numpy().astype(np.int32), 0.0,
        )  # fmt: skip
    return found


def _held(sight: Sight, names: tuple[str, ...]) -> dict[str, Any]:
    found = {name: sight.rows(name) for name in names}
    return {name: rows for name, rows in found.items() if rows is not None}
