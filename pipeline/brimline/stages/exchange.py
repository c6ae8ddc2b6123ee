"""The folder `stakes` of a run: what a crew, a machine and another program take away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.io.exchange_csv import write_logger_csv, write_points_csv
from brimline.io.exchange_dxf import write_dxf
from brimline.io.exchange_geojson import write_geojson
from brimline.io.exchange_gpx import write_gpx
from brimline.io.exchange_landxml import write_landxml
from brimline.layers import layer
from brimline.terrain.triangles import Triangles

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime
    from pathlib import Path

    import geopandas as gpd
    import pandas as pd

    from brimline.engine import RunResult

FOLDER: Final = "stakes"
_DRAWN: Final = (
    "boundary", "keep_out", "contours", "swale_lines", "drain_lines", "keypoints", "keylines",
    "cultivation_lines", "pads", "elements", "overflows", "proof_paths", "stakes",
)  # fmt: skip
_CONTOUR_ERROR_M: Final = 0.05
_TRACKS: Final = ("elements", "pads", "swale_lines", "drain_lines", "keylines")
_GEOJSON: Final = (
    "elements",
    "pads",
    "overflows",
    "stakes",
    "swale_lines",
    "drain_lines",
    "keylines",
)
_NAMES: Final = ("element_id", "swale_id", "drain_id", "keyline_id")
_NOTES: Final = ("role", "ground_m", "design_m", "build_m", "cut_m")


def write_exchange(
    folder: Path,
    result: RunResult,
    *,
    crs: str,
    name: str,
    written_at: datetime,
    told: Callable[[str], None] = lambda _: None,
) -> None:
    """Write stakes, lines and surfaces into a run folder, as far as the run has them.

    Parameters
    ----------
    crs : of the run.
    written_at : moment that goes into files which must state one.

    Raises
    ------
    StoreError
        If a file cannot be written.
    """
    made = {item.name for item in result.published}
    frames: dict[str, Any] = {
        item: result.value(item) for item in _DRAWN if item in made and len(result.value(item))
    }
    if not frames:
        return
    told(f"writing {FOLDER}/")
    place = folder / FOLDER
    place.mkdir(exist_ok=True)
    stakes = frames.get("stakes")
    if "as_built_stakes" in made and len(result.value("as_built_stakes")):
        write_points_csv(
            place / "as_built.csv", result.value("as_built_stakes"), layer("as_built_stakes")
        )
    drawn = [(layer(item), _plain(item, rows)) for item, rows in frames.items()]
    write_dxf(place / "site.dxf", drawn)
    write_gpx(
        place / "site.gpx",
        name=name,
        points=stakes,
        notes=_NOTES,
        lines=[(layer(i).title, frames[i]) for i in _TRACKS if i in frames],
        line_names=_NAMES,
    )
    for item in _GEOJSON:
        if item in frames:
            write_geojson(place / f"{item}.geojson", frames[item], layer(item))
    if stakes is not None:
        _write_stakes(place, stakes)
        surfaces: Mapping[str, Triangles] = {}
        if "surface_points" in result.outputs:  # not in a run that stopped at the stakes
            surfaces = meshes(result.value("surface_points"), result.value("surface_faces"))
        points = [
            (row.stake_id, row.role or "", row.geometry.x, row.geometry.y, row.build_m)
            for row in stakes[stakes["offset_m"] == 0].itertuples(index=False)
        ]
        write_landxml(
            place / "site.xml", name=name, crs=crs, written_at=written_at, surfaces=surfaces,
            points=points,
        )  # fmt: skip


def _plain(item: str, rows: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Contours with fewer corners: a drawing of them all is slow to open."""
    if item != "contours":
        return rows
    return rows.set_geometry(rows.geometry.simplify(_CONTOUR_ERROR_M), crs=rows.crs)


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


def _write_stakes(place: Path, stakes: gpd.GeoDataFrame) -> None:
    write_points_csv(place / "stakes.csv", stakes, layer("stakes"))
    write_logger_csv(
        place / "stakes_for_logger.csv",
        stakes["stake_id"].tolist(),
        stakes.geometry.y,
        stakes.geometry.x,
        stakes["build_m"],
        stakes["role"].fillna("").tolist(),
    )
