"""Sun and wind on the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.layers.reading import PERIODS
from brimline.report.plates.on_site import draw_around, on_site
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.ramps import RAMPS
from brimline.report.seasons import DAYS, of_days
from brimline.sun.path import season
from brimline.units import counted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_FULL_SUN_H: Final = 6.0


def sun_in_winter(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the hours of sun on the shortest day."""
    return _sun(results, frame, "sun-winter", "Sun on the shortest day", "shortest day")


def sun_in_season(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the mean hours of sun of the growing season."""
    sun = results.facts.get("sun", {})
    if not sun:
        return None
    months = season(float(sun["latitude_deg"]))
    title = f"Sun from {PERIODS[months[0]]} to {PERIODS[months[-1]]}"
    return _sun(results, frame, "sun-season", title, "growing season")


def sun_in_summer(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the hours of sun on the longest day."""
    return _sun(results, frame, "sun-summer", "Sun on the longest day", "longest day")


def energy(results: Results, frame: MapFrame) -> Plate | None:
    """Draw what sun and clear sky bring to the ground on the mean day of a year."""
    by_month = results.raster("sun_mj_m2")
    if by_month is None:
        return None
    mean = of_days(results, by_month, "mean day")
    if mean is None or not (known := _in_the_open(results, mean)).size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["sun_mj_m2"], values=mean)
    draw_around(sheet)
    sheet.draw("obstructions")
    level = np.average(results.facts["sun"]["open_ground_mj_m2"][: len(DAYS)], weights=DAYS)
    least, most = np.quantile(known, (0.05, 0.95)) / level
    return Plate(
        "sun-energy",
        "Energy of the sun",
        sheet.svg("sun-energy"),
        f"Map of what sun and clear sky bring in a day, {known.mean():.1f} MJ/m² on average.",
        f"Mean day of the year under a clear sky: {known.mean():.1f} MJ/m² on average over the "
        f"site but for what stands on it, {level:.1f} on level ground that nothing shades; nine "
        f"tenths of it get {100 * least:.0f} to {100 * most:.0f} % of that. Where it is high, "
        "ground warms and dries first; it also tells where panels pay. Clouds take a "
        "third to a half off it in most climates. " + _shaded_by(results),
    )


def wind(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the shelter from the stated winds."""
    shelter = results.raster("shelter_deg")
    if shelter is None or not (known := on_site(results, shelter)).size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["shelter_deg"], values=shelter)
    draw_around(sheet)
    sheet.draw("obstructions")
    winds = results.parameter("wind", "from_deg") or ()
    words = " and ".join(f"{bearing:g}°" for bearing, _ in winds)
    from_where = f"winds from {words}" if words else "winds from all round alike: none is stated"
    low, high = results.parameter("growing", "shelter_deg") or (3.0, 6.0)
    bare, calm = (100 * float(each.mean()) for each in (known < low, known >= high))
    return Plate(
        "wind",
        "Shelter from wind",
        sheet.svg("wind"),
        f"Map of how high ground, buildings and trees rise upwind, {known.mean():.1f}° on average.",
        f"For {from_where}. The angle is that to the highest upwind within "
        f"{results.parameter('wind', 'reach_m') or 200:g} m. A hedge shelters well to ten times "
        f"its height (6°) and hardly beyond twenty (3°). {bare:.0f} % of the site is exposed "
        f"(below {low:g}°) and {calm:.0f} % sheltered (from {high:g}°). Trees count as solid: "
        "leafless ones shelter less. Gusts round corners and over crests are not in it, and beyond "
        "the survey the ground counts as level: its windward edge looks barer than it may be. "
        "Ground without colour lies too far from the site to be worked out.",
    )


def _sun(results: Results, frame: MapFrame, name: str, title: str, day: str) -> Plate | None:
    by_period = results.raster("sun_h")
    hours = None if by_period is None else of_days(results, by_period, day)
    if hours is None or not (known := _in_the_open(results, hours)).size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["sun_h"], values=hours)
    draw_around(sheet)
    sheet.draw("obstructions")
    full = 100 * float((known >= _FULL_SUN_H).mean())
    open_h = float(of_days(results, np.array(results.facts["sun"]["open_ground_h"]), day) or 0)
    return Plate(
        name,
        title,
        sheet.svg(name),
        f"Map of the hours a day that the sun reaches the ground, {known.mean():.1f} h on average.",
        f"Hours a day under a clear sky: {known.mean():.1f} on average over the site"
        f" but for what stands on it, {open_h:.1f} on open level ground. {full:.0f} % of it has"
        " full sun, six hours or more (common practice). " + _shaded_by(results),
    )


def _in_the_open(results: Results, values: NDArray[Any]) -> NDArray[Any]:
    """Values on the site that are known, but for the ground beneath what stands there."""
    standing = results.layer("obstructions")
    if standing is not None:
        values = np.where(cells_inside(standing.geometry, results.grid), np.nan, values)
    return on_site(results, values)


def _shaded_by(results: Results) -> str:
    """Say what casts shade on the maps of the sun."""
    standing = results.layer("obstructions")
    if standing is None:
        told = "Nothing that stands up was drawn, so only the ground casts shade"
    else:
        assumed = int((standing["flag"].fillna("") != "").sum())
        things = counted(len(standing), "thing that stands up", "things that stand up")
        told = f"The ground casts shade, and {things}"
        if assumed:
            told += f", {assumed} of them without a height: usual ones were taken (dashed, red)"
    return (
        f"{told}; hills beyond the survey do only where sun.far_skyline_deg says so. Ground without"
        " colour lies too far from the site to be worked out."
    )
