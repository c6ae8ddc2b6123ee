"""Layers and tables as rows of text, in the units shown, with the meaning of each column."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from brimline.layers import CATALOGUE, Layer, Table
from brimline.report.costs import costs, money
from brimline.report.quantities import UNKNOWN, number, unit_for

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brimline.layers import Column
    from brimline.report.results import Results

MOST_ROWS: Final = 60
_WHOLE: Final = frozenset({"bill", "building_steps"})  # part of a bill is no bill


@dataclass(frozen=True, slots=True)
class Heading:
    """The head of a column: its words, its unit as shown, and what it means."""

    words: str
    unit: str
    meaning: str
    is_number: bool


@dataclass(frozen=True, slots=True)
class PrintedTable:
    """A table to print.

    Parameters
    ----------
    left_out : rows beyond the first `MOST_ROWS`, which are in the GeoPackage only.
    sums : places of the rows that sum up others.
    """

    name: str
    title: str
    meaning: str
    headings: tuple[Heading, ...]
    rows: tuple[tuple[str, ...], ...]
    left_out: int
    sums: frozenset[int] = frozenset()


# what the report prints, and the columns that a reader needs on paper
_PRINTED: Final[dict[str, tuple[str, ...]]] = {
    "as_built_findings": ("rank", "element_id", "storm", "text", "mend"),
    "as_built_elements": (
        "element_id", "verdict", "passed", "failed", "not_decided", "not_surveyed",
        "spill_level_design_m",
        "spill_level_built_m", "sill_uneven_m", "storage_design_m3", "storage_built_m3",
        "storage_pct", "dry_height_m", "new_flags",
    ),
    "as_built_sills": (
        "element_id", "sill", "level_verdict", "even_verdict", "design_m", "mean_m", "lowest_m",
        "uneven_m", "lowest_at_m", "mend",
    ),
    "as_built_stakes": (
        "stake_id", "verdict", "design_m", "built_m", "difference_m", "tolerance_m", "mend",
        "because",
    ),
    "intakes": (
        "intake_id", "name", "area_m2", "own_area_m2", "area_low_m2", "area_high_m2", "level_m",
        "snap_m", "downstream_id", "flag",
    ),
    "subcatchments": (
        "intake_id", "area_m2", "own_area_m2", "mean_slope_pct", "relief_m", "longest_path_m",
        "inside_pct", "edge_limited",
    ),
    "obstructions": ("name", "kind", "height_m", "flag"),
    "hollows": ("hollow_id", "area_m2", "depth_m", "volume_m3", "spill_level_m", "kept"),
    "pond_sites": (
        "site_id", "kind", "pays", "storage_m3", "fill_m3", "storage_per_earth", "depth_m",
        "bank_height_m", "bank_length_m", "catchment_m2", "fills_pct", "commands_m2",
        "spill_side", "building_m", "soil", "flag",
    ),
    "pond_curves": (
        "site_id", "depth_m", "level_m", "storage_m3", "water_m2", "fill_m3",
        "storage_per_earth", "bank_height_m", "bank_length_m",
    ),
    "searched_designs": (
        "design_id", "cost", "kept_m3", "kept_pct", "further_water_cost", "offered", "holds",
        "flag",
    ),
    "searched_sizes": (
        "design_id", "element_id", "dimension", "value_now", "value", "lowest", "highest",
    ),
    "design_sensitivity": (
        "figure", "factor", "low_at", "high_at", "base", "low", "high", "swing",
    ),
    "swale_lines": (
        "swale_id", "level_m", "length_m", "level_error_m", "mean_slope_pct", "spacing_m",
        "catchment_m2", "depth_m", "kept_m2", "rank", "flag",
    ),
    "drain_lines": (
        "drain_id", "from_level_m", "to_level_m", "length_m", "fall_pct", "fall_error_m", "flag",
    ),
    "keypoints": (
        "keypoint_id", "valley_id", "level_m", "slope_above_pct", "slope_below_pct", "confidence",
    ),
    "cultivation_families": (
        "keyline_id", "side", "lines", "length_m", "fall_to_ridge_pct", "share_right_pct", "flag",
    ),
    "elements": (
        "element_id", "kind", "spill_level_m", "crest_level_m", "storage_m3", "peak_level_m",
        "drawdown_h", "spills_to", "flag",
    ),
    "overflows": (
        "from_id", "to_id", "outlet", "crest_level_m", "drop_m", "peak_m3_s", "sill_width_m",
        "sill_head_m", "diameter_mm", "flag",
    ),
    "storm_results": (
        "storm", "element_id", "outside_m3", "received_m3", "inflow_peak_m3_s", "peak_level_m",
        "dry_height_m", "soaked_m3", "spilled_m3", "drawdown_h", "flag",
    ),
    "storm_balance": (
        "storm", "start_m3", "outside_m3", "left_m3", "soaked_m3", "end_m3", "residual_m3",
    ),
    "check_storms": (
        "case", "storm", "element_id", "failure", "first_id", "first_h", "over_m", "follows",
        "overtopped_m3", "notes",
    ),
    "check_high_end": (
        "case", "storm", "failure", "first_id", "first_h", "over_m", "follows", "overtopped_m3",
        "notes",
    ),
    "bank_hazards": (
        "element_id", "height_m", "water_m", "held_m3", "height_volume_m4", "rating_m2_s",
        "building_id", "building_m", "road_id", "road_m", "leaves_m", "emergency_way", "flag",
    ),
    "zones": (
        "zone_id", "planting", "area_m2", "irrigated", "demand_m3", "mains_m3", "deficit_m3",
        "share_without_mains", "share_without_mains_worst", "flag",
    ),
    "tracks": (
        "track_id", "width_m", "length_m", "direct_m", "grade_pct", "cross_pct", "radius_m",
        "cut_m3", "crossings", "flag",
    ),
    "track_crossings": (
        "crossing_id", "chainage_m", "area_m2", "peak_m3_s", "way", "barrels", "diameter_mm",
        "flag",
    ),
    "zone_reading": (
        "zone_id", "sun_class", "sun_season_h", "sun_winter_h", "cold_class", "cold_share",
        "wind_class", "shelter_deg", "wet_share", "dry_share", "springs", "depth_class", "depth_m",
        "dug_share", "slope_class", "slope_pct", "faces", "machine_share", "soil_loss_t_ha",
    ),
    "springs": ("spring_id", "level_m", "area_m2", "wetness", "above_pct", "below_pct"),
    "zone_plants": ("zone_id", "plant", "suits_share", "lacks"),
    "plant_schedule": (
        "zone_id", "plant", "kind", "size", "count", "price_each", "price", "left_out",
    ),
    "zone_ages": (
        "zone_id", "age_y", "demand_m3", "mains_m3", "deficit_m3", "share_without_mains",
        "share_without_mains_worst", "lives",
    ),
    "care": ("year", "month", "subject", "what", "minutes", "every_y"),
    "size_answers": (
        "element_id", "serves", "capacity_m3", "share_without_mains", "share_of_days", "goal_share",
        "goal_by", "smallest_m3", "pays_until_m3",
    ),
    "year_sensitivity": (
        "case", "demand_m3", "harvested_m3", "mains_m3", "share_without_mains",
        "share_without_mains_worst",
    ),
    "design_proof": (
        "element_id", "spill_level_m", "brim_level_m", "meant_id", "reached_id", "holds_m3",
        "storage_m3", "flag",
    ),
    "flood_levels": (
        "element_id", "cascade_peak_m", "flood_peak_m", "difference_m", "speed_m_s",
    ),
    "earth_volumes": (
        "element_id", "cut_m3", "cut_error_m3", "fill_m3", "fill_error_m3", "built_m3",
        "deepest_m", "highest_m", "topsoil_m3", "spoil_m3", "fill_needed_m3", "flag",
    ),
    "spoil_hauls": ("from_id", "to_id", "kind", "bank_m3", "loose_m3", "distance_m"),
    "building_steps": ("step", "action", "element_id", "to_id", "flag"),
    "bill": ("step", "element_id", "title", "note", "amount", "unit", "rate", "cost"),
    "drain_results": (
        "storm", "element_id", "fall_pct", "capacity_m3_s", "peak_m3_s", "flow_depth_m",
        "speed_m_s", "permissible_m_s", "travel_min", "flag",
    ),
    "design_sizes": (
        "storm", "element_id", "dimension", "unit", "value_before", "value_sized", "lowest",
        "highest", "bound", "goal_met", "flag",
    ),
    "advice": ("rank", "element_id", "code", "text", "mend", "does", "why_none"),
    "cascade_findings": ("storm", "element_id", "code", "text"),
    "cascade_mends": ("element_id", "code", "changed_id", "text"),
}  # fmt: skip


def printed(results: Results) -> tuple[PrintedTable, ...]:
    """Return the tables that the report prints, in the catalogue's order."""
    found = []
    for name, columns in _PRINTED.items():
        item = CATALOGUE.get(name)
        frame = results.table(name)
        if frame is not None and isinstance(item, Layer | Table):
            sheet = _sheet(results, item, columns)
            found.append(_summed(results, sheet) if name == "bill" else sheet)
    return tuple(found)


def chosen(results: Results, name: str, columns: tuple[str, ...]) -> PrintedTable | None:
    """Return some columns of a layer or table, in the catalogue's order; None without rows."""
    item = CATALOGUE.get(name)
    if results.table(name) is None or not isinstance(item, Layer | Table):
        return None
    return _sheet(results, item, columns)


def glossary(printed: Iterable[PrintedTable]) -> tuple[tuple[str, str], ...]:
    """Return what each head of the printed tables means, once, by the alphabet."""
    told = {(head.words, head.meaning) for table in printed for head in table.headings}
    return tuple(sorted(told, key=lambda one: (one[0].lower(), one[1])))


def _summed(results: Results, bill: PrintedTable) -> PrintedTable:
    """Put a sum beneath the rows of each element, and all works, contingency and range at the end.

    Sums are of the exact costs, not of what is printed.
    """
    found = costs(results)
    if found is None:
        return bill
    place = [head.words for head in bill.headings].index("Element id")
    rows: list[tuple[str, ...]] = []
    sums: set[int] = set()

    def add(words: str, amount: float | None) -> None:
        told = ["" for _ in bill.headings]
        told[place], told[-1] = words, money(amount, found.currency)
        sums.add(len(rows))
        rows.append(tuple(told))

    for one in found.elements:
        mine = [row for row in bill.rows if row[place] == one.element_id]
        rows += mine
        if len(mine) > 1:
            add(f"{one.element_id}, together", one.cost)
    add("All works", found.works)
    add(f"Contingency, {found.contingency_pct:g} %", found.contingency)
    add("Works and contingency", found.total)
    add(f"Likely least, {found.below_pct:g} % below", found.low)
    add(f"Likely most, {found.above_pct:g} % above", found.high)
    return replace(bill, rows=tuple(rows), sums=frozenset(sums))


def head_of(column: Column) -> str:
    """Return what stands over a column: its own words, else its name without the unit."""
    name = column.name.removesuffix(_suffix(column.unit))
    return column.head or name.replace("_", " ").capitalize()


def _sheet(results: Results, item: Layer | Table, columns: tuple[str, ...]) -> PrintedTable:
    frame = results.frames[item.name]
    shown = frame if item.name in _WHOLE else frame.head(MOST_ROWS)
    headings: list[Heading] = []
    cells: list[list[str]] = []
    for column in (c for c in item.columns if c.name in columns and c.name in frame.columns):
        unit = unit_for(column, results.units, frame[column.name])
        symbol = unit.symbol if unit else ""
        is_number = column.dtype in {"int", "float"}
        headings.append(Heading(head_of(column), symbol, column.meaning, is_number))
        told = [number(value, unit, column.dtype) for value in shown[column.name]]
        cells.append([_no_flag(text) for text in told] if column.name == "flag" else told)
    rows = tuple(zip(*cells, strict=True))
    return PrintedTable(
        item.name, item.title, item.meaning, tuple(headings), rows, len(frame) - len(shown)
    )


def _no_flag(text: str) -> str:
    return "" if text == UNKNOWN else text


def _suffix(unit: str) -> str:
    return {
        "m": "_m", "m²": "_m2", "m³": "_m3", "%": "_pct", "mm": "_mm", "mm/h": "_mm_per_h",
        "m³/s": "_m3_s", "h": "_h", "m/s": "_m_s",
    }.get(unit, "\0")  # fmt: skip
