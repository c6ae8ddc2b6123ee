"""Drawings of the set: plan sheets that tile the design, and dimensioned sections."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.figure import Figure

from brimline.report.palette import INK, QUIET
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.nearby import layers_near
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.staking import named_levels, sections, word
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.results import Results

PLAN_MM: Final = (262.0, 138.0)
_MOST_SHEETS: Final = 6
_SCALES: Final = (100, 200, 250, 500, 1000, 1250, 2000, 2500, 5000, 10_000, 20_000, 50_000)
_SCALES_US: Final = tuple(12 * feet for feet in (10, 20, 30, 40, 50, 60, 100, 200, 400, 1000, 5000))
_MARGIN_M: Final = 5.0
_SHOWN: Final = (
    "surfaces", "contours", "keep_out", "boundary", "pads", "elements", "overflows",
)  # fmt: skip


def tiles(results: Results) -> tuple[MapFrame, ...]:
    """Return the ground of each plan sheet: the largest plain scale that needs six sheets at most.

    Sheets without any part of the design are left out; they are numbered as one reads.
    """
    shapes = [
        shape
        for name in ("elements", "overflows", "pads")
        if (layer := results.layer(name)) is not None
        for shape in layer.geometry
        if not shape.is_empty
    ]
    if not shapes:
        return ()
    boxes = np.array([shape.bounds for shape in shapes])
    west, south = boxes[:, :2].min(axis=0) - _MARGIN_M
    east, north = boxes[:, 2:].max(axis=0) + _MARGIN_M
    for denominator in _SCALES_US if results.units == "us" else _SCALES:
        wide, high = (side * denominator / 1000 for side in PLAN_MM)
        cols, rows = math.ceil((east - west) / wide), math.ceil((north - south) / high)
        if cols * rows <= _MOST_SHEETS:
            break
    left = (west + east - cols * wide) / 2
    top = (south + north + rows * high) / 2
    frames = [
        MapFrame(left + c * wide, top - (r + 1) * high, left + (c + 1) * wide, top - r * high)
        for r in range(rows)
        for c in range(cols)
    ]
    return tuple(frame for frame in frames if _holds(frame, shapes))


def plan_sheet(results: Results, frame: MapFrame, number: int) -> str:
    """Draw one plan sheet as one ``<svg>`` element."""
    svg: str = results.drawn(
        _plan_sheet, frame, number,
        frames=layers_near(results, frame, _SHOWN), rasters=("hillshade",),
    )  # fmt: skip
    return svg


def _plan_sheet(results: Results, frame: MapFrame, number: int) -> str:
    sheet = Sheet(results, frame, letters=1.4, size_mm=PLAN_MM)
    for name in _SHOWN[:5]:
        sheet.draw(name)
    contours = results.layer("contours")
    if contours is not None:
        sheet.label_lines(contours[contours["index"]], "level_m", "contours", rank=9)
    sheet.draw("elements", label=True)
    sheet.draw("overflows")
    sheet.key_plan("boundary")
    return sheet.svg(f"sheet-{number}")


def detail(results: Results, name: str) -> tuple[str, ...]:
    """Draw long and cross sections of an element with its levels and heights, an SVG a sheet.

    Every level and height is one of the element's own numbers. Of a tank only these are drawn.
    """
    cuts, elements = results.table("profiles"), results.layer("elements")
    row = None if elements is None else elements[elements["element_id"] == name]
    if row is None or not len(row):
        return ()
    levels_m = _levels_m(results, row.iloc[0])
    mine = None if cuts is None else cuts[cuts["element_id"] == name]
    if row.iloc[0]["kind"] == "tank":
        return (_vessel(results, name, levels_m),)
    return () if mine is None or not len(mine) else sections(results, name, mine, levels_m)


def _holds(frame: MapFrame, shapes: list[Any]) -> bool:
    ground = shapely.box(*frame.bounds)
    return any(shape.intersects(ground) for shape in shapes)


def _levels_m(results: Results, row: Any) -> dict[str, float]:  # noqa: ANN401 - a row
    """Return the levels of an element and of the pipes out of it, by what they are [m]."""
    if row["kind"] == "drain":  # its levels fall with it
        return {}
    names = {
        "floor": "floor_level_m", "sill": "spill_level_m", "highest water": "peak_level_m",
        "crest, settled": "crest_level_m",
    }  # fmt: skip
    found = {words: float(row[column]) for words, column in names.items()}
    overflows = results.layer("overflows")
    if overflows is not None:
        pipes = overflows[(overflows["from_id"] == row["element_id"])
                          & overflows["diameter_mm"].notna()]  # fmt: skip
        found |= {
            f"{way['outlet']}, bottom": float(way["crest_level_m"]) for _, way in pipes.iterrows()
        }
    return {words: level for words, level in found.items() if math.isfinite(level)}


def _vessel(results: Results, name: str, levels_m: dict[str, float]) -> str:
    """Draw the levels of a tank, as a diagram that has no scale across."""
    level = shown("level", results.units)
    shown_levels = {words: value * level.per_si for words, value in levels_m.items()}
    low, high = shown_levels["floor"], max(shown_levels.values())
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(PLAN_MM[0] / 25.4, 2.2), facecolor="none")
        axes = figure.add_axes((0.06, 0.08, 0.3, 0.76))
        axes.plot([0.2, 0.2, 0.8, 0.8], [high, low, low, high], color=INK.light, linewidth=1.6)
        axes.set_xlim(0, 1)
        axes.set_ylim(low - 0.1 * (high - low), high + 0.1 * (high - low))
        axes.set_xticks([])
        axes.tick_params(labelsize=9, colors=QUIET.light, length=2, width=0.5)
        axes.set_title("Levels, no scale across", fontsize=9, loc="left", color=INK.light)
        named_levels(axes, shown_levels, f" {level.symbol}")
        return svg_of(figure, f"vessel-{word(name)}")
