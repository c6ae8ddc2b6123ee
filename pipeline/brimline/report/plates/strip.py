"""The strip beneath a map: legend, scale bar, north arrow, CRS and date."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from matplotlib.patches import Polygon, Rectangle

from brimline.report.palette import INK, PAPER, QUIET, RULE_LINE
from brimline.report.plates.classes import class_titles, ramp_title
from brimline.report.plates.pens import MARKERS, MM, PX, dashes, text_width_pt
from brimline.units import FOOT_M

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes

    from brimline.report.palette import Rule
    from brimline.report.ramps import Ramp
    from brimline.report.results import Results

_ROW_MM: Final = 4.6
_MOST_COLUMNS: Final = 4
_SIGN_MM: Final = 9.0  # of a column, for what stands before the words
_SCALE_MM: Final = 52.0  # of the width, for scale, arrow and date; the rest is the legend
_LEAST_MM: Final = 17.0
_BAR_MM: Final = 36.0  # longest scale bar


class Strip:
    """Gathers the legend while a map is drawn, then draws everything beneath the map.

    Parameters
    ----------
    scale : of the printed map in words; empty where it is printed at no particular one.
    width_mm : of the sheet.
    letters : size of what is written, as a share of the usual.
    """

    def __init__(
        self, results: Results, scale: str = "", width_mm: float = 180.0, letters: float = 1.0
    ) -> None:
        self._results = results
        self._scale = scale
        self._legend_mm = width_mm - _SCALE_MM
        self._letters = letters
        self._head = ""
        self._entries: dict[str, Callable[[Axes, float, float], None]] = {}

    def add(self, title: str, rule: Rule, kind: str) -> None:
        """Add an entry for a rule, once; `kind` is area, line or point."""
        self._entries.setdefault(title, lambda axes, x, y: _swatch(axes, x, y, rule, kind))

    def add_ramp(self, ramp: Ramp) -> None:
        """Add an entry for each class of a ramp."""

        def patch(colour: str) -> Callable[[Axes, float, float], None]:
            return lambda axes, x, y: _patch(axes, x, y, colour)

        self._head = ramp_title(ramp)
        self._entries[self._head] = lambda *_: None  # without a patch
        for title, colour in class_titles(self._results, ramp):
            self._entries[title] = patch(colour)

    @property
    def height_mm(self) -> float:
        """How high the strip must be [mm]."""
        rows = math.ceil(len(self._entries) / self._columns)
        return max(_LEAST_MM, rows * _ROW_MM + 4.0)

    @property
    def _columns(self) -> int:
        """How many columns the longest words leave room for."""
        size = 6.5 * self._letters
        longest = max(
            (text_width_pt(title, size) / MM + (0 if title == self._head else _SIGN_MM)
             for title in self._entries),
            default=0.0,
        )  # fmt: skip
        room = int(self._legend_mm / (longest + 1)) if longest else _MOST_COLUMNS
        return max(1, min(_MOST_COLUMNS, room))

    def draw(self, axes: Axes, width_mm: float, mm_a_metre: float) -> None:
        """Draw on axes that fill the strip.

        Parameters
        ----------
        mm_a_metre : scale of the map on the sheet.
        """
        height = self.height_mm
        axes.set_xlim(0, width_mm)
        axes.set_ylim(0, height)
        axes.axis("off")
        columns = self._columns
        rows = max(1, math.ceil(len(self._entries) / columns))
        for number, (title, draw) in enumerate(self._entries.items()):
            column, row = divmod(number, rows)
            x, y = 1 + column * self._legend_mm / columns, height - 4.5 - row * _ROW_MM
            draw(axes, x, y)
            axes.text(
                x + (0 if title == self._head else _SIGN_MM), y, title,
                fontsize=6.5 * self._letters, color=INK.light, va="center_baseline",
            )  # fmt: skip
        x = self._legend_mm + 4
        us = self._results.units == "us"
        _scale_bar(axes, x, height - 7.5, mm_a_metre, us=us, letters=self._letters)
        north_deg = self._results.parameter("sun", "grid_north_deg") or 0.0
        _north_arrow(axes, (width_mm - 5, height - 7.2), north_deg, self._letters)
        day = self._results.date if self._letters <= 1 else ""  # else the head of the page has it
        told = (self._scale, self._results.crs_text, day)
        note = " · ".join(word for word in told if word)
        axes.text(x, height - 14.2, note, fontsize=5.8 * self._letters, color=QUIET.light,
                  va="center_baseline")  # fmt: skip


def nice_below(value: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1, 2, 5) if step * power <= value * (1 + 1e-9))


def _scale_bar(
    axes: Axes, x: float, y: float, mm_a_metre: float, *, us: bool, letters: float
) -> None:
    mm_a_unit = mm_a_metre * (FOOT_M if us else 1.0)
    length = nice_below(_BAR_MM / mm_a_unit)
    half = length * mm_a_unit / 2
    for part, colour in ((0, INK.light), (1, PAPER.light)):
        corner = (x + part * half, y)
        axes.add_artist(
            Rectangle(corner, half, 1.3, facecolor=colour, edgecolor=INK.light, linewidth=0.5)
        )
    words = {0.0: "0", 0.5: f"{length / 2:g}", 1.0: f"{length:g} {'ft' if us else 'm'}"}
    for share, text in words.items():
        at = x + 2 * half * share
        axes.text(at, y + 2.6, text, fontsize=6 * letters, color=INK.light, ha="center",
                  va="center_baseline")  # fmt: skip


def _patch(axes: Axes, x: float, y: float, colour: str) -> None:
    patch = Rectangle(
        (x, y - 1.3), 7, 2.6, facecolor=colour, edgecolor=RULE_LINE.light, linewidth=0.5
    )
    patch.set_gid(f"ramp-{colour[1:]}")
    axes.add_artist(patch)


def _swatch(axes: Axes, x: float, y: float, rule: Rule, kind: str) -> None:
    if kind == "point" and rule.mark is not None:
        axes.plot(
            [x + 3.5],
            [y],
            marker=MARKERS[rule.mark.shape],
            markersize=rule.mark.size_px * PX,
            markerfacecolor=rule.mark.ink.light,
            markeredgecolor=rule.mark.ink.light,
        )
        return
    line = rule.line
    if kind == "area":
        fill = rule.fill
        hatched = fill is not None and fill.hatch == "slash"
        if fill is not None:
            axes.add_artist(
                Rectangle(
                    (x, y - 1.3),
                    7,
                    2.6,
                    linewidth=0,
                    alpha=fill.opacity,
                    facecolor="none" if hatched else fill.ink.light,
                    edgecolor=fill.ink.light,
                    hatch="////" if hatched else None,
                )
            )
        if line is not None:
            axes.add_artist(
                Rectangle(
                    (x, y - 1.3),
                    7,
                    2.6,
                    fill=False,
                    edgecolor=line.ink.light,
                    linewidth=line.width_px * PX,
                    linestyle=dashes(line.dash_px, line.width_px),
                )
            )
    elif line is not None:
        axes.plot(
            [x, x + 7],
            [y, y],
            color=line.ink.light,
            linewidth=line.width_px * PX,
            linestyle=dashes(line.dash_px, line.width_px),
            solid_capstyle="butt",
        )
        if line.arrow:
            axes.add_artist(
                Polygon(
                    [(x + 7, y), (x + 5.2, y + 0.8), (x + 5.2, y - 0.8)],
                    facecolor=line.ink.light,
                    linewidth=0,
                )
            )


def _north_arrow(
    axes: Axes, at: tuple[float, float], grid_north_deg: float, letters: float
) -> None:
    """Point to the north, which lies left of up by the bearing of the grid's upward axis."""
    turn = math.radians(grid_north_deg)

    def turned(*points: tuple[float, float]) -> list[tuple[float, float]]:
        return [
            (at[0] + x * math.cos(turn) - y * math.sin(turn),
             at[1] + x * math.sin(turn) + y * math.cos(turn))
            for x, y in points
        ]  # fmt: skip

    axes.add_artist(
        Polygon(turned((0, 3.2), (-1.7, -3.3), (0, -1.8)), facecolor=INK.light, linewidth=0)
    )
    axes.add_artist(
        Polygon(
            turned((0, 3.2), (1.7, -3.3), (0, -1.8)),
            facecolor=PAPER.light,
            edgecolor=INK.light,
            linewidth=0.5,
        )
    )
    ((x, y),) = turned((0, 4.8))
    axes.text(
        x,
        y,
        "N",
        fontsize=max(7.0, 7.0 * letters),
        fontweight="bold",
        color=INK.light,
        ha="center",
        va="center_baseline",
    )
