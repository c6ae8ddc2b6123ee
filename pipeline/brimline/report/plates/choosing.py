"""Plates that help to choose: where ponds pay."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import matplotlib as mpl
from matplotlib.figure import Figure

from brimline.report.costs import money
from brimline.report.palette import BLUE, INK, RULE_LINE
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.svg import SETTINGS, svg_of
from brimline.units import counted, shown

if TYPE_CHECKING:
    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results


_SIZE_IN: Final = (180 / 25.4, 2.6)


def pond_sites(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the places where a bank holds most water for its earth."""
    sites = results.layer("pond_sites")
    if sites is None or not len(sites):
        return None
    sheet = Sheet(results, frame)
    sheet.draw("contours", only="Index contour")
    for name in ("flow_paths", "keep_out", "boundary", "pond_banks"):
        sheet.draw(name)
    sheet.draw("pond_sites", label=True)
    volume, best = shown("volume", results.units), sites.iloc[0]
    seldom = int((sites["fills_pct"] < 50).sum())
    return Plate(
        "pond-sites",
        "Where ponds would pay",
        sheet.svg("pond-sites"),
        "Map of places for ponds with their banks, numbered from the best, over flow paths.",
        f"{counted(len(sites), 'place')} where a bank holds most for its earth; {best['site_id']}"
        f" holds {volume.text(float(best['storage_m3']))}, {best['storage_per_earth']:.1f} times"
        f" its fill. "
        + (f"{seldom} would fill in fewer than half of the years. " if seldom else "")
        + "Proposals from the survey alone: ground, law and who lives below decide.",
    )


def searched(results: Results, frame: MapFrame) -> Plate | None:  # noqa: ARG001 - not a map
    """Draw what the cheapest designs cost against the water that they keep."""
    table = results.table("searched_designs")
    if table is None or not table["holds"].all():
        return None
    volume, currency = shown("volume", results.units), results.parameter("rates", "currency")
    kept = table["kept_m3"].to_numpy(dtype=float) * volume.per_si
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=_SIZE_IN, facecolor="none")
        axes = figure.add_axes((0.1, 0.19, 0.87, 0.76))
        axes.plot(kept, table["cost"], color=BLUE.light, linewidth=1.2, marker="o", markersize=4)
        for x, row in zip(kept, table.itertuples(index=False), strict=True):
            axes.annotate(
                str(row.design_id), (x, row.cost), xytext=(4, -8), textcoords="offset points",
                color=INK.light,
            )  # fmt: skip
        axes.set_xlabel(f"kept of the design storm [{volume.symbol}]", color=INK.light)
        axes.set_ylabel(f"cost before contingency [{currency or '-'}]", color=INK.light)
        axes.tick_params(colors=INK.light)
        axes.grid(color=RULE_LINE.light, linewidth=0.5)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        svg = svg_of(figure, "searched")
    first, last = table.iloc[0], table.iloc[-1]
    return Plate(
        "searched",
        "What more water kept costs",
        svg,
        "Curve of the cost of the cheapest designs against what they keep of the design storm.",
        f"{counted(len(table), 'design')} that hold in the design storm and the check storms and"
        f" that none found beats: {first['design_id']} keeps {volume.text(first['kept_m3'])} for"
        f" {money(first['cost'], currency or '')}, {last['design_id']}"
        f" {volume.text(last['kept_m3'])} for {money(last['cost'], currency or '')}. Between two"
        " points others may do; what was not free stays as drawn.",
    )
