"""The design in other worlds: what each thing that may be off does to it, the most first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure

from brimline.choose.sensitivity import CURVE, PRICE, TOGETHER
from brimline.elements.building import ITEMS
from brimline.report.costs import money
from brimline.report.palette import BLUE, INK, QUIET, VERMILION
from brimline.report.plates.plate import Plate
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_TITLES: Final = {
    "kept_pct": "Kept of the design storm",
    "over_safe_m": "Water within a freeboard or over a crest, deepest",
    "cost": "Cost before contingency",
    "cost_per_kept": "Cost of each cubic metre kept of the storm",
    "without_mains_worst_pct": "Without mains in the worst year",
}
_WIDTH_IN: Final = 180 / 25.4
_BAR_IN: Final = 0.17
_HEAD_IN: Final = 0.36
_MOST: Final = 8
_FIRST_LETTER: Final = 1


def factor_words(factor: str) -> str:
    """Return what a factor is called in a sentence."""
    if factor.startswith(PRICE):
        title = ITEMS[factor.removeprefix(PRICE)].title
        return "price: " + title[:_FIRST_LETTER].lower() + title[_FIRST_LETTER:]
    return {"catchments": "catchments, by the survey", "earth": "earth, by the survey"}.get(
        factor, factor
    )


def at_words(factor: str, at: float) -> str:
    """Return a value of a factor as people read it; empty where it has none."""
    if at != at or factor in ("catchments", "earth"):
        return ""
    return f"{at:+.0f}" if factor == CURVE else f"× {at:.2f}"


def figure_words(figure: str, value: float, results: Results) -> str:
    """Return a value of a figure in the units that the site is shown in."""
    if figure in ("cost", "cost_per_kept"):
        return money(value, results.parameter("rates", "currency") or "")
    if figure == "over_safe_m":
        return shown("level", results.units).text(value)
    return f"{value:.1f}\N{NO-BREAK SPACE}%"


def sensitivity(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw each figure's factors as bars about what was taken, sorted by what they do."""
    table = results.table("design_sensitivity")
    if table is None:
        return None
    parts = [(name, rows) for name in _TITLES if len(rows := table[table["figure"] == name])]
    if not parts:
        return None
    heights = [_HEAD_IN + _BAR_IN * min(len(rows), _MOST) for _, rows in parts]
    total = sum(heights)
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, total), facecolor="none")
        top = 0.0
        for (name, rows), height in zip(parts, heights, strict=True):
            bottom = 1 - (top + height - 0.03) / total
            axes = figure.add_axes((0.36, bottom, 0.46, (height - _HEAD_IN) / total))
            _bars(axes, name, _sorted(rows), results)
            top += height
        svg = svg_of(figure, "sensitivity")
    return Plate(
        "sensitivity",
        "If the world is another",
        svg,
        "Bars of how far each uncertain thing moves what the design keeps and costs.",
        "Each bar runs from the figure at the low end of one thing's range (pale) to that at its"
        " high end, all else as it was taken; the ends, 5 to 95 %, stand beside it, the line is the"
        " figure as everything was taken. All together: 5 to 95 % of worlds in which everything is"
        " off at once. The design stays as it is.",
    )


def _sorted(rows: DataFrame) -> Sequence[Any]:
    own = rows[rows["factor"] != TOGETHER].sort_values("swing", ascending=False, kind="stable")
    whole = rows[rows["factor"] == TOGETHER]
    kept = own.head(_MOST - len(whole))
    return [*whole.itertuples(index=False), *kept.itertuples(index=False)]


def _bars(axes: Axes, name: str, rows: Sequence[Any], results: Results) -> None:
    base = rows[0].base
    axes.axvline(base, color=INK.light, linewidth=0.7)
    for place, row in enumerate(rows):
        y = -place
        for end, alpha in ((row.low, 0.35), (row.high, 0.8)):
            axes.barh(
                y, end - base, left=base, height=0.62, linewidth=0, alpha=alpha,
                color=(VERMILION if row.factor == TOGETHER else BLUE).light,
            )  # fmt: skip
        ends = [at_words(row.factor, at) for at in (row.low_at, row.high_at)]
        told = f" ({ends[0]} to {ends[1]})" if all(ends) else ""
        words = factor_words(row.factor)
        axes.text(
            -0.02, y, words if len(words) < 46 else f"{words[:44]}…",
            transform=axes.get_yaxis_transform(), ha="right", va="center_baseline", fontsize=6.3,
            color=INK.light,
        )  # fmt: skip
        text = f"{figure_words(name, row.low, results)} to {figure_words(name, row.high, results)}"
        text += ", the line lies outside" if row.outside else ""
        axes.text(
            1.02, y, text + told, transform=axes.get_yaxis_transform(), ha="left",
            va="center_baseline", fontsize=5.6, color=QUIET.light,
        )  # fmt: skip
    axes.set_ylim(-len(rows) + 0.4, 0.6)
    axes.margins(x=0.02)
    axes.set_axis_off()
    axes.set_title(
        f"{_TITLES[name]}: {figure_words(name, base, results)}", loc="left", fontsize=7.5,
        color=INK.light, pad=4, x=-0.78,
    )  # fmt: skip
