"""Surfaces, stakes and lines as LandXML 1.2, the open standard of surveying and machine guidance.

Coordinates run northing, easting, level, as the standard has them.
"""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import XMLGenerator

import numpy as np
import shapely
from pyproj import CRS

import brimline
from brimline.errors import InternalError
from brimline.io.atomic import write_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from brimline.terrain.triangles import Triangles

NAMESPACE: Final = "http://www.landxml.org/schema/LandXML-1.2"
_METRIC: Final = {
    "areaUnit": "squareMeter",
    "linearUnit": "meter",
    "volumeUnit": "cubicMeter",
    "temperatureUnit": "celsius",
    "pressureUnit": "milliBars",
    "diameterUnit": "millimeter",
    "angularUnit": "decimal degrees",
    "directionUnit": "decimal degrees",
}


def write_landxml(
    path: Path,
    *,
    name: str,
    crs: str,
    written_at: datetime,
    surfaces: Mapping[str, Triangles] = {},
    points: Sequence[tuple[str, str, float, float, float]] = (),
    breaklines: Mapping[str, shapely.LineString] = {},
) -> None:
    """Write a LandXML file.

    Parameters
    ----------
    name : of the project.
    crs : of all coordinates, as an authority code or WKT; metres.
    written_at : moment that goes into the file; the same moment and input give the same bytes.
    surfaces : by name.
    points : stakes as name, what they are, easting, northing, level [m].
    breaklines : lines with heights, by name; they go with the first surface.

    Raises
    ------
    InternalError
        If a level is not a finite number, a line has no heights, or there are lines and no surface.
    StoreError
        If the file cannot be written.
    """
    if breaklines and not surfaces:
        raise InternalError("breaklines need a surface to go with")
    content = io.StringIO()
    xml = _Writer(content)
    root = {
        "xmlns": NAMESPACE,
        "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
        "xsi:schemaLocation": f"{NAMESPACE} {NAMESPACE}/LandXML-1.2.xsd",
        "version": "1.2",
        "date": written_at.strftime("%Y-%m-%d"),
        "time": written_at.strftime("%H:%M:%S"),
        "language": "English",
        "readOnly": "false",
    }
    with xml.element("LandXML", root):
        with xml.element("Units"):
            xml.leaf("Metric", _METRIC)
        xml.leaf("CoordinateSystem", _crs_attributes(crs))
        xml.leaf("Project", {"name": name})
        xml.leaf("Application", {"name": "brimline", "version": brimline.__version__})
        if points:
            with xml.element("CgPoints"):
                for label, role, easting, northing, level in points:
                    place = _place(northing, easting, level, label)
                    xml.leaf("CgPoint", {"name": label, "code": role}, place)
        if surfaces:
            with xml.element("Surfaces"):
                for number, (title, mesh) in enumerate(surfaces.items()):
                    _surface(xml, title, mesh, breaklines if number == 0 else {})
    xml.endDocument()
    write_bytes(path, content.getvalue().encode())


class _Writer(XMLGenerator):
    """Elements one a line, without a tree in memory: surfaces run to millions of points."""

    def __init__(self, content: io.StringIO) -> None:
        super().__init__(content, "utf-8", short_empty_elements=True)
        self.startDocument()

    @contextmanager
    def element(self, tag: str, attributes: Mapping[str, str] = {}) -> Iterator[None]:
        self.startElement(tag, dict(attributes))  # type: ignore[arg-type]
        self.ignorableWhitespace("\n")
        yield
        self.endElement(tag)
        self.ignorableWhitespace("\n")

    def leaf(self, tag: str, attributes: Mapping[str, str] = {}, text: str = "") -> None:
        self.startElement(tag, dict(attributes))  # type: ignore[arg-type]
        if text:
            self.characters(text)
        self.endElement(tag)
        self.ignorableWhitespace("\n")


def _surface(
    xml: _Writer, title: str, mesh: Triangles, breaklines: Mapping[str, shapely.LineString]
) -> None:
    if not np.isfinite(mesh.z).all():
        raise InternalError(f"surface {title} holds a level that is not a number")
    with xml.element("Surface", {"name": title}):
        if breaklines:
            with xml.element("SourceData"), xml.element("Breaklines"):
                for label, line in breaklines.items():
                    with xml.element("Breakline", {"name": label, "brkType": "standard"}):
                        xml.leaf("PntList3D", {}, _places(line, label))
        about = {
            "surfType": "TIN",
            "elevMin": f"{mesh.z.min():.4f}",
            "elevMax": f"{mesh.z.max():.4f}",
        }
        with xml.element("Definition", about):
            with xml.element("Pnts"):
                for number, (x, y, z) in enumerate(
                    zip(mesh.x.tolist(), mesh.y.tolist(), mesh.z.tolist(), strict=True), start=1
                ):
                    xml.leaf("P", {"id": str(number)}, f"{y:.4f} {x:.4f} {z:.4f}")
            with xml.element("Faces"):
                for one, two, three in (mesh.faces + 1).tolist():
                    xml.leaf("F", {}, f"{one} {two} {three}")


def _places(line: shapely.LineString, label: str) -> str:
    corners = shapely.get_coordinates(line, include_z=True)
    return " ".join(_place(y, x, z, label) for x, y, z in corners.tolist())


def _place(northing: float, easting: float, level: float, label: str) -> str:
    if not np.isfinite([northing, easting, level]).all():
        raise InternalError(f"{label} has no level or place")
    return f"{northing:.4f} {easting:.4f} {level:.4f}"


def _crs_attributes(crs: str) -> dict[str, str]:
    known = CRS.from_user_input(crs)
    code = known.to_epsg()
    found = {"name": known.name}
    if code is not None:
        found["epsgCode"] = str(code)
    else:
        found["ogcWktCode"] = known.to_wkt("WKT1_GDAL")
    return found
