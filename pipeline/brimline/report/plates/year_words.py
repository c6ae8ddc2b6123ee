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


def worst_of(years: DataFrame) -> Series | None:
    """Return the worst year, or None where the record holds no whole one."""
    rows = years[years["worst"].fillna(value=False).astype(bool)]
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
    average, worst = average_of(years), worst_of(years)
    if is_made_up(years):
        told = "Weather made up from monthly normals: real dry years are drier."
        lines.append(("", told, True))
    if average is None:
        return lines
    if average["watered_demand_m3"] > 0:
        words = "of what watering needs beyond rain comes from stores in an average year"
        words += _rest(average, "watered_", rain=True)
        if worst is not None:
            words += f"; in {int(worst['year'])} {_pct(worst['share_harvested_of_need'])}"
        lines.append((_pct(average["share_harvested_of_need"]), words, False))
    words = "of what all planting and uses need is met by rain and stores in an average year"
    lines.append((_pct(average["share_without_mains"]), words + _rest(average), False))
    if worst is not None:
        words = f"in the worst year, {int(worst['year'])}{_rain(results, years, worst)}"
        lines.append((_pct(worst["share_without_mains"]), words + _rest(worst), False))
    rain_fed = average["share_rain_fed_met"]
    if rain_fed == rain_fed:
        words = "of what the planting needs that nothing waters is met by rain and soakage"
        if worst is not None:
            words += f"; in {int(worst['year'])} {_pct(worst['share_rain_fed_met'])}"
        lines.append((_pct(rain_fed), words, False))
    return lines


def _rain(results: Results, years: DataFrame, worst: Series) -> str:
    """Rain of the worst year, and the year of least rain where that is another."""
    unit = shown("rain", results.units)
    told = f", with {unit.text(float(worst['rain_mm']))} of rain"
    if worst["driest"]:
        return told + ", the least of all"
    least = years[years["driest"].fillna(value=False).astype(bool)].iloc[0]
    return f"{told} (least rain: {int(least['year'])}, {unit.text(float(least['rain_mm']))})"


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


def _rest(year: Series, part: str = "", *, rain: bool = False) -> str:
    """Shares of a demand that mains meet and that stays unmet; of what rain leaves of it."""
    need = float(year[f"{part}demand_m3"]) - (float(year[f"{part}rain_m3"]) if rain else 0.0)
    if need <= 0:
        return ""
    mains, unmet = (100 * float(year[part + name]) / need for name in ("mains_m3", "deficit_m3"))
    return f" (mains {mains:.0f}\N{NO-BREAK SPACE}%, not met {unmet:.0f}\N{NO-BREAK SPACE}%)"


def _pct(share: float) -> str:
    return f"{100 * float(share):.0f}\N{NO-BREAK SPACE}%"
