"""The planting: every plant with its crown once grown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.layers.flags import needs_look
from brimline.report.palette import (
    BLUE,
    BLUE_GREEN,
    BROWN,
    GREEN,
    OLIVE,
    PURPLE,
    RED,
    SAND,
    TEAL,
    Fill,
    LineStyle,
    Rule,
)
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.units import counted, shown

if TYPE_CHECKING:
    from brimline.report.results import Results

CROWNS: Final = {
    "canopy": GREEN, "understorey": BLUE_GREEN, "shrub": OLIVE, "climber": PURPLE, "herb": TEAL,
    "groundcover": SAND, "root": BROWN, "aquatic": BLUE,
}  # fmt: skip
_MARGIN: Final = 0.08


def planting(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - its own ground
    """Draw the plants over the relief, close by."""
    plants = results.layer("plants")
    if plants is None:
        return None
    sheet = Sheet(results, MapFrame.around(results, ("plants",), _MARGIN))
    for name in ("contours", "surfaces", "elements", "zones"):
        sheet.draw(name, unfilled=name == "zones")
    crowns = plants.set_geometry(plants.geometry.buffer(plants["crown_m"] / 2))
    tall = crowns.groupby("layer")["height_m"].max().sort_values(ascending=False)
    for name in tall.index:  # what is low shows over what is high
        ink = CROWNS[str(name)]
        rule = Rule(str(name).capitalize(), line=LineStyle(ink, 0.6), fill=Fill(ink, 0.4))
        sheet.rule(rule, crowns[crowns["layer"] == name])
    sheet.draw("boundary")
    looks = np.array([needs_look(str(flag or "").split(";")) for flag in plants["flag"]])
    if doubtful := int(looks.sum()):
        rule = Rule("Not right there", line=LineStyle(RED, 1.4))
        sheet.rule(rule, crowns[looks])
    told = f"{counted(doubtful, 'plant')} will not thrive or must not stand there: see its notes."
    kinds = plants["plant"].nunique()
    width = shown("length", results.units).text(float(plants["crown_m"].max()))
    return Plate(
        "planting",
        "The planting",
        sheet.svg("planting"),
        f"Map of {len(plants)} plants of {kinds} kinds with their crowns.",
        f"{counted(len(plants), 'plant')} of {kinds} kinds, crowns as grown, the widest {width}. "
        + (told if doubtful else "None is flagged.")
        + " Places are in stakes/plants.csv.",
    )
