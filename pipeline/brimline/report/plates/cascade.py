"""The overflow cascade: as a plan, and as a diagram with levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Rectangle
from matplotlib.patheffects import withStroke

from brimline.layers.flags import needs_look
from brimline.report.attention import codes_of
from brimline.report.palette import INK, PAPER, QUIET, RED, RULE_LINE, WINE, style
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.report.quantities import flow_of
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_SPAN: Final = 0.54  # of a column, the width of an element's bar


def plan(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the elements and how they overflow, as near as they allow."""
    if results.layer("elements") is None:
        return None
    near = MapFrame.around(results, ("elements", "overflows"), 0.08)
    sheet = Sheet(results, near if near.width_m < frame.width_m else frame)
    for name in ("surfaces", "contours", "flow_paths", "culverts", "keep_out", "boundary"):
        sheet.draw(name)
    contours = results.layer("contours")
    if contours is not None:
        sheet.label_lines(contours[contours["index"]], "level_m", "contours", rank=9)
    sheet.draw("elements", label=True)
    sheet.draw("overflows")
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
    next_of = {
        str(name): str(to) if isinstance(to, str) else ""
        for name, to in zip(known["element_id"], known["spills_to"], strict=True)
    }
    chart = _Diagram(results, known, ranks(next_of))
    return Plate(
        "cascade-diagram",
        "The cascade by level",
        chart.svg(),
        "Diagram of the elements from the first on the left to the outlet on the right, each at "
        "its spill level, with arrows to the next.",
        "Each bar stands at the level at which the element spills; beneath it, what it stores; "
        "on each arrow, the highest flow of any storm, broken where it is a further sill or "
        "pipe to another place. A red bar carries a flag.",
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


class _Diagram:
    """Bars at their levels, column by column down the cascade."""

    def __init__(self, results: Results, known: GeoDataFrame, columns: Mapping[str, int]) -> None:
        self._results = results
        self._known = known
        self._columns = columns
        self._level = shown("level", results.units)
        self._places: dict[str, tuple[float, float]] = {}

    def svg(self) -> str:
        """Return the diagram."""
        with mpl.rc_context(SETTINGS):
            figure = Figure(figsize=(_WIDTH_IN, 3.9), facecolor="none")
            self._axes = figure.add_axes((0.075, 0.03, 0.915, 0.94))
            self._draw_axis()
            for _, row in self._known.sort_values("spill_level_m", ascending=False).iterrows():
                self._bar(row)
            peaks = self._peaks()
            main = {
                (str(name), str(to))
                for name, to in zip(
                    self._known["element_id"], self._known["spills_to"], strict=True
                )
                if isinstance(to, str) and to
            }
            for pair in sorted(main | set(peaks)):
                self._link(*pair, peaks.get(pair), main=pair in main)
            return svg_of(figure, "cascade-diagram")

    def _draw_axis(self) -> None:
        axes, levels = self._axes, self._known["spill_level_m"] * self._level.per_si
        low, high = float(levels.min()), float(levels.max())
        room = max(high - low, 1.0)
        axes.set_xlim(-0.5, max(self._columns.values()) + 1.5)
        axes.set_ylim(low - 0.25 * room, high + 0.22 * room)
        axes.set_ylabel(f"Level, {self._level.symbol}", color=QUIET.light)
        axes.set_xticks([])
        axes.tick_params(colors=QUIET.light, labelsize=6.5, length=2)
        axes.grid(axis="y", color=RULE_LINE.light, linewidth=0.5)
        axes.set_axisbelow(True)
        axes.patch.set_visible(False)
        for side in ("top", "right", "bottom"):
            axes.spines[side].set_visible(False)
        axes.spines["left"].set_color(RULE_LINE.light)
        self._thick = 0.028 * (axes.get_ylim()[1] - axes.get_ylim()[0])

    def _bar(self, row: Any) -> None:  # noqa: ANN401 - a row of the layer
        name = str(row["element_id"])
        x, y = self._free_place(name, float(row["spill_level_m"]) * self._level.per_si)
        self._places[name] = (x, y)
        rule = style("elements").rule(row)
        colour = rule.line.ink.light if rule.line else INK.light
        if needs_look(codes_of(row["flag"])):
            colour = RED.light
        thick = self._thick
        corner = (x - _SPAN / 2, y - thick)
        self._axes.add_artist(Rectangle(corner, _SPAN, thick, facecolor=colour, linewidth=0))
        told = f"{name}\n{self._level.text(float(row['spill_level_m']))}"
        self._text(x, y + 0.5 * thick, told, "bottom")
        if row["storage_m3"] == row["storage_m3"]:
            volume = shown("volume", self._results.units).text(float(row["storage_m3"]))
            self._text(x, y - 1.6 * thick, volume, "top", QUIET.light)

    def _free_place(self, name: str, y: float) -> tuple[float, float]:
        """Step aside where another bar of the column stands at nearly the same level."""
        x = float(self._columns[name])
        near = 5 * self._thick
        while any(
            abs(x - ox) < _SPAN / 2 and abs(y - oy) < near for ox, oy in self._places.values()
        ):
            x += 0.18
        return x, y

    def _peaks(self) -> dict[tuple[str, str], float]:
        overflows = self._results.layer("overflows")
        if overflows is None:
            return {}
        sums = overflows.groupby(["from_id", "to_id"])["peak_m3_s"].max()
        return {
            (str(a), str(b)): float(peak)
            for (a, b), peak in sums.items()
            if str(a) in self._places and str(b)
        }

    def _link(self, name: str, to: str, peak: float | None, *, main: bool) -> None:
        """Draw where an element spills to; broken for a further sill or pipe."""
        x, y = self._places[name]
        start = (x + _SPAN / 2, y)
        if to in self._places:
            end = (self._places[to][0] - _SPAN / 2, self._places[to][1])
        else:  # a discharge point: the water leaves the cascade
            end = (x + _SPAN / 2 + 0.45, y - (4 if main else 5.5) * self._thick)
            self._text(end[0] + 0.06, end[1], to, "center", side="left")
        # one that passes other columns stays above their names
        bend = -0.08 if end[0] - start[0] < 1 else -0.22
        self._axes.add_artist(
            FancyArrowPatch(
                start,
                end,
                arrowstyle="-|>",
                mutation_scale=8,
                color=WINE.light,
                linewidth=1.1 if main else 0.8,
                linestyle="-" if main else (0, (3, 2)),
                connectionstyle=f"arc3,rad={bend}",
                shrinkA=1,
                shrinkB=1,
                zorder=1.5,
            )
        )
        if peak:
            flow = shown(flow_of(peak), self._results.units).text(peak)
            below = (1.7 if main else 2.9) * self._thick
            place = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2 - below)
            if (
                end[0] - start[0] > 1
            ):  # beside where it sets out, clear of the columns that it passes
                place = (start[0] + 0.5 * (1 - _SPAN), start[1] + 1.7 * self._thick)
            if to not in self._places:  # clear of the arrow's head
                place = (place[0] - 0.15, place[1])
            self._text(*place, flow, "center", WINE.light)

    def _text(
        self, x: float, y: float, text: str, upright: str, colour: str = INK.light,
        side: str = "center",
    ) -> None:  # fmt: skip
        self._axes.text(
            x,
            y,
            text,
            ha=side,
            va=upright,
            fontsize=6.3,
            color=colour,
            zorder=4,
            path_effects=[withStroke(linewidth=2.2, foreground=PAPER.light)],
        )
