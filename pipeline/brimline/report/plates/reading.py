"""What the site is like: where the sun falls, where cold and wet gather, where soil may go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.layers.reading import PERIODS
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.ramps import RAMPS
from brimline.sun.path import season

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_FULL_SUN_H = 6.0


def sun_in_winter(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the hours of sun on the shortest day."""
    hours = results.raster("sun_h")
    if hours is None:
        return None
    which = PERIODS.index("shortest day")
    return _sun(results, frame, hours[which], "sun-winter", "Sun on the shortest day", (which,))


def sun_in_season(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the mean hours of sun of the growing season."""
    hours = results.raster("sun_h")
    sun = results.facts.get("sun", {})
    if hours is None or not sun:
        return None
    months = season(float(sun["latitude_deg"]))
    words = f"{PERIODS[months[0]]} to {PERIODS[months[-1]]}"
    mean = hours[list(months)].mean(axis=0)
    return _sun(results, frame, mean, "sun-season", f"Sun from {words}", months)


def _sun(
    results: Results,
    frame: MapFrame,
    hours: NDArray[np.float32],
    name: str,
    title: str,
    months: tuple[int, ...],
) -> Plate | None:
    known = _on_site(results, hours)
    if not known.size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["sun_h"], values=hours)
    for layer in ("contours", "surfaces", "elements", "boundary"):
        sheet.draw(layer, unfilled=True)
    sheet.draw("zones", label=True, unfilled=True)
    full = 100 * float((known >= _FULL_SUN_H).mean())
    open_h = float(np.mean([results.facts["sun"]["open_ground_h"][month] for month in months]))
    return Plate(
        name,
        title,
        sheet.svg(name),
        f"Map of the hours a day that the sun reaches the ground, {known.mean():.1f} h on average.",
        f"Hours a day under a clear sky: {known.mean():.1f} on average over the site, {open_h:.1f}"
        f" on open level ground. {full:.0f} % of the site has full sun, six hours or more (common"
        " practice). Shaded by the ground, by surfaces with a height and by what was drawn as"
        " casting shade; hills beyond the survey shade it only where sun.far_skyline_deg says so.",
    )


def _on_site(results: Results, values: NDArray[Any]) -> NDArray[Any]:
    """Values inside the boundary that are known."""
    known = np.isfinite(values)
    boundary = results.layer("boundary")
    if boundary is not None:
        known &= cells_inside(boundary.geometry, results.grid)
    found: NDArray[Any] = values[known]
    return found
