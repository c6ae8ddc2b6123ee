"""The year's answer in words and in the reader's units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from brimline.units import shown

if TYPE_CHECKING:
    from pandas import DataFrame, Series

    from brimline.report.results import Results

_DRIER = "drier climate"


def average_of(years: DataFrame) -> Series | None:
    """Return the average year, or None."""
    rows = years[years["year"].isna()]
    return rows.iloc[0] if len(rows) else None


def driest_of(years: DataFrame) -> Series | None:
    """Return the driest year, or None where the record holds no whole one."""
    rows = years[years["driest"].fillna(value=False).astype(bool)]
    return rows.iloc[0] if len(rows) else None


def is_made_up(years: DataFrame) -> bool:
    """Tell whether the days were made up from monthly normals."""
    return bool((years["weather"] == "made up").any())


def headline(results: Results) -> list[tuple[str, str, bool]]:
    """Return the lines above the charts: a number, what it is, and whether it is a warning."""
    years = results.table("site_years")
    if years is None:
        return []
    lines = []
    average, driest = average_of(years), driest_of(years)
    if average is not None:
        words = "of what planting and uses need is met without the mains in an average year"
        words += _rest(average)
        lines.append((_pct(average["share_without_mains"]), words, False))
    if driest is not None:
        rain = shown("rain", results.units).text(float(driest["rain_mm"]))
        words = f"in the driest, {int(driest['year'])}, with {rain} of rain{_rest(driest)}"
        lines.append((_pct(driest["share_without_mains"]), words, False))
    watered = _watered(results, driest)
    if watered:
        lines.append((*watered, False))
    if is_made_up(years):
        lines.insert(
            0, ("", "Weather made up from monthly normals: real dry years are drier.", True)
        )
    return lines


def answers(results: Results) -> list[str]:
    """Return a sentence for each store that was sized, and one for a drier climate."""
    told, cases = results.table("size_answers"), results.table("year_sensitivity")
    found = [] if told is None else [_sized(results, row) for _, row in told.iterrows()]
    drier = None if cases is None else cases[cases["case"] == _DRIER]
    if drier is not None and len(drier):
        case = drier.iloc[0]
        change = str(case["text"]).rstrip(".")
        found.append(
            f"In a drier climate ({change}), {_pct(case['share_without_mains'])} of the demand"
            " would be met without the mains in an average year."
        )
    return found


def size_text(results: Results, volume_m3: float) -> str:
    """Return the size of a store to three digits, with its unit."""
    unit = shown("volume", results.units)
    value = float(volume_m3) * unit.per_si
    digits = 2 - math.floor(math.log10(value)) if value > 0 else 0
    text = f"{round(value, digits):,.{min(max(digits, 0), 1)}f}"
    return text.replace(",", "\N{NARROW NO-BREAK SPACE}") + f"\N{NO-BREAK SPACE}{unit.symbol}"


def _sized(results: Results, row: Series) -> str:
    smallest, goal = row["smallest_m3"], _pct(row["goal_share"])
    goal += " of days" if row["goal_by"] == "days" else ""
    tried = size_text(results, row["tried_to_m3"])
    enough = (
        f"{goal} need {size_text(results, smallest)}"
        if smallest == smallest
        else f"{goal} are not reached with up to {tried}"
    )
    symbol = shown("volume", results.units).symbol
    worth = f"{float(row['worth_m3_per_y']):g} {symbol} a year"
    pays = float(row["pays_until_m3"])
    if pays <= 0:
        stops = f"no size meets {worth} for each {symbol} of it"
    elif pays >= float(row["tried_to_m3"]):
        stops = f"up to {tried} each further {symbol} still meets {worth}"
    else:
        stops = f"beyond {size_text(results, pays)} each further {symbol} meets less than {worth}"
    return (
        f"{row['element_id']}: with {size_text(results, row['capacity_m3'])},"
        f" {_pct(row['share_without_mains'])} of the demand of {row['serves']} is met without the"
        f" mains; {enough}; {stops}."
    )


def _watered(results: Results, driest: Series | None) -> tuple[str, str] | None:
    """Return what holds for watered planting and uses, where other planting is not watered."""
    zones, years = results.layer("zones"), results.table("zone_years")
    if zones is None or years is None:
        return None
    dry = zones["zone_id"][~zones["irrigated"].astype(bool)]
    rows = years[~years["zone_id"].isin(dry)]
    if dry.empty or rows.empty:
        return None
    parts = ["demand_m3", "rain_m3", "harvested_m3", "mains_m3", "deficit_m3"]
    average = rows[rows["year"].isna()][parts].sum()
    words = f"of what the watered planting and uses alone need{_rest(average)}"
    if driest is not None:
        then = rows[rows["year"] == driest["year"]][parts].sum()
        words += f"; in {int(driest['year'])} {_met(then)}"
    return _met(average), words


def _met(parts: Series) -> str:
    """Return the share of a demand that rain and stores meet."""
    demand = float(parts["demand_m3"])
    without = float(parts["rain_m3"]) + float(parts["harvested_m3"])
    return _pct(min(without / demand, 1.0) if demand > 0 else 1.0)


def _rest(year: Series) -> str:
    demand = float(year["demand_m3"])
    if demand <= 0:
        return ""
    mains, unmet = (100 * float(year[name]) / demand for name in ("mains_m3", "deficit_m3"))
    return f" (mains {mains:.0f}\N{NO-BREAK SPACE}%, not met {unmet:.0f}\N{NO-BREAK SPACE}%)"


def _pct(share: float) -> str:
    return f"{100 * float(share):.0f}\N{NO-BREAK SPACE}%"
