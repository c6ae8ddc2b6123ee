"""What was built against the design: where it fails, and by how much each level is off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from brimline.report.palette import BLUE_GREEN, INK, QUIET, RED, RULE_LINE
from brimline.report.plates import labels
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

    from brimline.report.results import Results

_WIDTH_IN: Final = 180 / 25.4
_ROW_IN: Final = 0.19
_MOST_ROWS: Final = 28
_TOLD: Final = 3  # findings in the caption
_CM_PER_M: Final = 100.0
_IN_PER_M: Final = 1 / 0.0254


def plan(results: Results, frame: MapFrame) -> Plate | None:
    """Draw elements by how they were built, and every level that is off."""
    elements, stakes = results.layer("as_built_elements"), results.layer("as_built_stakes")
    if elements is None or stakes is None:
        return None
    near = MapFrame.around(results, ("as_built_elements", "overflows"), 0.08)
    sheet = Sheet(results, near if near.width_m < frame.width_m else frame)
    for name in ("contours", "keep_out", "boundary"):
        sheet.draw(name, only="Index contour" if name == "contours" else "")
    sheet.draw("overflows")
    sheet.draw("as_built_elements", label=True)
    for title in ("Level fails", "Level not decided", "Level not surveyed"):
        sheet.draw("as_built_stakes", only=title)
    for _, row in _worst(stakes).iterrows():
        _label(sheet, row, results)
    return Plate(
        "as-built",
        "As built: what fails first",
        sheet.svg("as-built"),
        "Map of the elements, coloured by whether they work as built, with levels that are off.",
        _caption(results),
    )


def levels(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw by how much each level is off, by element and what was staked."""
    stakes = results.layer("as_built_stakes")
    if stakes is None or not stakes["difference_m"].notna().any():
        return None
    known = stakes[stakes["difference_m"].notna()]
    groups = _groups(known)
    shown_groups = groups[:_MOST_ROWS]
    per_m, symbol = _scale(results)
    height = 0.62 + _ROW_IN * len(shown_groups)
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="none")
        axes = figure.add_axes((0.24, 0.42 / height, 0.74, 1 - 0.5 / height))
        for place, (_, _, rows) in enumerate(shown_groups):
            _row(axes, place, rows, per_m)
        _dress(axes, shown_groups, symbol)
        most = max(abs(float(v)) for v in axes.get_xlim())
        axes.set_xlim(-most, most)
        svg = svg_of(figure, "as-built-levels")
    left_out = len(groups) - len(shown_groups)
    more = f" {left_out} more rows, with less to say, are in as_built_stakes." if left_out else ""
    return Plate(
        "as-built-levels",
        "Built less designed level",
        svg,
        "Chart of built less designed level of every stake, by element, with the tolerance.",
        "Each dot is a stake: left is too low, right is too high. Grey is the tolerance; red dots"
        f" fail. The row with the largest departure over its tolerance stands first.{more}",
    )


def _label(sheet: Sheet, row: Any, results: Results) -> None:  # noqa: ANN401 - a row
    """Write beside a stake by how much it is off."""
    x, y = sheet.xy(row.geometry.x, row.geometry.y)
    sheet.label(
        _off(float(row["difference_m"]), results),
        lambda width, height: labels.around(x, y, width, height, 4.5),
        colour=RED.light,
        rank=0.5,
    )


def _worst(stakes: DataFrame) -> DataFrame:
    """Pick the level of each element and role that is most off."""
    failing = stakes[stakes["verdict"] == "fail"]
    order = failing["difference_m"].abs().sort_values(ascending=False).index
    return failing.loc[order].drop_duplicates(["element_id", "role"])


def _caption(results: Results) -> str:
    findings, stakes = results.table("as_built_findings"), results.layer("as_built_stakes")
    told = ""
    if stakes is not None:
        count = stakes["verdict"].value_counts()
        told = (
            f"{int(count.get('pass', 0))} levels pass, {int(count.get('fail', 0))} fail, "
            f"{int(count.get('not decided', 0))} are not decided by this survey, "
            f"{int(count.get('not surveyed', 0))} were not surveyed."
        )
    if findings is None:
        return f"{told} Everything that was surveyed is built as designed."
    first = [
        f"{number}. {f'{name}: ' if isinstance(name, str) else ''}{text}."
        for number, (name, text) in enumerate(
            zip(findings["element_id"][:_TOLD], findings["text"][:_TOLD], strict=True), start=1
        )
    ]
    rest = len(findings) - len(first)
    more = f" {rest} more in the table “As built: what fails first”." if rest > 0 else ""
    return " ".join([told, *first]) + more


def _groups(known: DataFrame) -> list[tuple[str, str, DataFrame]]:
    """Return rows of the chart, those furthest over their tolerance first."""
    over = known["difference_m"].abs() / known["tolerance_m"]
    found = [
        (float(over[rows.index].max()), str(name), str(role), rows)
        for (name, role), rows in known.groupby(["element_id", "role"], sort=False)
    ]
    found.sort(key=lambda group: -group[0])
    return [(name, role, rows) for _, name, role, rows in found]


def _row(axes: Axes, place: int, rows: DataFrame, per_m: float) -> None:
    tolerance = float(rows["tolerance_m"].max()) * per_m
    axes.add_patch(
        Rectangle((-tolerance, place - 0.38), 2 * tolerance, 0.76, color=RULE_LINE.light, zorder=1)
    )
    fails = (rows["verdict"] == "fail").to_numpy()
    off = rows["difference_m"].to_numpy() * per_m
    for mask, ink, size in ((~fails, BLUE_GREEN, 9), (fails, RED, 14)):
        axes.scatter(
            off[mask], np.full(int(mask.sum()), place), s=size, color=ink.light, linewidth=0,
            zorder=3,
        )  # fmt: skip


def _dress(axes: Axes, groups: list[tuple[str, str, Any]], symbol: str) -> None:
    axes.set_ylim(len(groups) - 0.5, -0.5)
    words = [f"{name}, {role}" for name, role, _ in groups]
    axes.set_yticks(np.arange(len(groups)), words, color=INK.light)
    axes.set_xlabel(f"built less designed, {symbol}", color=QUIET.light, fontsize=6.5, labelpad=2)
    axes.axvline(0, color=QUIET.light, linewidth=0.7, zorder=2)
    axes.tick_params(axis="x", colors=QUIET.light, labelsize=6, length=2, pad=1.5)
    axes.tick_params(axis="y", labelsize=6.5, length=0, pad=3)
    axes.grid(axis="x", color=RULE_LINE.light, linewidth=0.4)
    axes.set_axisbelow(True)
    axes.patch.set_visible(False)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(RULE_LINE.light)


def _scale(results: Results) -> tuple[float, str]:
    """Centimetres, or inches, for a metre."""
    return (_IN_PER_M, "in") if results.units == "us" else (_CM_PER_M, "cm")


def _off(difference_m: float, results: Results) -> str:
    per_m, symbol = _scale(results)
    size = difference_m * per_m
    return f"{size:+.1f} {symbol}" if abs(size) < 10 else f"{size:+.0f} {symbol}"
