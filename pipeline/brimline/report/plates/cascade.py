"""The overflow cascade: as a plan, and as a diagram with levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Rectangle

from brimline.report.flagged import codes_of
from brimline.report.palette import INK, QUIET, RED, RULE_LINE, WINE, style
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from matplotlib.axes import Axes

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_SPAN: Final = 0.62  # of a column, the width of an element's bar


def plan(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the elements and how they overflow."""
    if results.layer("elements") is None:
        return None
    sheet = Sheet(results, frame)
    sheet.draw("contours", only="Index contour")
    for name in ("surfaces", "flow_paths", "culverts", "keep_out", "boundary"):
        sheet.draw(name)
    sheet.draw("elements", label=True)
    sheet.draw("overflows")
    sheet.draw("discharge_points", label=True)
    return Plate(
        "cascade-plan",
        "The cascade",
        sheet.svg("cascade-plan"),
        "Map of the elements and the overflows between them.",
        "Arrows show where each element spills to when it is full.",
    )


def diagram(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw who spills to whom, against level."""
    elements = results.layer("elements")
    if elements is None or not elements["spill_level_m"].notna().any():
        return None
    known = elements[elements["spill_level_m"].notna()]
    columns = ranks(
        {str(row["element_id"]): str(row["spills_to"] or "") for _, row in elements.iterrows()}
    )
    wide = max(columns.values()) + 1
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, 3.9), facecolor="none")
        axes = figure.add_axes((0.075, 0.05, 0.915, 0.90))
        unit = shown("level", results.units)
        _level_axis(axes, known["spill_level_m"] * unit.per_si, wide, unit.symbol)
        places = _bars(axes, known, columns, results)
        _links(axes, known, places)
        svg = svg_of(figure, "cascade-diagram")
    return Plate(
        "cascade-diagram",
        "The cascade by level",
        svg,
        "Diagram of the elements from the first on the left to the outlet on the right, each at "
        "its spill level, with arrows to the next.",
        "Each bar stands at the level at which the element spills; beneath it, what it stores. "
        "A red bar carries a flag.",
    )


def ranks(spills_to: Mapping[str, str]) -> dict[str, int]:
    """Return how many elements lie upstream of each on its longest chain; rings are cut.

    Parameters
    ----------
    spills_to : element to the one that it spills to; unknown names are outlets.
    """
    found = dict.fromkeys(spills_to, 0)
    for _ in range(len(spills_to)):
        changed = False
        for name, to in spills_to.items():
            if to in found and found[to] < found[name] + 1 <= len(spills_to) - 1:
                found[to] = found[name] + 1
                changed = True
        if not changed:
            break
    return found


def _level_axis(axes: Axes, levels: Any, wide: int, symbol: str) -> None:  # noqa: ANN401
    low, high = float(levels.min()), float(levels.max())
    room = max(high - low, 1.0)
    axes.set_xlim(-0.5, wide - 0.5)
    axes.set_ylim(low - 0.25 * room, high + 0.22 * room)
    axes.set_ylabel(f"Level, {symbol}", color=QUIET.light)
    axes.set_xticks([])
    axes.tick_params(colors=QUIET.light, labelsize=6.5, length=2)
    axes.grid(axis="y", color=RULE_LINE.light, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.patch.set_visible(False)
    for side in ("top", "right", "bottom"):
        axes.spines[side].set_visible(False)
    axes.spines["left"].set_color(RULE_LINE.light)


def _bars(
    axes: Axes,
    known: GeoDataFrame,
    columns: Mapping[str, int],
    results: Results,
) -> dict[str, tuple[float, float]]:
    level, volume = shown("level", results.units), shown("volume", results.units)
    low, high = axes.get_ylim()
    thick = 0.028 * (high - low)
    look = style("elements")
    crowd: dict[int, int] = {}
    places: dict[str, tuple[float, float]] = {}
    for _, row in known.sort_values("spill_level_m", ascending=False).iterrows():
        name = str(row["element_id"])
        column = columns[name]
        shift = 0.0 if crowd.get(column, 0) == 0 else 0.16 * (-1) ** crowd[column]
        crowd[column] = crowd.get(column, 0) + 1
        x, y = column + shift, float(row["spill_level_m"]) * level.per_si
        places[name] = (x, y)
        rule = look.rule(row)
        flagged = bool(codes_of(row["flag"]))
        colour = RED.light if flagged else rule.line.ink.light if rule.line else INK.light
        axes.add_patch(
            Rectangle((x - _SPAN / 2, y - thick), _SPAN, thick, facecolor=colour, linewidth=0)
        )
        axes.text(
            x,
            y + 0.5 * thick,
            f"{name}\n{level.text(float(row['spill_level_m']))}",
            ha="center",
            va="bottom",
            fontsize=6.5,
            color=INK.light,
        )
        if row["storage_m3"] == row["storage_m3"]:
            axes.text(
                x,
                y - 1.6 * thick,
                volume.text(float(row["storage_m3"])),
                ha="center",
                va="top",
                fontsize=6,
                color=QUIET.light,
            )
    return places


def _links(
    axes: Axes,
    known: GeoDataFrame,
    places: Mapping[str, tuple[float, float]],
) -> None:
    for _, row in known.iterrows():
        start, end = places[str(row["element_id"])], places.get(str(row["spills_to"]))
        if end is None:
            continue
        axes.add_patch(
            FancyArrowPatch(
                (start[0] + _SPAN / 2, start[1]),
                (end[0] - _SPAN / 2, end[1]),
                arrowstyle="-|>",
                mutation_scale=8,
                color=WINE.light,
                linewidth=1.1,
                connectionstyle="arc3,rad=-0.08",
                shrinkA=1,
                shrinkB=1,
            )
        )
