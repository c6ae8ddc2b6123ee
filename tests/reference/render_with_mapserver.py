"""Draw layers by their SLD with MapServer; runs under the system's Python, which has its bindings.

Reads a list of [file, layer, type, SLD file, picture] as JSON on standard input.
"""

import json
import sys
from pathlib import Path

import mapscript


def draw(source: str, name: str, kind: str, sld: str, picture: str, extent: list[float]) -> None:
    """Draw one layer of a GeoPackage into a PNG on white."""
    sheet = mapscript.mapObj()
    sheet.setSize(640, 480)
    sheet.setExtent(*extent)
    sheet.units = mapscript.MS_METERS
    sheet.imagecolor.setRGB(255, 255, 255)
    sheet.selectOutputFormat("image/png")
    layer = mapscript.layerObj(sheet)
    layer.name = name
    layer.status = mapscript.MS_ON
    layer.type = getattr(mapscript, f"MS_LAYER_{kind}")
    layer.setConnectionType(mapscript.MS_OGR, "")
    layer.connection = source
    layer.data = name
    sheet.applySLD(Path(sld).read_text(encoding="utf-8"))
    sheet.draw().save(picture)


for job in json.load(sys.stdin):
    draw(*job)
