"""Shapes as people draw them, made fit for a run: what is mended, passed over, refused."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Transformer

from brimline.errors import Problem, Severity
from brimline.io import crs as crs_of

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

Kind = Literal["point", "line", "polygon"]

REPAIR_PCT: Final = 1.0  # a repair that changes the area by more is a guess at what was meant
_MOST_TOLD: Final = 5
_REPAIR_M2: Final = 1.0  # changes below it do not matter on the ground
_KIND_OF: Final[dict[str, Kind]] = {
    "Point": "point",
    "LineString": "line",
    "Polygon": "polygon",
}
_PLACE: Final = re.compile(r"\[(\S+) (\S+?)\]")


@dataclass(slots=True)
class _Cleaning:
    """What one pass over a layer gathers."""

    kinds: frozenset[Kind]
    source: str
    own_crs: CRS  # of the file: places are told in it, so that they can be found there
    run_crs: CRS
    rows: list[int] = field(default_factory=list)  # positions in the frame, one a shape
    shapes: list[BaseGeometry] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def say(self, severity: Severity, message: str, mend: str, place: str) -> None:
        self.problems.append(Problem(severity, message, mend, self.source, place))

    def at(self, place: str, x: float, y: float) -> str:
        """Tell a place by the row and by coordinates as the file has them."""
        if not crs_of.same(self.own_crs, self.run_crs):
            back = Transformer.from_crs(self.run_crs, self.own_crs, always_xy=True)
            x, y = back.transform(x, y)
        digits = 6 if self.own_crs.is_geographic else 1
        return f"{place} at {x:.{digits}f}, {y:.{digits}f}"


def cleaned(
    frame: gpd.GeoDataFrame, kinds: frozenset[Kind], *, source: str, own_crs: CRS
) -> tuple[gpd.GeoDataFrame, list[Problem]]:
    """Return the rows whose shape can be used, and what was found.

    Rows without a shape are passed over; multi-part points and lines become one row a part;
    polygons become MultiPolygon; closed lines become polygons where only polygons are wanted;
    invalid polygons are repaired where that changes their area little, else refused.

    Parameters
    ----------
    frame : in the run's CRS [m], with the column ``row``.
    kinds : what may be drawn.
    own_crs : in which the file has it; messages tell places in it.
    """
    work = _Cleaning(kinds, source, crs_of.horizontal(own_crs), frame.crs)
    for position, (row, shape) in enumerate(
        zip(frame["row"].tolist(), frame.geometry.tolist(), strict=True)
    ):
        _clean(work, position, f"row {row}", shape)
    _tell_again(work, frame["row"].to_numpy())
    result = frame.iloc[work.rows].reset_index(drop=True)
    shapes = gpd.GeoSeries(work.shapes, crs=frame.crs, index=result.index)
    return result.set_geometry(shapes), work.problems


def _tell_again(work: _Cleaning, numbers: NDArray[Any]) -> None:
    """Tell shapes that are drawn more than once, in whatever order of their corners."""
    first: dict[bytes, int] = {}
    again: dict[int, list[int]] = {}
    keys = shapely.to_wkb(shapely.normalize(np.array(work.shapes, dtype=object)))
    for row, key in zip(numbers[work.rows].tolist(), keys.tolist(), strict=True):
        if first.setdefault(key, row) != row:
            again.setdefault(first[key], []).append(row)
    for row, others in list(again.items())[:_MOST_TOLD]:
        rows = ", ".join(str(other) for other in others[:_MOST_TOLD])
        message = f"is drawn again at the same place, in row {rows}"
        work.say(Severity.WARNING, message, "take out what is there twice.", f"row {row}")


def _clean(work: _Cleaning, position: int, place: str, shape: BaseGeometry | None) -> None:
    if shape is None or shape.is_empty:
        work.say(Severity.WARNING, "has no shape and was passed over", "draw or delete it.", place)
        return
    if not np.isfinite(shape.bounds).all():
        work.say(
            Severity.ERROR,
            "has coordinates that are not numbers, or lie outside the map",
            "check the coordinate reference system of the layer, or draw it again.",
            place,
        )
        return
    parts = [part for part in _parts(shape) if not part.is_empty]
    fits = [part for part in parts if _KIND_OF[part.geom_type] in work.kinds]
    if not fits and "polygon" in work.kinds:
        fits = [closed for part in parts if (closed := _closed(part)) is not None]
        if fits:
            work.say(Severity.NOTICE, "a closed line was taken as the polygon inside it", "", place)
    if not fits:
        work.say(Severity.ERROR, *_wrong_kind(parts, work.kinds), place)
        return
    if len(fits) < len(parts):
        work.say(
            Severity.WARNING,
            f"{len(parts) - len(fits)} of its {len(parts)} parts are of another kind and were"
            " passed over",
            "draw them in a layer of their own.",
            place,
        )
    _keep(work, position, place, fits)


def _keep(work: _Cleaning, position: int, place: str, parts: list[Any]) -> None:
    """Add the parts of one row: polygons together, points and lines one by one."""
    polygons = [part for part in parts if part.geom_type == "Polygon"]
    others = [part for part in parts if part.geom_type != "Polygon"]
    if len(others) > 1:
        work.say(Severity.NOTICE, f"its {len(others)} parts became rows of their own", "", place)
    for part in others:
        if part.geom_type != "Point" and part.length == 0:
            where = work.at(place, *part.coords[0][:2])
            message = "is a line without length and was passed over"
            work.say(Severity.WARNING, message, "draw or delete it.", where)
            continue
        work.rows.append(position)
        work.shapes.append(part)
    if polygons:
        whole = _valid(work, place, shapely.MultiPolygon(polygons))
        if whole is not None:
            work.rows.append(position)
            work.shapes.append(whole)


def _valid(work: _Cleaning, place: str, shape: shapely.MultiPolygon) -> shapely.MultiPolygon | None:
    """Return a valid form of a polygon, or None where repairing it would be guessing."""
    if shape.is_valid:
        return shape
    why = shapely.is_valid_reason(shape)
    reason = _PLACE.sub("", why).strip().lower() or "invalid"
    fault = _PLACE.search(why)
    fault_place = work.at(place, float(fault[1]), float(fault[2])) if fault else place
    repaired = polygons_of(shapely.make_valid(shape, method="structure", keep_collapsed=False))
    drawn_m2 = sum(_ring_area(part) for part in shape.geoms)
    change_m2 = abs(repaired.area - drawn_m2)
    if repaired.is_empty or change_m2 > max(_REPAIR_M2, REPAIR_PCT / 100 * drawn_m2):
        after = "nothing" if repaired.is_empty else f"{repaired.area:.0f} m²"
        work.say(
            Severity.ERROR,
            f"is an invalid polygon ({reason}) that only guessing could repair:"
            f" {drawn_m2:.0f} m² as drawn, {after} after",
            "mend its outline at that place in the program that it was drawn with.",
            fault_place,
        )
        return None
    work.say(
        Severity.NOTICE,
        f"was an invalid polygon ({reason}); it was repaired, its area changed by"
        f" {change_m2:.1f} m² of {drawn_m2:.0f} m²",
        "",
        fault_place,
    )
    return repaired


def polygons_of(shape: BaseGeometry) -> shapely.MultiPolygon:
    """Return the polygons in a shape of any kind as one MultiPolygon."""
    return shapely.MultiPolygon([p for p in _parts(shape) if p.geom_type == "Polygon" and p.area])


def _parts(shape: BaseGeometry) -> list[Any]:
    """Single parts of a shape, also of collections within collections."""
    if hasattr(shape, "geoms"):
        return [single for part in shape.geoms for single in _parts(part)]
    return [shape]


def _ring_area(polygon: shapely.Polygon) -> float:
    """Area as drawn, by the coordinates of its rings, valid or not."""
    holes = sum(shapely.Polygon(ring).area for ring in polygon.interiors)
    return float(shapely.Polygon(polygon.exterior).area - holes)


def _closed(part: BaseGeometry) -> shapely.Polygon | None:
    """Return the polygon inside a closed line; None where it is not one."""
    if part.geom_type == "LineString" and part.is_closed and len(part.coords) > 3:
        return shapely.Polygon(part.coords)
    return None


def _wrong_kind(parts: list[Any], kinds: frozenset[Kind]) -> tuple[str, str]:
    wanted = " or ".join(sorted(kinds))
    drawn = _KIND_OF[parts[0].geom_type] if parts else "nothing"
    mend = f"draw it as a {wanted}."
    if drawn == "line" and kinds == {"polygon"}:
        mend = "close the line onto its first point, or draw it as a polygon."
    return f"is a {drawn}, but a {wanted} is needed here", mend
