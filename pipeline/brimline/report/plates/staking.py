"""Drawings of a staking sheet: an element in plan with its stakes, and its sections."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from brimline.report import backdrop
from brimline.report.palette import (
    BLUE,
    BROWN,
    INK,
    PURPLE,
    QUIET,
    RED,
    RULE_LINE,
    VERMILION,
    Mark,
    Rule,
)
from brimline.report.plates import labels
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame
    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.report.palette import Ink
    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_LONG_IN: Final = 1.75
_SHORT_IN: Final = 1.55
_COLUMNS: Final = 3
_MARGIN_M: Final = 4.0
_HAIR_M: Final = 1e-3
_LEAST_SHARE: Final = 0.45  # of the longer side of the plan that the shorter one has at least
_LOOKS: Final[tuple[tuple[str, str, Ink], ...]] = (
    ("floor", "Floor", INK),
    ("edge", "Edge", BLUE),
    ("plane", "Plane", INK),
    ("crest", "Crest", PURPLE),
    ("sill", "End of a sill", RED),
    ("dip", "Dip in a path", RED),
    ("trench", "Bottom of a trench", INK),
    ("pit", "Bottom of a pit", INK),
    ("mark", "Line", INK),
)
_EXAGGERATED: Final = (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)


def role_of(role: str) -> str:
    """Return a role without the number behind it."""
    return role.rstrip("0123456789")


def stakes_plan(results: Results, name: str, stakes: GeoDataFrame) -> str:
    """Draw an element from above with its stakes, as one ``<svg>`` element."""
    sheet = Sheet(results, _around(results, stakes), to_scale=False)
    for other in ("contours", "keep_out", "boundary"):
        sheet.draw(other)
    if (stakes["role"] == "mark").any():
        for other in ("swale_lines", "drain_lines", "keylines"):
            sheet.draw(other)
    for other in ("pads", "elements"):
        sheet.draw(other, unfilled=True)
    sheet.draw("overflows")
    on_line = stakes["offset_m"] == 0
    sheet.rule(Rule("Offset stake", mark=Mark(QUIET, "circle", 3.5)), stakes[~on_line])
    roles = stakes["role"].map(role_of)
    for role, title, ink in _LOOKS:
        chosen = stakes[on_line & (roles == role)]
        mark = Mark(ink, "square" if role == "sill" else "cross", 5.0)
        sheet.rule(Rule(title, mark=mark), chosen)
        for row in chosen.itertuples(index=False):
            x, y = sheet.xy(row.geometry.x, row.geometry.y)
            sheet.label(
                short(row.stake_id, name),
                lambda w, h, x=x, y=y: labels.around(x, y, w, h, 2.5),  # type: ignore[misc]
                colour=ink.light,
                size=6.0,
                rank=0.5 if role == "sill" else 2.0 if role == "crest" else 1.0,
            )
    return sheet.svg(f"plan-{_word(name)}")


def short(stake_id: str, name: str) -> str:
    """Return a stake's name without that of its element."""
    return stake_id.removeprefix(f"{name}-")


def _word(name: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in name)


def _around(results: Results, stakes: GeoDataFrame) -> MapFrame:
    west, south, east, north = stakes.total_bounds
    low = np.array((west, south)) - _MARGIN_M
    high = np.array((east, north)) + _MARGIN_M
    short_m = np.maximum(_LEAST_SHARE * (high - low).max() - (high - low), 0) / 2
    (west, south), (east, north) = low - short_m, high + short_m
    # whole cells, which are wide on a sheet of so little ground; a hair less, to touch no others
    grid = results.grid
    rows, cols = backdrop.window(grid, (west, south, east, north))
    cut = grid.window(rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start)
    west, south, east, north = cut.bounds
    return MapFrame(west + _HAIR_M, south + _HAIR_M, east - _HAIR_M, north - _HAIR_M)


def sections(
    results: Results, name: str, cuts: DataFrame, stakes: GeoDataFrame, water_m: Mapping[str, float]
) -> str:
    """Draw sections along, then across an element, as one ``<svg>`` element.

    Parameters
    ----------
    cuts : rows of the table of profiles.
    water_m : levels to show, by what they are [m].
    """
    ordered = [
        (title, rows)
        for wanted in ("along", "across", "sill")
        for title, rows in cuts[cuts["kind"] == wanted].groupby("profile", sort=False)
    ]
    long = [one for one in ordered if (one[1]["kind"] == "along").all()]
    rest = [one for one in ordered if not (one[1]["kind"] == "along").all()]
    rows = math.ceil(len(rest) / _COLUMNS)
    height = 0.25 + len(long) * _LONG_IN + rows * _SHORT_IN
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        for number, (title, part) in enumerate(long):
            bottom = height - (number + 1) * _LONG_IN + 0.25
            axes = figure.add_axes((0.07, bottom / height, 0.91, (_LONG_IN - 0.62) / height))
            _section(axes, results, str(title), part, water_m)
            _stations(axes, results, name, str(title), stakes)
        for number, (title, part) in enumerate(rest):
            row, column = divmod(number, _COLUMNS)
            bottom = height - len(long) * _LONG_IN - (row + 1) * _SHORT_IN + 0.22
            place = (0.07 + column * 0.32, bottom / height, 0.27, (_SHORT_IN - 0.52) / height)
            _section(figure.add_axes(place), results, str(title), part, water_m)
        return svg_of(figure, f"sections-{_word(name)}")


def _section(
    axes: Axes, results: Results, title: str, part: DataFrame, water_m: Mapping[str, float]
) -> None:
    """Draw ground, design and the level to build to; what is dug and heaped up between them."""
    level, length = shown("level", results.units), shown("length", results.units)
    at = part["at_m"].to_numpy() * length.per_si
    ground, design, build = (
        part[column].to_numpy() * level.per_si for column in ("ground_m", "design_m", "build_m")
    )
    axes.fill_between(at, design, ground, where=design < ground, interpolate=True,
                      color=VERMILION.light, alpha=0.25, linewidth=0)  # fmt: skip
    axes.fill_between(at, ground, build, where=build > ground, interpolate=True,
                      color=PURPLE.light, alpha=0.22, linewidth=0)  # fmt: skip
    low, high = float(min(ground.min(), design.min())), float(max(ground.max(), build.max()))
    for words, value in water_m.items():
        here = value * level.per_si
        if low - 0.05 * (high - low) <= here <= high + 0.3 * (high - low):
            axes.axhline(here, color=BLUE.light, linewidth=0.6, linestyle=(0, (4, 2)))
            left = words == "sill"
            axes.text(
                at[0 if left else -1], here, f" {words} {here:.2f} ", fontsize=5, color=BLUE.light,
                ha="left" if left else "right", va="top" if left else "bottom",
            )  # fmt: skip
            high = max(high, here)
    axes.plot(at, ground, color=BROWN.light, linewidth=0.8, linestyle=(0, (3, 1.5)))
    axes.plot(at, build, color=PURPLE.light, linewidth=0.7)
    axes.plot(at, design, color=INK.light, linewidth=1.1)
    axes.set_xlim(at[0], at[-1])
    times = _stretch(axes, float(at[-1] - at[0]), low, high)
    title = "along the line" if title == "mark" else title
    axes.set_title(f"{title[0].upper()}{title[1:]} · heights × {times:g}", fontsize=6.5, loc="left",
                   color=INK.light, pad=12 if (part["kind"] == "along").all() else 3)  # fmt: skip
    axes.grid(color=RULE_LINE.light, linewidth=0.4)
    axes.tick_params(labelsize=5.5, colors=QUIET.light, length=2, width=0.5)
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.ticklabel_format(useOffset=False)
    for spine in axes.spines.values():
        spine.set_color(RULE_LINE.light)
    axes.annotate(length.symbol, (1, 0), (2, -9), xycoords="axes fraction", fontsize=5.5,
                  textcoords="offset points", color=QUIET.light)  # fmt: skip


def _stretch(axes: Axes, run: float, low: float, high: float) -> float:
    """Choose a plain factor for heights, and limits in the middle of which the section lies."""
    box = axes.get_position()
    wide, tall = axes.figure.get_size_inches() * (box.width, box.height)  # type: ignore[union-attr]
    fits = tall / wide * run / (1.25 * max(high - low, 1e-6))
    times = max((step for step in _EXAGGERATED if step <= fits), default=fits)
    room = tall / wide * run / times
    middle = (low + high) / 2
    axes.set_ylim(middle - room / 2, middle + room / 2)
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    return float(times)


def _stations(axes: Axes, results: Results, name: str, title: str, stakes: GeoDataFrame) -> None:
    """Mark the stakes along the top of a section that follows them."""
    mine = stakes[(stakes["role"] == title) & (stakes["offset_m"] == 0)]
    length = shown("length", results.units)
    upright = axes.get_xaxis_transform()
    every = _every(mine["chainage_m"].to_numpy())
    for number, row in enumerate(mine.itertuples(index=False)):
        x = row.chainage_m * length.per_si
        axes.plot([x, x], [1, 1.02], color=INK.light, linewidth=0.5, transform=upright,
                  clip_on=False)  # fmt: skip
        if number % every == 0:
            axes.text(x, 1.03, short(row.stake_id, name), fontsize=4.6, rotation=90, ha="center",
                      va="bottom", color=INK.light, transform=upright)  # fmt: skip


def _every(chainage_m: Sequence[float] | np.ndarray) -> int:
    """Name every so many stakes that their names do not run into each other."""
    return max(1, math.ceil(len(chainage_m) / 60))
