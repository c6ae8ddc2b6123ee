"""What the design storm does: rain, and the water level of each element by time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from brimline.report.palette import BLUE, BLUE_GREEN, INDIGO, INK, QUIET, RED, RULE_LINE
from brimline.report.plates.plate import Plate
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.report.quantities import flow_of
from brimline.report.storm import busy_until_h
from brimline.units import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.rainfall import Storm
    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_COLUMNS: Final = 3
_MOST: Final = 12
_PANEL_IN: Final = 1.32
_TOP_IN: Final = 1.35


def levels(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw rain and inflow above, and a small chart of level by time for each element."""
    series, elements = results.table("storm_series"), results.layer("elements")
    if series is None or elements is None:
        return None
    storm = str(series["storm"].iloc[0])
    own: DataFrame = series[series["storm"] == storm]
    peaks = own.groupby("element_id", sort=False)["inflow_m3_s"].max()
    names = [str(name) for name in elements["element_id"] if name in peaks.index]
    shown_names = sorted(names, key=lambda name: -peaks[name])[:_MOST]
    shown_names = [name for name in names if name in shown_names]
    end_h = busy_until_h(own)
    rows = math.ceil(len(shown_names) / _COLUMNS)
    height = _TOP_IN + rows * _PANEL_IN + 0.3
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        _flows(figure.add_axes((0.075, 1 - 1.0 / height, 0.87, 0.82 / height)), results, own, end_h)
        for number, name in enumerate(shown_names):
            row, column = divmod(number, _COLUMNS)
            bottom = 1 - (_TOP_IN + (row + 1) * _PANEL_IN - 0.3) / height
            place = (0.075 + column * 0.318, bottom, 0.235, (_PANEL_IN - 0.5) / height)
            row_of = elements[elements["element_id"] == name].iloc[0]
            _panel(figure.add_axes(place), results, own[own["element_id"] == name], row_of, end_h)
        svg = svg_of(figure, "storm-levels")
    left_out = len(names) - len(shown_names)
    more = f" {left_out} elements with smaller inflow are in the tables only." if left_out else ""
    return Plate(
        "storm-levels",
        f"The {storm} storm",
        svg,
        "Charts of water level by time in each element, with the levels at which it spills and "
        "overtops.",
        "Above, what runs into the cascade from outside and what leaves it. Below, water level in "
        "each element; green dashes where it spills, red dashes its crest. Hours from the start "
        f"of the rain.{more}",
    )


def _flows(axes: Axes, results: Results, series: DataFrame, end_h: float) -> None:
    """Draw rain hanging from the top, inflow and outflow of the cascade beneath it."""
    elements = results.frames["elements"]
    inside = set(elements["element_id"])
    last = {
        str(name)
        for name, to in zip(elements["element_id"], elements["spills_to"], strict=True)
        if to not in inside
    }
    total = series.groupby("time_h")[["inflow_m3_s", "outflow_m3_s"]].sum()
    leaving = series[series["element_id"].isin(last)].groupby("time_h")["outflow_m3_s"].sum()
    leaving = leaving.reindex(total.index, fill_value=0.0)  # in a ring nothing leaves
    passed = total["outflow_m3_s"] - leaving
    arriving = (total["inflow_m3_s"] - passed).clip(lower=0)
    unit = shown(flow_of(float(arriving.max())), results.units)
    for values, colour, words in ((arriving, INDIGO, "runs in"), (leaving, BLUE, "leaves")):
        axes.plot(
            values.index, values * unit.per_si, color=colour.light, linewidth=1.3, label=words
        )
    axes.set_ylim(0, max(1.9 * float(arriving.max() * unit.per_si), 1e-6))
    _plain(axes, end_h)
    axes.set_ylabel(unit.symbol, color=QUIET.light, fontsize=6.5)
    axes.legend(frameon=False, fontsize=6.5, loc="center right", labelcolor=INK.light)
    if results.design_storm:
        _rain(axes, results, results.design_storm, end_h)


def _rain(axes: Axes, results: Results, design: Storm, end_h: float) -> None:
    rain = shown("rain", results.units)
    step_h = design.step_s / 3600
    rate = design.depth_mm / step_h * rain.per_si
    hours = (np.arange(len(rate)) + 0.5) * step_h
    top = axes.twinx()
    top.bar(hours, rate, width=step_h * 0.86, color=QUIET.light, alpha=0.55, linewidth=0)
    top.set_ylim(2.6 * float(rate.max()), 0)
    _plain(top, end_h)
    top.grid(visible=False)
    top.set_ylabel(f"rain, {rain.symbol}/h", color=QUIET.light, fontsize=6.5)


def _panel(axes: Axes, results: Results, series: DataFrame, element: Any, end_h: float) -> None:  # noqa: ANN401
    unit = shown("level", results.units)
    level = series["level_m"].to_numpy() * unit.per_si
    axes.plot(series["time_h"], level, color=BLUE.light, linewidth=1.3)
    spill, crest = (
        float(element[column]) * unit.per_si for column in ("spill_level_m", "crest_level_m")
    )
    for value, colour in ((spill, BLUE_GREEN), (crest, RED)):
        axes.axhline(value, color=colour.light, linewidth=0.9, linestyle=(0, (4, 2)))
    low = min(float(np.nanmin(level)), float(element["floor_level_m"]) * unit.per_si)
    high = max(float(np.nanmax(level)), crest)
    bottom = low - 0.02 * (high - low)
    axes.fill_between(series["time_h"], level, bottom, color=BLUE.light, alpha=0.14, lw=0)
    axes.set_ylim(bottom, high + 0.12 * (high - low))
    _plain(axes, end_h)
    axes.set_title(str(element["element_id"]), fontsize=7, color=INK.light, loc="left", pad=3)
    axes.set_ylabel(unit.symbol, color=QUIET.light, fontsize=6.5, labelpad=1.5)


def _plain(axes: Axes, end_h: float) -> None:
    axes.set_xlim(0, end_h)
    axes.patch.set_visible(False)
    axes.tick_params(colors=QUIET.light, labelsize=6, length=2, pad=1.5)
    axes.xaxis.set_major_formatter("{x:g} h")
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4))
    axes.ticklabel_format(axis="y", useOffset=False)
    axes.grid(color=RULE_LINE.light, linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(RULE_LINE.light)
