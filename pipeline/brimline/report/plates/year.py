"""Water through the year on one page: the answer, months and years, and what size does."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from brimline.report.palette import (
    BLUE,
    BLUE_GREEN,
    CYAN,
    INK,
    PAPER,
    QUIET,
    RED,
    RULE_LINE,
    VERMILION,
)
from brimline.report.plates.plate import Plate
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.report.plates.year_words import (
    answers,
    average_of,
    headline,
    is_made_up,
    size_text,
    worst_of,
)
from brimline.units import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame, Series

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_PARTS: Final = (
    ("rain_m3", "rain held by the soil", CYAN),
    ("harvested_m3", "stores and soakage", BLUE_GREEN),
    ("mains_m3", "mains", VERMILION),
    ("deficit_m3", "not met by anything", QUIET),
)
_MONTHS: Final = "JFMAMJJASOND"
_MOST_CURVES: Final = 6
_COLUMNS: Final = 3
# heights of the page's strips, from above [in]
_LINE_IN, _MONTHS_IN, _LEGEND_IN, _YEARS_IN, _CURVES_IN, _KEY_IN = 0.24, 1.95, 0.3, 1.7, 1.72, 0.3


def year(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw the year's answer, what meets the demand, and where a larger store stops paying."""
    table, years = results.table("site_months"), results.table("site_years")
    if table is None or years is None:
        return None
    curves = results.table("size_curves")
    names = [] if curves is None else list(dict.fromkeys(curves["element_id"]))[:_MOST_CURVES]
    rows = math.ceil(len(names) / _COLUMNS)
    lines = headline(results)
    words_in = 0.14 + _LINE_IN * len(lines)
    height = words_in + _MONTHS_IN + _LEGEND_IN + _YEARS_IN + rows * _CURVES_IN
    height += _KEY_IN if rows else 0.1
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        _words(figure, lines, height)
        top = words_in + _MONTHS_IN
        _months(figure, results, table, top, height)
        handles, words = figure.axes[0].get_legend_handles_labels()
        figure.legend(
            handles, words, loc="upper left", ncols=4, frameon=False, fontsize=6.5,
            bbox_to_anchor=(0.06, 1 - (top - 0.02) / height), labelcolor=INK.light,
        )  # fmt: skip
        top += _LEGEND_IN
        bottom = 1 - (top + _YEARS_IN - 0.4) / height
        _by_year(figure.add_axes((0.075, bottom, 0.90, (_YEARS_IN - 0.65) / height)), years)
        top += _YEARS_IN
        if curves is not None:
            _curves(figure, results, curves, names, top, height)
        svg = svg_of(figure, "year")
    return Plate(
        "year",
        "Water through the year" + (" (weather made up)" if is_made_up(years) else ""),
        svg,
        "The share of demand met without the mains in the average and the worst year; charts of "
        "demand by month and by year, split by what meets it; and curves of that share against the "
        "size of each store.",
        _caption(results, years, with_curves=bool(names)),
    )


def _caption(results: Results, years: DataFrame, *, with_curves: bool) -> str:
    told = (
        "Top: demand of all planting and uses by month, and by what it is met; it is what the "
        "planting would take with enough water. Middle: the same by year, in % of the year's "
        "demand"
    )
    told += ", the worst named in red" if worst_of(years) is not None else ""
    told += "; years that the record does not hold whole are pale." if not all(
        years["whole"].fillna(value=True)
    ) else "."  # fmt: skip
    if with_curves:
        told += (
            " Bottom: share of the demand of what draws on each store that is met without mains, "
            "by its size, the others as drawn."
        )
    return " ".join((told, *answers(results)))


def _words(figure: Figure, lines: list[tuple[str, str, bool]], height: float) -> None:
    """Write the answer above everything."""
    for place, (number, words, is_warning) in enumerate(lines):
        ink = RED if is_warning else INK
        y = 1 - (0.2 + _LINE_IN * place) / height
        if number:
            figure.text(0.075, y, number, fontsize=11, weight="bold", color=ink.light, va="center")
        x = 0.155 if number else 0.075
        figure.text(x, y, words, fontsize=7, color=ink.light, va="center")


def _months(figure: Figure, results: Results, table: DataFrame, end: float, height: float) -> None:
    average, worst = (table[mask] for mask in (table["year"].isna(), table["year"].notna()))
    top = max(
        float(rows[[name for name, _, _ in _PARTS]].sum(axis=1).max())
        for rows in (average, worst)
        if len(rows)
    )
    panels = [(average, "average year")]
    if len(worst):
        panels.append((worst, f"worst year, {int(worst['year'].iloc[0])}"))
    bottom = 1 - (end - 0.22) / height
    for place, (rows, title) in enumerate(panels):
        place_in = (0.075 + 0.475 * place, bottom, 0.425, (_MONTHS_IN - 0.55) / height)
        axes = figure.add_axes(place_in)
        _stacked(axes, rows, results, top)
        axes.set_title(title, fontsize=7.5, color=INK.light, loc="left", pad=4)


def _stacked(axes: Axes, rows: DataFrame, results: Results, top: float) -> None:
    unit = shown("volume", results.units)
    by_month = rows.set_index("month").reindex(range(1, 13))
    _bars(axes, [by_month[name].fillna(0).to_numpy() * unit.per_si for name, _, _ in _PARTS])
    axes.set_ylim(0, max(1.06 * top * unit.per_si, 1e-6))
    axes.set_xticks(np.arange(12), list(_MONTHS))
    axes.set_ylabel(f"demand, {unit.symbol} a month", color=QUIET.light, fontsize=6.5)
    _plain(axes)


def _by_year(axes: Axes, years: DataFrame) -> None:
    own = years[years["year"].notna()].sort_values("year")
    demand = own["demand_m3"].where(own["demand_m3"] > 0, 1.0)
    whole = own["whole"].fillna(value=True).to_numpy(dtype=bool)
    shares = [(100 * own[name] / demand).to_numpy() for name, _, _ in _PARTS]
    _bars(axes, shares, whole)
    step = max(1, math.ceil(len(own) / 16))
    named = [f"{int(year)}" for year in own["year"]]
    ticks = set(range(0, len(own), step))
    worst = np.flatnonzero(own["worst"].fillna(value=False).to_numpy(dtype=bool))
    for place in worst.tolist():  # its neighbours give way to it
        ticks = {tick for tick in ticks if abs(tick - place) >= step} | {place}
    shown_ticks = sorted(ticks)
    labels = [named[tick] + ("\nworst" if tick in worst else "") for tick in shown_ticks]
    axes.set_xticks(shown_ticks, labels)
    axes.set_xlim(-0.7, len(own) - 0.3)
    axes.set_ylim(0, 100)
    axes.set_ylabel("% of the year's demand", color=QUIET.light, fontsize=6.5)
    title = "year by year"
    average = average_of(years)
    if average is not None:
        title += "; dotted: met without the mains on average"
        axes.axhline(100 * float(average["share_without_mains"]), color=INK.light, linewidth=0.9,
                     linestyle=(0, (1, 1.5)))  # fmt: skip
    axes.set_title(title, fontsize=7.5, color=INK.light, loc="left", pad=4)
    _plain(axes)
    for tick, label in zip(shown_ticks, axes.get_xticklabels(), strict=True):
        if tick in worst:
            label.set(color=RED.light, weight="bold")


def _bars(axes: Axes, parts: list[np.ndarray], whole: np.ndarray | None = None) -> None:
    """Draw bars of parts on each other; those that are not whole are pale."""
    base = np.zeros(len(parts[0]))
    for (column, words, ink), values in zip(_PARTS, parts, strict=True):
        bars = axes.bar(
            np.arange(len(values)), values, bottom=base, width=0.74, color=ink.light, label=words,
            hatch="////" if column == "deficit_m3" else None, edgecolor=PAPER.light, linewidth=0.3,
        )  # fmt: skip
        for bar, is_whole in zip(bars, () if whole is None else whole, strict=False):
            bar.set_alpha(1.0 if is_whole else 0.35)
        base = base + values


def _curves(
    figure: Figure, results: Results, curves: DataFrame, names: list[str], top: float, height: float
) -> None:
    told = results.table("size_answers")
    for number, name in enumerate(names):
        row, column = divmod(number, _COLUMNS)
        bottom = 1 - (top + (row + 1) * _CURVES_IN - 0.4) / height
        place = (0.075 + column * 0.318, bottom, 0.25, (_CURVES_IN - 0.72) / height)
        axes = figure.add_axes(place)
        own = None if told is None else told[told["element_id"] == name]
        answer = own.iloc[0] if own is not None and len(own) else None
        _curve(axes, results, curves[curves["element_id"] == name], answer)
        axes.set_title(str(name), fontsize=7.5, color=INK.light, loc="left", pad=4)
    for x, style, words in (
        (0.075, {"marker": "o", "color": INK.light}, "as drawn"),
        (0.22, {"marker": "D", "color": BLUE_GREEN.light}, "smallest that meets the goal (line)"),
        (0.54, {"linestyle": (0, (4, 2)), "color": VERMILION.light},
         "beyond it a larger store stops paying"),
    ):  # fmt: skip
        key = figure.add_axes((x, 0.1 / height, 0.03, 0.14 / height))
        key.axis("off")
        key.plot([0, 1] if "linestyle" in style else [0.5], [0.5] * (1 + ("linestyle" in style)),
                 markersize=4, linewidth=0.9, **style)  # fmt: skip
        key.set_ylim(0, 1)
        figure.text(x + 0.035, 0.17 / height, words, fontsize=6.5, va="center", color=INK.light)


def _curve(axes: Axes, results: Results, curve: DataFrame, answer: Series | None) -> None:
    unit = shown("volume", results.units)
    ordered = curve.sort_values("capacity_m3")
    size = ordered["capacity_m3"].to_numpy() * unit.per_si
    by_days = answer is not None and answer["goal_by"] == "days"
    measure = "share_of_days" if by_days else "share_without_mains"
    share = 100 * ordered[measure].to_numpy()
    axes.plot(size, share, color=BLUE.light, linewidth=1.5)
    if answer is not None:
        drawn = float(answer["capacity_m3"]) * unit.per_si
        at = 100 * float(answer[measure])
        axes.plot([drawn], [at], "o", color=INK.light, markersize=4.5)
        if answer["smallest_m3"] == answer["smallest_m3"]:
            least = float(answer["smallest_m3"]) * unit.per_si
            goal = float(np.interp(least, size, share))
            axes.plot([least], [goal], "D", color=BLUE_GREEN.light, markersize=5)
            _label(axes, size_text(results, answer["smallest_m3"]), least, goal - 7)
        axes.axhline(100 * float(answer["goal_share"]), color=BLUE_GREEN.light, linewidth=0.7)
        pays = float(answer["pays_until_m3"]) * unit.per_si
        axes.axvline(pays, color=VERMILION.light, linewidth=0.9, linestyle=(0, (4, 2)))
        _label(axes, size_text(results, answer["pays_until_m3"]), pays, 6)
    axes.set_ylim(0, 104)
    axes.set_xlim(0, float(size.max()) if len(size) else 1)
    axes.set_xlabel(
        f"size of the store, {unit.symbol}", color=QUIET.light, fontsize=6.5, labelpad=1
    )
    words = "days met without mains, %" if by_days else "met without mains, %"
    axes.set_ylabel(words, color=QUIET.light, fontsize=5.5 if by_days else 6, labelpad=1)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=4))
    axes.xaxis.set_major_formatter(FuncFormatter(_number))
    _plain(axes)


def _label(axes: Axes, text: str, x: float, y: float) -> None:
    """Write a size beside a point of the curve, below it."""
    axes.annotate(text, (x, y), xytext=(3, 0), textcoords="offset points", fontsize=5.5,
                  va="top" if y > 10 else "bottom", color=INK.light)  # fmt: skip


def _plain(axes: Axes) -> None:
    axes.patch.set_visible(False)
    axes.tick_params(colors=QUIET.light, labelsize=6, length=2, pad=1.5)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4))
    axes.yaxis.set_major_formatter(FuncFormatter(_number))
    axes.grid(axis="y", color=RULE_LINE.light, linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(RULE_LINE.light)


def _number(value: float, _: object) -> str:
    """Return a number of an axis in full, thousands apart."""
    return f"{value:,.10g}".replace(",", "\N{NARROW NO-BREAK SPACE}")
