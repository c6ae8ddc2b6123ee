"""Drawings of a staking sheet: an element in plan with its stakes, and its sections."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator
from shapely import LineString

from brimline.report.palette import (
    BLUE,
    BROWN,
    INK,
    PAPER,
    PURPLE,
    QUIET,
    RED,
    RULE_LINE,
    VERMILION,
    LineStyle,
    Mark,
    Rule,
)
from brimline.report.plates import labels
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.nearby import layers_near
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

_PLAN_MM: Final = (262.0, 118.0)  # of a landscape page, beside its head and the levels
_LETTERS: Final = 1.5  # nothing that a crew reads is smaller than 9 points
_WIDTH_IN: Final = 262 / 25.4
_HIGHEST_IN: Final = 6.1
_SMALL: Final = 9.0  # points
_LONG_IN: Final = 2.6
_SHORT_IN: Final = 1.9
_COLUMNS: Final = 3
_COLUMNS_DIMENSIONED: Final = 2
_SHOWN: Final = (
    "contours", "keep_out", "boundary", "swale_lines", "drain_lines", "keylines", "pads",
    "elements", "overflows",
)  # fmt: skip
_DIGITS: Final = 3  # of levels that are drawn, as they are written beside
_LONG: Final = 2  # sections over the whole width; further ones, as of an outfall, are short
_MARGIN_M: Final = 4.0
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
    ("base", "Floor of a bed", INK),
    ("mark", "Line", INK),
)
_METRES: Final = re.compile(r"(\d+\.\d) m\b")  # in the name of a section
_WATER: Final = frozenset({"sill", "highest water", "water"})
_EXAGGERATED: Final = (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)


def role_of(role: str) -> str:
    """Return a role without the number behind it."""
    return role.rstrip("0123456789")


def stakes_plan(
    results: Results,
    name: str,
    stakes: GeoDataFrame,
    baseline: Sequence[tuple[float, float]] = (),
) -> str:
    """Draw an element from above with its stakes, as one ``<svg>`` element.

    Parameters
    ----------
    baseline : its two ends, easting and northing [m]; drawn where it crosses the sheet.
    """
    stakes = stakes[["stake_id", "role", "offset_m", "geometry"]]
    ends = [[float(x), float(y)] for x, y in baseline]
    svg: str = results.drawn(
        _stakes_plan, name, stakes, ends,
        frames=layers_near(results, _around(stakes), _SHOWN), rasters=("hillshade",),
    )  # fmt: skip
    return svg


def _stakes_plan(
    results: Results, name: str, stakes: GeoDataFrame, baseline: Sequence[Sequence[float]]
) -> str:
    sheet = Sheet(results, _around(stakes), letters=_LETTERS, size_mm=_PLAN_MM)
    for other in ("contours", "keep_out", "boundary"):
        sheet.draw(other)
    if (stakes["role"] == "mark").any():
        for other in ("swale_lines", "drain_lines", "keylines"):
            sheet.draw(other)
    for other in ("pads", "elements"):
        sheet.draw(other, unfilled=True)
    sheet.draw("overflows")
    if len(baseline) == 2:
        line = gpd.GeoDataFrame(geometry=[LineString(baseline)], crs=stakes.crs)
        sheet.rule(Rule("Baseline", line=LineStyle(INK, 1.2, (9, 3, 2, 3))), line)
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
                size=6.2,
                rank=0.5 if role == "sill" else 2.0 if role == "crest" else 1.0,
            )
    sheet.key_plan("boundary")
    return sheet.svg(f"plan-{word(name)}")


def short(stake_id: str, name: str) -> str:
    """Return a stake's name without that of its element."""
    return stake_id.removeprefix(f"{name}-")


def word(name: str) -> str:
    """Return a name as an identifier may hold it."""
    return "".join(letter if letter.isalnum() else "-" for letter in name)


def _around(stakes: GeoDataFrame) -> MapFrame:
    west, south, east, north = stakes.total_bounds
    low = np.array((west, south)) - _MARGIN_M
    high = np.array((east, north)) + _MARGIN_M
    short_m = np.maximum(_LEAST_SHARE * (high - low).max() - (high - low), 0) / 2
    (west, south), (east, north) = low - short_m, high + short_m
    return MapFrame(*map(float, (west, south, east, north)))


def sections(
    results: Results,
    name: str,
    cuts: DataFrame,
    levels_m: Mapping[str, float],
    stakes: GeoDataFrame | None = None,
) -> tuple[str, ...]:
    """Draw sections along, then across an element, as one ``<svg>`` element a page.

    Parameters
    ----------
    cuts : rows of the table of profiles.
    levels_m : levels to show, by what they are [m].
    stakes : those named along sections that follow them; without, sections are dimensioned.
    """
    levels = {words: round(value, _DIGITS) for words, value in levels_m.items()}
    if stakes is not None:
        stakes = stakes[["stake_id", "role", "offset_m", "chainage_m"]]
    pages: list[str] = results.drawn(_sections, name, cuts, levels, stakes)
    return tuple(pages)


def _sections(
    results: Results,
    name: str,
    cuts: DataFrame,
    levels_m: Mapping[str, float],
    stakes: GeoDataFrame | None,
) -> list[str]:
    ordered = [
        (str(title), rows)
        for wanted in ("along", "across", "sill", "dip")
        for title, rows in cuts[cuts["kind"] == wanted].groupby("profile", sort=False)
    ]
    long = [one for one in ordered if (one[1]["kind"] == "along").all()][:_LONG]
    rest = ordered[len(long) :]
    rows = [(_LONG_IN, [one]) for one in long]
    columns = _COLUMNS if stakes is not None else _COLUMNS_DIMENSIONED
    rows += [(_SHORT_IN, rest[at : at + columns]) for at in range(0, len(rest), columns)]
    pages: list[list[tuple[float, list[tuple[str, DataFrame]]]]] = []
    for row in rows:
        if not pages or sum(high for high, _ in (*pages[-1], row)) > _HIGHEST_IN:
            pages.append([])
        pages[-1].append(row)
    return [
        _section_page(results, name, number, page, levels_m, stakes)
        for number, page in enumerate(pages, 1)
    ]


def _section_page(
    results: Results,
    name: str,
    number: int,
    rows: Sequence[tuple[float, list[tuple[str, DataFrame]]]],
    levels_m: Mapping[str, float],
    stakes: GeoDataFrame | None,
) -> str:
    """Draw rows of sections, each over the whole width or several beside each other."""
    height = sum(high for high, _ in rows) + 0.1
    bottom = height
    pitch, share = (0.325, 0.205) if stakes is not None else (0.49, 0.27)
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        for high, parts in rows:
            bottom -= high
            along = high == _LONG_IN
            for column, (title, part) in enumerate(parts):
                left, wide = (0.06, 0.76) if along else (0.06 + column * pitch, share)
                room = high - (0.95 if along and stakes is not None else 0.62)
                axes = figure.add_axes((left, (bottom + 0.3) / height, wide, room / height))
                told = along or stakes is None
                seen = _section(axes, results, title, part, levels_m, told=told)
                if stakes is None:
                    _dimensions(axes, results, seen)
                if along and stakes is not None:
                    _stations(axes, results, name, title, stakes)
        return svg_of(figure, f"sections-{word(name)}-{number}")


def _section(
    axes: Axes,
    results: Results,
    title: str,
    part: DataFrame,
    levels_m: Mapping[str, float],
    *,
    told: bool,
) -> dict[str, float]:
    """Draw ground, design and the level to build to; what is dug and heaped up between them.

    Parameters
    ----------
    told : whether the names of levels come with their values.

    Returns
    -------
    The levels that lie within the section, in the unit shown.
    """
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
    seen = {
        words: value * level.per_si
        for words, value in levels_m.items()
        if low - 0.05 * (high - low) <= value * level.per_si <= high + 0.3 * (high - low)
    }
    high = max(high, *seen.values(), high)
    axes.plot(at, ground, color=BROWN.light, linewidth=0.8, linestyle=(0, (3, 1.5)))
    axes.plot(at, build, color=PURPLE.light, linewidth=0.7)
    axes.plot(at, design, color=INK.light, linewidth=1.1)
    axes.set_xlim(at[0], at[-1])
    times = _stretch(axes, float(at[-1] - at[0]), low, high)
    if told:
        named_levels(axes, seen, f" {level.symbol}")
    else:  # beside a small section is room for a word
        named_levels(axes, {words.rsplit(" ", 1)[-1]: value for words, value in seen.items()}, "")
    title = "along the line" if title == "mark" else title
    title = _METRES.sub(lambda found: length.text(float(found[1])), title)
    words = f"{title[0].upper()}{title[1:]} · heights × {times:g}"
    axes.set_title(words, fontsize=_SMALL, loc="left", color=INK.light,
                   pad=3)  # fmt: skip
    axes.grid(color=RULE_LINE.light, linewidth=0.4)
    axes.tick_params(labelsize=_SMALL, colors=QUIET.light, length=2, width=0.5)
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.ticklabel_format(useOffset=False)
    for spine in axes.spines.values():
        spine.set_color(RULE_LINE.light)
    axes.annotate(length.symbol, (1, 0), (2, -11), xycoords="axes fraction", fontsize=_SMALL,
                  textcoords="offset points", color=QUIET.light)  # fmt: skip
    return seen


def named_levels(axes: Axes, levels: Mapping[str, float], unit: str) -> None:
    """Draw levels, each with its name beside the section, names in the order of the levels.

    Parameters
    ----------
    unit : after the value of each; without it only names are written.
    """
    bottom, top = axes.get_ylim()
    box = axes.get_position()
    wide_pt, tall_pt = 72 * axes.figure.get_size_inches() * (box.width, box.height)  # type: ignore[union-attr]
    gap, before = 1.25 * _SMALL / tall_pt, -math.inf
    for words, value in sorted(levels.items(), key=lambda one: one[1]):
        colour = BLUE.light if words in _WATER else INK.light
        axes.axhline(value, color=colour, linewidth=0.7, linestyle=(0, (4, 2)))
        share = (value - bottom) / (top - bottom)
        place = max(share, before + gap)
        axes.annotate(
            f"{words} {value:.3f}{unit}" if unit else words, (1, share), (1 + 10 / wide_pt, place),
            xycoords="axes fraction", textcoords="axes fraction", fontsize=_SMALL, color=colour,
            va="center",
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.5, "relpos": (0, 0.5)},
        )  # fmt: skip
        before = place


def _dimensions(axes: Axes, results: Results, levels: Mapping[str, float]) -> None:
    """Draw the heights from floor to sill and from sill to crest where they have room to be read.

    Parameters
    ----------
    levels : those drawn, in the unit shown.
    """
    level = shown("level", results.units)
    left, right = axes.get_xlim()
    bottom, top = axes.get_ylim()
    tall_pt = 72 * axes.get_position().height * axes.figure.get_size_inches()[1]  # type: ignore[union-attr]
    for place, ends in enumerate((("floor", "sill"), ("sill", "crest, settled"))):
        if not levels.keys() >= set(ends):
            continue
        low, high = (levels[one] for one in ends)
        if (high - low) / (top - bottom) * tall_pt < 1.1 * _SMALL:
            continue
        x = left + (0.03 + 0.12 * place) * (right - left)
        axes.annotate(
            "",
            (x, high),
            (x, low),
            arrowprops={
                "arrowstyle": "<->",
                "color": RED.light,
                "lw": 0.8,
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )
        axes.text(x, (low + high) / 2, f" {high - low:.{level.digits}f}", fontsize=_SMALL,
                  color=RED.light, va="center",
                  path_effects=[withStroke(linewidth=2.0, foreground=PAPER.light)])  # fmt: skip


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
    if len(mine):
        axes.set_title(axes.get_title(loc="left"), fontsize=_SMALL, loc="left", color=INK.light,
                       pad=32)  # fmt: skip
    every = _every(mine["chainage_m"].to_numpy())
    for number, row in enumerate(mine.itertuples(index=False)):
        x = row.chainage_m * length.per_si
        axes.plot([x, x], [1, 1.02], color=INK.light, linewidth=0.5, transform=upright,
                  clip_on=False)  # fmt: skip
        if number % every == 0:
            axes.text(x, 1.03, short(row.stake_id, name), fontsize=_SMALL, rotation=90, ha="center",
                      va="bottom", color=INK.light, transform=upright)  # fmt: skip


def _every(chainage_m: Sequence[float] | np.ndarray) -> int:
    """Name every so many stakes that their names do not run into each other."""
    return max(1, math.ceil(len(chainage_m) / 45))
