"""Earthworks, water on the finished ground, and the order of building."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.report.palette import INK, PAPER, WINE
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.quantities import earth_of, unit_of
from brimline.report.ramps import RAMPS
from brimline.units import shown

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.report.results import Results

_NEAR: Final = 0.08
_LEAST_CHANGE_M: Final = 0.05


def earthworks(results: Results, frame: MapFrame) -> Plate | None:
    """Draw where ground is dug and where it is heaped up."""
    change = changed_m(results)
    if change is None or results.layer("elements") is None:
        return None
    sheet = Sheet(results, _near(results, frame), ramp=RAMPS["change_m"], values=change)
    for name in ("contours", "keep_out", "boundary"):
        sheet.draw(name, only="Index contour" if name == "contours" else "")
    for name in ("pads", "elements"):
        sheet.draw(name, label=True, unfilled=True)
    volumes = results.table("earth_volumes")
    told = ""
    if volumes is not None:
        cut, fill = (float(volumes[column].sum()) for column in ("cut_m3", "fill_m3"))
        earth = shown(earth_of(max(cut, fill)), results.units)
        told = f" {earth.text(cut)} are dug and {earth.text(fill)} heaped up, in place."
    return Plate(
        "earthworks",
        "Earthworks",
        sheet.svg("earthworks"),
        "Map of cut and fill: where the designed surface lies below and above the survey.",
        "Orange is dug, purple is heaped up; changes under 5 cm are left out."
        f"{told} To set out: stakes/sheets.html.",
    )


def flood(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the greatest depth of water on the designed surface."""
    depth = results.raster("flood_depth_m")
    if depth is None:
        return None
    sheet = Sheet(results, _near(results, frame), ramp=RAMPS["flood_depth_m"], values=depth)
    for name in ("keep_out", "boundary"):
        sheet.draw(name)
    sheet.draw("elements", label=True, unfilled=True)
    sheet.draw("proof_paths")
    deepest = _most(depth)
    speed = results.raster("flood_speed_m_s")
    fastest = ""
    if speed is not None:
        per_s = unit_of("speed_m_s", "m/s", results.units)
        fastest = f", and as fast as {per_s.text(_most(speed))}" if per_s else ""
    return Plate(
        "flood",
        "The design storm on the finished ground",
        sheet.svg("flood"),
        "Map of the greatest depth of water on the designed surface in the design storm.",
        "Greatest depth of water by shallow-water flow over the ground as it will be; up to "
        f"{shown('level', results.units).text(deepest)} deep{fastest}. An independent check of the"
        " cascade; levels of both are in the table of the flood. Pipes are not in it.",
    )


def _most(values: NDArray[Any]) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else 0.0


def staging(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the number of the step in which each element is dug, and each overflow opened."""
    steps, elements = results.table("building_steps"), results.layer("elements")
    if steps is None or elements is None:
        return None
    sheet = Sheet(results, _near(results, frame))
    for name in ("contours", "flow_paths", "keep_out", "boundary", "elements", "overflows"):
        sheet.draw(name, only="Index contour" if name == "contours" else "")
    shapes = {(str(row["element_id"]), ""): row.geometry for _, row in elements.iterrows()}
    overflows = results.layer("overflows")
    if overflows is not None:
        shapes |= {
            (str(r["from_id"]), str(r["to_id"])): r.geometry for _, r in overflows.iterrows()
        }
    for step, place in _steps(steps):
        dug = not place[1]
        ink, paper = (INK.light, PAPER.light) if dug else (PAPER.light, WINE.light)
        if place in shapes:
            sheet.number(shapes[place], str(step), ink=ink, paper=paper)
    return Plate(
        "staging",
        "Order of building",
        sheet.svg("staging"),
        "Map of the elements and overflows, numbered in the order in which they are built.",
        "Numbers are the steps of the table “Order of building”: dark, an element is dug; light, "
        "an overflow is opened. Outlets are made safe first, then from the top down, and nothing "
        "discharges into what is not built yet.",
    )


def changed_m(results: Results) -> NDArray[Any] | None:
    """Return designed less surveyed level [m]; NaN where it is less than 5 cm."""
    designed, surveyed = results.raster("design_surface"), results.raster("elevation")
    if designed is None or surveyed is None:
        return None
    change = designed.astype(np.float64) - surveyed
    return np.where(np.abs(change) >= _LEAST_CHANGE_M, change, np.nan)


def _near(results: Results, frame: MapFrame) -> MapFrame:
    near = MapFrame.around(results, ("elements", "overflows"), _NEAR)
    has = results.layer("elements") is not None
    return near if has and near.width_m < frame.width_m else frame


def _steps(steps: Any) -> list[tuple[int, tuple[str, str]]]:  # noqa: ANN401 - a frame
    """Return the steps with what they build: an element, or the way from one to the next."""
    found = []
    for _, row in steps.iterrows():
        if row["action"] == "dig":
            found.append((int(row["step"]), (str(row["element_id"]), "")))
        elif row["action"] == "open overflow":
            found.append((int(row["step"]), (str(row["element_id"]), str(row["to_id"]))))
    return found
