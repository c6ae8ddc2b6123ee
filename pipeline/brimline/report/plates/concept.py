"""The concept plan: the design alone, on one sheet, for people who read no drawings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from brimline.report.palette import WINE
from brimline.report.plates import labels
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet

if TYPE_CHECKING:
    from brimline.report.results import Results


def concept(results: Results, frame: MapFrame) -> Plate | None:
    """Draw what is built and where its water goes; nothing that is only proposed."""
    if results.layer("elements") is None:
        return None
    near = MapFrame.around(results, ("elements", "overflows", "pads"), 0.06)
    sheet = Sheet(results, near if near.width_m < frame.width_m else frame, letters=1.35)
    for name in ("surfaces", "contours", "keep_out", "boundary", "pads"):
        sheet.draw(name, only="Index contour" if name == "contours" else "")
    sheet.draw("elements", label=True)
    sheet.draw("overflows")
    _name_ends(results, sheet)
    sheet.key_plan("boundary")
    return Plate(
        "concept",
        "Concept plan",
        sheet.svg("concept"),
        "Map of everything that is to be built, each by its name, with arrows from each to what "
        "it spills to.",
        "Everything that is to be built, and nothing else. Arrows show where water goes once an "
        "element is full. North is up.",
    )


def _name_ends(results: Results, sheet: Sheet) -> None:
    """Write the names of discharge points where overflows end at them."""
    overflows, elements = results.layer("overflows"), results.layer("elements")
    if overflows is None or elements is None:
        return
    known = set(elements["element_id"])
    for _, row in overflows.drop_duplicates("to_id").iterrows():
        name, way = row["to_id"], row.geometry
        if not isinstance(name, str) or not name or name in known or way.is_empty:
            continue
        x, y = sheet.xy(*shapely.get_coordinates(way)[-1])
        sheet.label(
            name,
            lambda w, h, x=x, y=y: labels.around(x, y, w, h, 4.0),  # type: ignore[misc]
            colour=WINE.light,
            rank=2,
        )
