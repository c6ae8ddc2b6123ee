"""Stakes and lines as GPX 1.1, for handheld receivers and phones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import gpxpy.gpx
import shapely

from brimline.io.atomic import write_text
from brimline.io.geographic import lon_lat, on_wgs84

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import geopandas as gpd

_DEGREE_DIGITS: Final = 8  # a millimetre
_CREATOR: Final = "brimline"


def write_gpx(
    path: Path,
    *,
    name: str,
    points: gpd.GeoDataFrame | None = None,
    lines: Sequence[tuple[str, gpd.GeoDataFrame]] = (),
    point_name: str = "stake_id",
    line_names: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> None:
    """Write points as waypoints and lines and outlines as tracks.

    A waypoint's elevation is its point's height, where it has one: a level over the survey's
    datum.

    Parameters
    ----------
    name : of the whole file.
    points : point rows; the column `point_name` names each.
    lines : pairs of a kind ("swale lines") and rows with lines or polygons.
    line_names : columns that may name a line; the first one that a layer has is used.
    notes : columns of the points that go into each waypoint's description, as "column value".

    Raises
    ------
    InternalError
        If rows have no CRS.
    StoreError
        If the file cannot be written.
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator, gpx.name = _CREATOR, name
    if points is not None and len(points):
        gpx.waypoints = _waypoints(points, point_name, notes)
    for kind, frame in lines:
        gpx.tracks += _tracks(kind, frame, line_names)
    write_text(path, gpx.to_xml(version="1.1") + "\n")


def _waypoints(
    points: gpd.GeoDataFrame, point_name: str, notes: Sequence[str]
) -> list[gpxpy.gpx.GPXWaypoint]:
    longitude, latitude = lon_lat(points.geometry)
    shapes = points.geometry.to_numpy()
    height = shapely.get_z(shapes)
    found = []
    for place in range(len(points)):
        row = points.iloc[place]
        found.append(
            gpxpy.gpx.GPXWaypoint(
                latitude=round(float(latitude[place]), _DEGREE_DIGITS),
                longitude=round(float(longitude[place]), _DEGREE_DIGITS),
                elevation=None
                if height[place] != height[place]
                else round(float(height[place]), 3),
                name=str(row[point_name]),
                description="; ".join(f"{column} {_shown(row[column])}" for column in notes),
                symbol="Flag, Blue",
            )
        )
    return found


def _tracks(kind: str, frame: gpd.GeoDataFrame, names: Sequence[str]) -> list[gpxpy.gpx.GPXTrack]:
    column = next((name for name in names if name in frame.columns), None)
    found = []
    for place, shape in enumerate(on_wgs84(frame).geometry):
        label = str(frame.iloc[place][column]) if column else str(place + 1)
        track = gpxpy.gpx.GPXTrack(name=f"{kind} {label}")
        for part in _lines_of(shape):
            segment = gpxpy.gpx.GPXTrackSegment()
            segment.points = [
                gpxpy.gpx.GPXTrackPoint(round(y, _DEGREE_DIGITS), round(x, _DEGREE_DIGITS))
                for x, y in shapely.get_coordinates(part).tolist()
            ]
            track.segments.append(segment)
        if track.segments:
            found.append(track)
    return found


def _lines_of(shape: shapely.Geometry) -> list[Any]:
    """Lines, and the rings of polygons; points have none."""
    if shapely.get_dimensions(shape) == 2:
        shape = shapely.boundary(shape)
    parts = shapely.get_parts(shape)
    return [part for part in parts if shapely.get_dimensions(part) == 1]


def _shown(value: Any) -> str:  # noqa: ANN401  (a cell of any column)
    return f"{value:.3f}" if isinstance(value, float) else str(value)
