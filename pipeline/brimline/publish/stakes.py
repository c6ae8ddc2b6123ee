"""The folder `stakes` of a run: what a crew, a machine and another program take away."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.io.exchange_csv import write_logger_csv, write_points_csv
from brimline.io.exchange_geojson import write_geojson
from brimline.io.exchange_landxml import write_landxml
from brimline.io.geographic import on_earth
from brimline.layers import layer
from brimline.terrain.triangles import Triangles

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import geopandas as gpd
    import pandas as pd

    from brimline.layers import Layer
    from brimline.publish.sight import Sight

_DRAWN: Final = (
    "boundary", "keep_out", "contours", "swale_lines", "drain_lines", "keypoints", "keylines",
    "cultivation_lines", "pads", "elements", "overflows", "downpipes", "proof_paths", "tracks",
    "track_crossings", "plants", "stakes",
)  # fmt: skip
_TRACKS: Final = ("elements", "pads", "swale_lines", "drain_lines", "keylines")
GEOJSON: Final = (
    "elements",
    "pads",
    "overflows",
    "stakes",
    "plants",
    "tracks",
    "track_crossings",
    *_TRACKS[2:],
)
_NAMES: Final = ("element_id", "swale_id", "drain_id", "keyline_id")
# columns that tell its name, its level, and what it is
_LOGGED: Final = {
    "stakes": ("stake_id", "build_m", "role"),
    "plants": ("plant_id", "level_m", "plant"),
}
_SITE: Final = ("boundary", "elements", "pads")
_AROUND_M: Final = 50.0
_THINNED_CELLS: Final = (0.1, 0.2, 0.4, 0.8)
_MOST_CORNERS: Final = 600_000  # about 20 MB of drawing
_NOTES: Final = ("role", "ground_m", "design_m", "build_m", "cut_m")


def write_drawing(sight: Sight, path: Path) -> None:
    """Write the design and the ground around it for drawing programs."""
    drawn = _held(sight, _DRAWN)
    if not drawn:
        return
    from brimline.io.exchange_dxf import write_dxf

    layers = {name: (layer(name), rows) for name, rows in drawn.items()}
    if "contours" in drawn:
        cell_m, site = sight.world.grid.cell_m, [drawn[name] for name in _SITE if name in drawn]
        layers["contours"] = thinned(drawn["contours"], site, cell_m)
    text_m = float(sight.results.parameter("stakes", "text_m"))
    write_dxf(path, list(layers.values()), text_m=text_m)


def thinned(
    contours: gpd.GeoDataFrame, site: Sequence[gpd.GeoDataFrame], cell_m: float
) -> tuple[Layer, gpd.GeoDataFrame]:
    """Take the contours around a site with no more corners than a draughtsman's program bears.

    Parameters
    ----------
    site : what they are drawn around; all of them without any.
    cell_m : side of a cell; lines move by a tenth of it at most, or twice that and so on where
        that leaves too many corners [m].

    Returns
    -------
    The layer with the tolerance in its title, and the rows.
    """
    if site:
        boxes = np.array([rows.total_bounds for rows in site])
        low, high = boxes[:, :2].min(axis=0) - _AROUND_M, boxes[:, 2:].max(axis=0) + _AROUND_M
        contours = contours.set_geometry(contours.geometry.clip_by_rect(*low, *high))
        contours = contours[~contours.geometry.is_empty]
    for tolerance_m in cell_m * np.array(_THINNED_CELLS):
        found = contours.geometry.simplify(tolerance_m, preserve_topology=False)
        if shapely.get_num_coordinates(found.to_numpy()).sum() <= _MOST_CORNERS:
            break
    declared = layer("contours")
    title = f"{declared.title}, thinned: no line is moved by more than {tolerance_m:.3g} m"
    kept = ~found.is_empty
    return replace(declared, title=title), contours[kept].set_geometry(found[kept])


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


def write_for_logger(sight: Sight, path: Path, name: str) -> None:
    """Write stakes, or plants, as data loggers take them."""
    rows, (named, level, note) = sight.rows(name), _LOGGED[name]
    if rows is not None:
        write_logger_csv(
            path,
            rows[named].tolist(),
            rows.geometry.y,
            rows.geometry.x,
            rows[level],
            rows[note].fillna("").tolist(),
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


def write_calendar(sight: Sight, path: Path) -> None:
    """Write the care of plants and elements as an iCalendar file, where its first year is said."""
    rows, first = sight.rows("care"), sight.results.parameter("planting", "first_year")
    if rows is None or first is None:
        return
    from brimline.planting.care import Task, calendar_text

    named = [field.name for field in fields(Task)]
    tasks = [
        Task(
            **dict(zip(named, row, strict=True))
            | {"year": int(first) - 1 + row[named.index("year")]}
        )
        for row in rows[named].itertuples(index=False, name=None)
    ]
    text = calendar_text(tasks, sight.world.site_name, sight.day)
    path.write_text(text, encoding="utf-8", newline="")
