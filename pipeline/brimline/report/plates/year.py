"""Water through the year: what meets the demand by month and by year, and what size does."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

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
from brimline.units import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_PARTS: Final = (
    ("rain_m3", "rain in the soil", CYAN),
    ("harvested_m3", "stores and soakage", BLUE_GREEN),
    ("mains_m3", "mains", VERMILION),
    ("deficit_m3", "not met", QUIET),
)
_MONTHS: Final = "JFMAMJJASOND"
_MOST_CURVES: Final = 6
_COLUMNS: Final = 3


def months(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw what meets the demand, by month in the average and the driest year, and by year."""
    table, years = results.table("site_months"), results.table("site_years")
    if table is None:
        return None
    average, driest = (table[mask] for mask in (table["year"].isna(), table["year"].notna()))
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, 4.9), facecolor="none")
        top = max(
            float(rows[[name for name, _, _ in _PARTS]].sum(axis=1).max())
            for rows in (average, driest)
            if len(rows)
        )
        for place, (rows, title) in enumerate(
            ((average, "average year"), (driest, _driest_title(driest)))
        ):
            axes = figure.add_axes((0.075 + 0.47 * place, 0.585, 0.43, 0.34))
            _stacked(axes, rows, results, top)
            axes.set_title(title, fontsize=7.5, color=INK.light, loc="left", pad=4)
        if years is not None:
            _by_year(figure.add_axes((0.075, 0.08, 0.90, 0.30)), years)
        handles, words = figure.axes[0].get_legend_handles_labels()
        figure.legend(
            handles, words, loc=(0.07, 0.455), ncols=4, frameon=False, fontsize=7,
            labelcolor=INK.light,
        )  # fmt: skip
        svg = svg_of(figure, "year")
    return Plate(
        "year",
        "Water through the year",
        svg,
        "Charts of demand by month in an average and the driest year, split by what meets it, and "
        "of the share met without the mains by year.",
        "Above, the demand of all planting and uses by month. Below, the share of each year's "
        "demand met without the mains; the driest year in red, years that the record does not "
        "hold whole are pale.",
    )


def sizes(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw what the size of each tank and pond does."""
    curves = results.table("size_curves")
    if curves is None:
        return None
    names = list(dict.fromkeys(curves["element_id"]))[:_MOST_CURVES]
    rows = math.ceil(len(names) / _COLUMNS)
    answers = results.table("size_answers")
    height = 0.35 + 1.75 * rows
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        for number, name in enumerate(names):
            row, column = divmod(number, _COLUMNS)
            bottom = 1 - (0.3 + 1.75 * (row + 1) - 0.5) / height
            axes = figure.add_axes((0.075 + column * 0.318, bottom, 0.25, 1.2 / height))
            own = None if answers is None else answers[answers["element_id"] == name]
            _curve(axes, results, curves[curves["element_id"] == name], own)
            axes.set_title(str(name), fontsize=7.5, color=INK.light, loc="left", pad=4)
        svg = svg_of(figure, "sizes")
    told = "" if answers is None else " " + " ".join(str(text) for text in answers["text"])
    return Plate(
        "sizes",
        "Where a larger store stops paying",
        svg,
        "Curves of the share of demand met without the mains against the size of each store.",
        "Share of the demand of what draws on each store that is met without the mains, by its "
        "size, the others as drawn. Circle: as drawn; diamond: the smallest that meets the goal; "
        f"dashed line: beyond it a larger store brings too little.{told}",
    )


def _driest_title(driest: DataFrame) -> str:
    return f"driest year, {int(driest['year'].iloc[0])}" if len(driest) else "driest year"


def _stacked(axes: Axes, rows: DataFrame, results: Results, top: float) -> None:
    unit = shown("volume", results.units)
    base = np.zeros(12)
    by_month = rows.set_index("month").reindex(range(1, 13))
    for column, words, ink in _PARTS:
        values = by_month[column].fillna(0).to_numpy() * unit.per_si
        axes.bar(
            np.arange(12), values, bottom=base, width=0.74, color=ink.light, label=words,
            hatch="////" if column == "deficit_m3" else None, edgecolor=PAPER.light, linewidth=0.4,
        )  # fmt: skip
        base = base + values
    axes.set_ylim(0, max(1.06 * top * unit.per_si, 1e-6))
    axes.set_xticks(np.arange(12), list(_MONTHS))
    axes.set_ylabel(unit.symbol, color=QUIET.light, fontsize=6.5)
    _plain(axes)


def _by_year(axes: Axes, years: DataFrame) -> None:
    own = years[years["year"].notna()].sort_values("year")
    place = np.arange(len(own))
    share = 100 * own["share_without_mains"].to_numpy()
    colours = [RED.light if driest else BLUE.light for driest in own["driest"].fillna(value=False)]
    bars = axes.bar(place, share, width=0.74, color=colours, linewidth=0)
    for bar, whole in zip(bars, own["whole"], strict=True):
        bar.set_alpha(1.0 if whole else 0.35)
    step = max(1, math.ceil(len(own) / 16))
    axes.set_xticks(place[::step], [f"{int(year)}" for year in own["year"].iloc[::step]])
    axes.set_ylim(0, 100)
    axes.set_ylabel("met without mains, %", color=QUIET.light, fontsize=6.5)
    _plain(axes)


def _curve(axes: Axes, results: Results, curve: DataFrame, answer: DataFrame | None) -> None:
    unit = shown("volume", results.units)
    ordered = curve.sort_values("capacity_m3")
    size = ordered["capacity_m3"].to_numpy() * unit.per_si
    share = 100 * ordered["share_without_mains"].to_numpy()
    axes.plot(size, share, color=BLUE.light, linewidth=1.5)
    if answer is not None and len(answer):
        row = answer.iloc[0]
        drawn = float(row["capacity_m3"]) * unit.per_si
        axes.plot(
            [drawn], [100 * float(row["share_without_mains"])], "o", color=INK.light, markersize=4.5
        )
        if row["smallest_m3"] == row["smallest_m3"]:
            least = float(row["smallest_m3"]) * unit.per_si
            goal = [np.interp(least, size, share)]
            axes.plot([least], goal, "D", color=BLUE_GREEN.light, markersize=5)
        axes.axhline(100 * float(row["goal_share"]), color=BLUE_GREEN.light, linewidth=0.7)
        pays = float(row["pays_until_m3"]) * unit.per_si
        axes.axvline(pays, color=VERMILION.light, linewidth=0.9, linestyle=(0, (4, 2)))
    axes.set_ylim(0, 104)
    axes.set_xlim(0, float(size.max()) if len(size) else 1)
    axes.set_xlabel(unit.symbol, color=QUIET.light, fontsize=6.5, labelpad=1)
    axes.set_ylabel("%", color=QUIET.light, fontsize=6.5, labelpad=1)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=4))
    _plain(axes)


def _plain(axes: Axes) -> None:
    axes.patch.set_visible(False)
    axes.tick_params(colors=QUIET.light, labelsize=6, length=2, pad=1.5)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4))
    axes.grid(axis="y", color=RULE_LINE.light, linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(RULE_LINE.light)
