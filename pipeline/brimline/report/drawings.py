"""``drawings.html``: the drawing set, a page a sheet, each with its number and title block."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.report import answers, tables
from brimline.report.client_page import phases
from brimline.report.costs import costs
from brimline.report.palette import theme_colours
from brimline.report.plates.details import detail, plan_sheet, tiles
from brimline.report.quantities import flow_of
from brimline.report.templates import environment
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.results import Results
    from brimline.report.tables import PrintedTable

_ROWS_A_PAGE: Final = 24
_ELEMENTS: Final = (
    "element_id", "form", "length_m", "footprint_m2", "floor_level_m", "spill_level_m",
    "crest_level_m", "peak_level_m", "depth_m", "storage_m3", "drawdown_h", "spills_to",
)  # fmt: skip
_OVERFLOWS: Final = (
    "from_id", "to_id", "outlet", "crest_level_m", "drop_m", "peak_m3_s", "sill_width_m",
    "sill_head_m", "diameter_mm",
)  # fmt: skip


def drawings_html(results: Results) -> str:
    """Return the drawing set as one HTML text; empty where the run has no design."""
    elements = results.layer("elements")
    if elements is None:
        return ""
    frames = tiles(results)
    sheets: list[dict[str, Any]] = [
        {
            "title": _numbered("Plan", number, len(frames)),
            "svg": [plan_sheet(results, frame, number)],
        }
        for number, frame in enumerate(frames, 1)
    ]
    kinds = dict(zip(map(str, elements["element_id"]), elements["kind"], strict=True))
    for name, kind in kinds.items():
        pages = detail(results, name)
        sheets += [
            {
                "title": _numbered(f"{name}: sections and details", number, len(pages)),
                "details": [(svg, _ways(results, name) if number == 1 else [])],
                "sections": kind != "tank",
            }
            for number, svg in enumerate(pages, 1)
        ]
    held = {table.name: table for table in tables.printed(results)}
    for table, title in (
        (tables.chosen(results, "elements", _ELEMENTS), "Schedule of elements"),
        (tables.chosen(results, "overflows", _OVERFLOWS), "Schedule of overflows"),
        (held.get("bill"), "Bill of quantities"),
    ):
        if table is not None:
            sheets += _table_sheets(table, title)
    risks = answers.risks(results)
    if risks:
        sheets.append({"title": "Risk register", "risks": risks})
    order = phases(results, costs(results))
    if order:
        sheets.append({"title": "Order of building", "phases": order})
    return (
        environment()
        .get_template("drawings.html.j2")
        .render(
            **results.title_block,
            crs=results.crs_text,
            sheets=sheets,
            cautions=results.cautions,
            light=theme_colours(dark=False),
            sheet="letter" if results.units == "us" else "A4",
        )
    )


def _numbered(title: str, number: int, count: int) -> str:
    return title if count == 1 else f"{title}, {number} of {count}"


def _table_sheets(table: PrintedTable, title: str) -> list[dict[str, Any]]:
    count = -(-len(table.rows) // _ROWS_A_PAGE)
    return [
        {
            "title": _numbered(title, page + 1, count),
            "headings": table.headings,
            "rows": [
                (row, place in table.sums)
                for place, row in enumerate(table.rows)
                if place // _ROWS_A_PAGE == page
            ],
        }
        for page in range(count)
    ]


def _ways(results: Results, name: str) -> list[str]:
    """Return each way out of an element in words, from its own numbers."""
    overflows = results.layer("overflows")
    if overflows is None:
        return []
    level = shown("level", results.units)
    found = []
    for _, way in overflows[overflows["from_id"] == name].iterrows():
        parts = [f"{way['outlet']} to {way['to_id'] or 'nowhere yet'}"]
        if way["sill_width_m"] == way["sill_width_m"]:
            parts.append(f"{level.text(float(way['sill_width_m']))} wide")
        if way["diameter_mm"] == way["diameter_mm"]:
            bore = shown("bore", results.units).text(float(way["diameter_mm"]))
            parts.append(f"{bore} inside")
        parts.append(f"at {level.text(float(way['crest_level_m']))}")
        parts.append(f"head {level.text(float(way['sill_head_m']))} at the greatest flow")
        peak = float(way["peak_m3_s"])
        parts.append(shown(flow_of(peak), results.units).text(peak))
        found.append(", ".join(parts))
    return found
