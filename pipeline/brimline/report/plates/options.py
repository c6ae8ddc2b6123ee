"""Plates of several designs: each on the same ground, and their figures as bars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure

from brimline.report.palette import BLUE, INK, QUIET
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_SIZE_MM: Final = (120.0, 110.0)
_WIDTH_IN: Final = 180 / 25.4
_COLUMNS: Final = 3
_BAR_IN: Final = 0.2
_HEAD_IN: Final = 0.34


def option_map(results: Results, frame: MapFrame, prefix: str) -> str:
    """Draw the elements of one design and the ways between them, as SVG."""
    sheet = Sheet(results, frame, size_mm=_SIZE_MM)
    sheet.draw("contours", only="Index contour")
    for name in ("boundary", "overflows"):
        sheet.draw(name)
    sheet.draw("elements", label=True)
    return sheet.svg(prefix)


def bars(
    rows: Sequence[Mapping[str, Any]],
    titles: Mapping[str, str],
    text: Any,  # noqa: ANN401 - a function of a figure's name and value
) -> str:
    """Draw every known figure as a bar for each design, with its range, as SVG.

    Parameters
    ----------
    rows : of designs, in their order; `_low` and `_high` beside a figure are its range.
    titles : of the figures, by name.
    text : how a figure is written: of its name and value.
    """
    drawn = [name for name in titles if any(row[name] is not None for row in rows)]
    high_in = _HEAD_IN + _BAR_IN * len(rows)
    lines = -(-len(drawn) // _COLUMNS)
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, lines * high_in), facecolor="none")
        for place, name in enumerate(drawn):
            line, column = divmod(place, _COLUMNS)
            axes = figure.add_axes(
                (
                    (column + 0.03) / _COLUMNS,
                    1 - ((line + 1) * high_in - 0.06) / (lines * high_in),
                    0.94 / _COLUMNS,
                    _BAR_IN * len(rows) / (lines * high_in),
                )
            )
            _one(axes, name, rows, text)
            axes.set_title(titles[name], loc="left", fontsize=7, color=INK.light, pad=3)
        return svg_of(figure, "bars")


def _one(axes: Any, name: str, rows: Sequence[Mapping[str, Any]], text: Any) -> None:  # noqa: ANN401
    most = max(row[key] or 0.0 for row in rows for key in (name, f"{name}_high")) or 1.0
    for place, row in enumerate(rows):
        y, value = -place, row[name]
        if value is not None:
            axes.barh(y, value, height=0.62, color=BLUE.light, alpha=0.35, linewidth=0)
            low, high = row[f"{name}_low"], row[f"{name}_high"]
            if low is not None:
                axes.plot([low, high], [y, y], color=BLUE.light, linewidth=1.0)
        axes.text(
            0.01 * most, y, f"{row['name']}: {text(name, value)}",
            fontsize=6.3, color=(INK if value is not None else QUIET).light, va="center_baseline",
        )  # fmt: skip
    axes.set_xlim(0, 1.05 * most)
    axes.set_ylim(-len(rows) + 0.5, 0.5)
    axes.set_axis_off()
