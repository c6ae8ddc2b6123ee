"""The site as it is: base and contours, and how steep it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.ramps import RAMPS
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_STEEP_PCT = 20.0


def base(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the ground with contours and what the person drew."""
    if results.raster("hillshade") is None:
        return None
    sheet = Sheet(results, frame)
    sheet.draw("surfaces", label=True)
    sheet.draw("soils")
    sheet.draw("hollows")
    sheet.draw("contours")
    _index_labels(sheet)
    for name in ("culverts", "keep_out"):
        sheet.draw(name, label=True)
    sheet.draw("boundary")
    interval = results.parameter("contours", "interval_m")
    contours = results.layer("contours") is not None and interval is not None
    every = shown("length", results.units).text(float(interval)) if contours else ""
    caption = f"Contours every {every} of the survey surface. " if contours else ""
    return Plate(
        "base",
        "The site",
        sheet.svg("base"),
        f"Map of {results.site_name}: shaded relief, "
        + ("contours, " if contours else "")
        + "boundary, land cover, and areas to keep clear.",
        caption
        + "Light falls from the north-west. Hatched areas are kept clear, setback included.",
    )


def slope(results: Results, frame: MapFrame) -> Plate | None:
    """Draw how steep the ground is, in the classes that earthworks go by."""
    values = results.raster("slope_pct")
    if values is None:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["slope_pct"], values=values)
    sheet.draw("boundary")
    share = _steep_share_pct(results)
    return Plate(
        "slope",
        "How steep",
        sheet.svg("slope"),
        f"Map of slope in seven classes; {share:.0f} % of the site is steeper than 20 %.",
        f"{share:.0f} % of the site is steeper than {_STEEP_PCT:.0f} %. Swales are usual to about "
        "15 %, with care to 20 %, and none stand above 30 % without an engineer (common practice).",
    )


def _steep_share_pct(results: Results) -> float:
    slope_pct = results.rasters["slope_pct"]
    known = np.isfinite(slope_pct)
    boundary = results.layer("boundary")
    if boundary is not None:
        known &= cells_inside(boundary.geometry, results.grid)
    if not known.any():
        return 0.0
    return 100 * float((slope_pct[known] > _STEEP_PCT).mean())


def _index_labels(sheet: Sheet) -> None:
    contours = sheet.results.layer("contours")
    if contours is None:
        return
    sheet.label_lines(contours[contours["index"]], "level_m", "contours")
