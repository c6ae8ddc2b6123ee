"""Drawings of the set: plan sheets that tile the design, and dimensioned sections."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.figure import Figure

from brimline.report.palette import BLUE, BROWN, INK, PURPLE, QUIET, RED
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.report.results import Results

PLAN_MM: Final = (262.0, 138.0)
_MOST_SHEETS: Final = 6
_SCALES: Final = (100, 200, 250, 500, 1000, 1250, 2000, 2500, 5000, 10_000, 20_000, 50_000)
_SCALES_US: Final = tuple(12 * feet for feet in (10, 20, 30, 40, 50, 60, 100, 200, 400, 1000, 5000))
_MARGIN_M: Final = 5.0
_SIZE_IN: Final = (262 / 25.4, 2.75)
_SMALL: Final = 9.0
_LEAST_GAP: Final = 0.075  # of the height, between two names of levels


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
    sheet = Sheet(results, frame, letters=1.4, size_mm=PLAN_MM)
    for name in ("surfaces", "contours", "keep_out", "boundary", "pads"):
        sheet.draw(name)
    contours = results.layer("contours")
    if contours is not None:
        sheet.label_lines(contours[contours["index"]], "level_m", "contours", rank=9)
    sheet.draw("elements", label=True)
    sheet.draw("overflows")
    sheet.key_plan("boundary")
    return sheet.svg(f"sheet-{number}")


def detail(results: Results, name: str) -> str:
    """Draw a section across the middle of an element with its levels and heights; empty without.

    Every dimension is one of the element's own numbers.
    """
    cuts, elements = results.table("profiles"), results.layer("elements")
    if cuts is None or elements is None:
        return ""
    mine = cuts[(cuts["element_id"] == name) & (cuts["kind"] == "across")]
    row = elements[elements["element_id"] == name]
    if not len(mine) or not len(row):
        return ""
    titles = list(dict.fromkeys(mine["profile"]))
    title = titles[len(titles) // 2]
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=_SIZE_IN, facecolor="none")
        axes = figure.add_axes((0.06, 0.12, 0.66, 0.76))
        _cross_section(axes, results, mine[mine["profile"] == title], row.iloc[0])
        axes.set_title(f"{name}: {title}", fontsize=_SMALL + 1, loc="left", color=INK.light)
        return svg_of(figure, "detail-" + "".join(c if c.isalnum() else "-" for c in name))


def _holds(frame: MapFrame, shapes: list[Any]) -> bool:
    ground = shapely.box(*frame.bounds)
    return any(shape.intersects(ground) for shape in shapes)


def _cross_section(axes: Axes, results: Results, cut: DataFrame, row: Any) -> None:  # noqa: ANN401
    level, length = shown("level", results.units), shown("length", results.units)
    at = cut["at_m"].to_numpy() * length.per_si
    ground, design, build = (
        cut[column].to_numpy() * level.per_si for column in ("ground_m", "design_m", "build_m")
    )
    axes.plot(at, ground, color=BROWN.light, linewidth=0.9, linestyle=(0, (3, 1.5)))
    axes.plot(at, build, color=PURPLE.light, linewidth=0.8)
    axes.plot(at, design, color=INK.light, linewidth=1.5)
    levels = {
        words: float(row[column]) * level.per_si
        for words, column in (
            ("floor", "floor_level_m"), ("sill", "spill_level_m"),
            ("highest water", "peak_level_m"), ("crest, settled", "crest_level_m"),
        )
        if row["kind"] != "drain" and row[column] == row[column]
    }  # fmt: skip
    ends = [float(design.min()), float(max(ground.max(), build.max())), *levels.values()]
    low, high = min(ends), max(ends)
    room = 0.12 * max(high - low, 1e-3)
    axes.set_ylim(low - room, high + room)
    axes.set_xlim(at[0], at[-1])
    _named_levels(axes, levels, level.symbol)
    for place, (start, end) in enumerate((("floor", "sill"), ("sill", "crest, settled"))):
        if start in levels and end in levels:
            x = at[0] + (0.04 + 0.07 * place) * (at[-1] - at[0])
            axes.annotate("", (x, levels[end]), (x, levels[start]),
                          arrowprops={"arrowstyle": "<->", "color": RED.light,
                                      "lw": 0.8})  # fmt: skip
            axes.text(x, (levels[start] + levels[end]) / 2,
                      f" {levels[end] - levels[start]:.{level.digits}f}", fontsize=_SMALL,
                      color=RED.light, va="center")  # fmt: skip
    axes.tick_params(labelsize=_SMALL, colors=QUIET.light, length=2, width=0.5)
    axes.ticklabel_format(useOffset=False)


def _named_levels(axes: Axes, levels: dict[str, float], symbol: str) -> None:
    """Draw each level with its name beside the section, names in the order of the levels."""
    bottom, top = axes.get_ylim()
    before = -math.inf
    for words, value in sorted(levels.items(), key=lambda one: one[1]):
        water = words in {"sill", "highest water"}
        colour = BLUE.light if water else INK.light
        axes.axhline(value, color=colour, linewidth=0.6, linestyle=(0, (4, 2)))
        share = max((value - bottom) / (top - bottom), before + _LEAST_GAP)
        axes.annotate(
            f"{words} {value:.3f} {symbol}", (1, (value - bottom) / (top - bottom)),
            (1.03, share), xycoords="axes fraction", textcoords="axes fraction",
            fontsize=_SMALL, color=colour, va="center",
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.5},
        )  # fmt: skip
        before = share
