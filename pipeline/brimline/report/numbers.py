"""The figures of the report as plain values, each computed from the layers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.report.costs import costs
from brimline.report.quantities import NINE_IN_TEN, earth_of, flow_of
from brimline.units import counted, shown

if TYPE_CHECKING:
    from collections.abc import Callable

    from pandas import DataFrame

    from brimline.report.results import Results
    from brimline.units import System


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of the report.

    Parameters
    ----------
    key : unit-suffixed name, stable for machines.
    title : what people read.
    value : SI.
    quantity : of `units.shown`; empty for counts and shares.
    source : the layer or raster that it is computed from.
    note : a few words beneath it.
    """

    key: str
    title: str
    value: float
    quantity: str
    source: str
    note: str = ""

    def text(self, system: System) -> str:
        """Show the value in the units asked for."""
        if self.quantity:
            return shown(self.quantity, system).text(self.value)
        return f"{self.value:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


_COUNTED: Final = {
    "drain_lines": "line",
}


def figures(results: Results) -> tuple[Figure, ...]:
    """Return every headline figure that the run's layers allow, in reading order."""
    found: list[Figure] = []
    for part in _PARTS:
        found += part(results)
    return tuple(found)


def figure(results: Results, key: str) -> Figure | None:
    """Return one figure by its key, or None where the layers do not allow it."""
    return next((f for f in figures(results) if f.key == key), None)


def _site(results: Results) -> list[Figure]:
    found = []
    boundary = results.layer("boundary")
    dem = results.raster("elevation")
    if boundary is not None:
        area_m2 = float(boundary["area_m2"].sum())
        found.append(Figure("site_area_m2", "Site", area_m2, "area", "boundary"))
    if dem is not None:
        inside = np.isfinite(dem)
        if boundary is not None:
            within = inside & cells_inside(boundary.geometry, results.grid)
            inside = within if within.any() else inside
        low, high = float(dem[inside].min()), float(dem[inside].max())
        found += [
            Figure("lowest_m", "Lowest ground", low, "level", "elevation", "inside the boundary"),
            Figure(
                "highest_m", "Highest ground", high, "level", "elevation", "inside the boundary"
            ),
        ]
        slope = results.raster("slope_pct")
        if slope is not None:
            known = inside & np.isfinite(slope)
            found.append(
                Figure(
                    "mean_slope_pct",
                    "Mean slope",
                    float(slope[known].mean(dtype=np.float64)),
                    "slope",
                    "slope_pct",
                    "inside the boundary",
                )
            )
    return found


def _water(results: Results) -> list[Figure]:
    found = []
    intakes = results.layer("intakes")
    if intakes is not None:
        last = intakes[intakes["downstream_id"] == 0]
        note = _range_note(last, results.units)
        found += [
            Figure("intakes", "Intakes", len(intakes), "", "intakes"),
            Figure(
                "gathered_m2",
                "Ground that drains to the intakes",
                float(last["area_m2"].sum()),
                "area",
                "intakes",
                note,
            ),
        ]
    return [*found, *_flow_paths(results), *_hollows(results)]


def _flow_paths(results: Results) -> list[Figure]:
    """Sum what of the flow paths lies on the site; the layer holds those of all ground near it."""
    paths, boundary = results.layer("flow_paths"), results.layer("boundary")
    if paths is None or not len(paths) or boundary is None or not len(boundary):
        return []
    length_m = float(paths.geometry.intersection(boundary.union_all()).length.sum())
    note = "inside the boundary"
    return [Figure("flow_paths_m", "Flow paths", length_m, "length", "flow_paths", note)]


def _hollows(results: Results) -> list[Figure]:
    """Say what hollows hold; inner ones are part of those around them, so only outermost count.

    Of one that the boundary cuts, the share of its water surface inside is taken.
    """
    hollows, boundary = results.layer("hollows"), results.layer("boundary")
    if hollows is None or not len(hollows) or boundary is None or not len(boundary):
        return []
    outer = hollows[hollows["parent_id"] == 0]
    inside = outer.geometry.intersection(boundary.union_all()).area
    share = inside / outer.geometry.area
    held_m3 = float((share * outer["volume_m3"]).sum())
    note = (
        counted(int((share > 0).sum()), "hollow") + " inside the boundary, inner ones counted once"
    )
    return [Figure("hollows_m3", "Hollows hold", held_m3, "volume", "hollows", note)]


def _range_note(rows: Any, system: System) -> str:  # noqa: ANN401 - a frame
    notes = []
    if {"area_low_m2", "area_high_m2"} <= set(rows.columns):
        low, high = rows["area_low_m2"].sum(), rows["area_high_m2"].sum()
        if rows["area_low_m2"].notna().all() and high > 0:
            area = shown("area", system)
            whose = "5 to 95 %" if len(rows) == 1 else "5 to 95 % of each, added up"
            notes.append(f"{whose}: {area.text(float(low))} to {area.text(float(high))}")
    if bool(rows["edge_limited"].any()):
        told = rows["edge_sides"].dropna() if "edge_sides" in rows else ()
        sides = sorted({side for one in told for side in one.split(", ")})
        where = f" in the {', '.join(sides)}" if sides else ""
        notes.append(f"a lower bound: it reaches the edge of the data{where}")
    return "; ".join(notes)


def _lines(results: Results) -> list[Figure]:
    found = _proposed_rows(results)
    found += _sum(
        results, "drain_lines", "drain_lines_m", "Proposed drain lines", "length_m", "length"
    )
    keypoints = results.layer("keypoints")
    if keypoints is not None:
        found.append(Figure("keypoints", "Keypoints", len(keypoints), "", "keypoints"))
    lines = results.layer("cultivation_lines")
    if lines is not None:
        right = right_way_pct(lines)
        share = "" if right is None else f"{right:.0f} % of length falls from valley to ridge"
        found.append(
            Figure(
                "cultivation_lines_m",
                "Proposed cultivation lines",
                float(lines["length_m"].sum()),
                "length",
                "cultivation_lines",
                share,
            )
        )
    return found


def _proposed_rows(results: Results) -> list[Figure]:
    """Sum rows that are proposed; those that a person drew are elements, and told as such."""
    rows = results.layer("swale_lines")
    if rows is None:
        return []
    rows = rows[~rows["drawn"].fillna(value=False).astype(bool)]
    if not len(rows):
        return []
    length_m, note = float(rows["length_m"].sum()), counted(len(rows), "line")
    title = "Proposed swale lines"
    return [Figure("swale_lines_m", title, length_m, "length", "swale_lines", note)]


def right_way_pct(lines: DataFrame) -> float | None:
    """Share of the length of cultivation lines that falls to a ridge, where it is known [%]."""
    known = lines[lines["share_right_pct"].notna()]
    if not known["length_m"].sum() > 0:
        return None
    return float(np.average(known["share_right_pct"], weights=known["length_m"]))


def _works(results: Results) -> list[Figure]:
    found = []
    design = results.design_storm
    if design:
        note = f"{design.name}, {design.duration_h:g} h"
        found.append(
            Figure("design_rain_mm", "Design storm", design.total_mm, "rain", "storms", note)
        )
    found += _storage(results)
    balance = results.table("storm_balance")
    if balance is not None:
        row, volume = balance.iloc[0], shown("volume", results.units)
        note = f"{row['storm']} storm"
        before, after = (volume.text(float(row[f"{when}_m3"])) for when in ("start", "end"))
        found += [
            Figure(key, title, float(row[column]), "volume", "storm_balance", told)
            for key, column, title, told in (
                ("storm_arrives_m3", "outside_m3", "Runs into the elements", note),
                (
                    "storm_soaked_m3",
                    "soaked_m3",
                    "Soaks into the ground",
                    f"{note}; in store {before} before, {after} afterwards",
                ),
                ("storm_leaves_m3", "left_m3", "Leaves by the last outlet", note),
            )
        ]
    overflows = results.layer("overflows")
    if overflows is not None and overflows["peak_m3_s"].notna().any():
        most = float(overflows["peak_m3_s"].max())
        found.append(
            Figure("largest_overflow_m3_s", "Largest overflow", most, flow_of(most), "overflows")
        )
    return found


def _storage(results: Results) -> list[Figure]:
    """Sum what elements keep from a storm; a drain only passes water on."""
    elements = results.layer("elements")
    if elements is None:
        return []
    drains = elements["kind"] == "drain"
    kept, passing = (float(elements["storage_m3"][rows].sum()) for rows in (~drains, drains))
    note = counted(int((~drains).sum()), "element")
    if passing > 0:
        passes = shown("volume", results.units).text(passing)
        note += f"; {passes} in {counted(int(drains.sum()), 'drain')} pass on"
    return [Figure("storage_m3", "Elements keep", kept, "volume", "elements", note)]


def _year(results: Results) -> list[Figure]:
    """Return what the stores give, apart from what rain gives; `docs/year.md` defines each."""
    years = results.table("site_years")
    if years is None:
        return []
    made_up = ", of made-up weather" if (years["weather"] == "made up").any() else ""
    average = years[years["year"].isna()]
    if not len(average):
        return []
    row, worst = average.iloc[0], years[years["worst"].fillna(value=False).astype(bool)]

    def share(key: str, title: str, column: str) -> Figure:
        note = "in an average year"
        if len(worst):
            then = worst.iloc[0]
            note += f"; {100 * float(then[column]):.0f} % in the worst, {int(then['year'])}"
        return Figure(key, title, float(row[column]), "share", "site_years", note + made_up)

    found = []
    if row["watered_demand_m3"] > 0:
        need = float(row["watered_demand_m3"] - row["watered_rain_m3"])
        title, note = "Watering needs beyond rain", f"in an average year{made_up}"
        found += [
            Figure("watering_need_m3", title, need, "volume", "site_years", note),
            share("harvested_of_need", "Of it from stores", "share_harvested_of_need"),
        ]
    found.append(share("share_without_mains", "Met by rain and stores", "share_without_mains"))
    if row["share_rain_fed_met"] == row["share_rain_fed_met"]:
        title = "Met where nothing is watered"
        found.append(share("share_rain_fed_met", title, "share_rain_fed_met"))
    avoided = float(row["mains_avoided_m3"])
    litres = (_litres(avoided) if results.units == "metric" else "") + made_up
    volume_words = shown("volume", results.units)
    passed = volume_words.text(float(row["passed_on_m3"]))
    kept = volume_words.text(float(row["caught_m3"] - row["passed_on_m3"]))
    for key, title, value, note in (
        ("mains_avoided_m3", "Mains water avoided a year", avoided, litres.removeprefix(", ")),
        (
            "caught_m3",
            "Comes into stores a year",
            float(row["caught_m3"]),
            f"{kept} kept, {passed} passed on{made_up}",
        ),
    ):
        found.append(Figure(key, title, value, "volume", "site_years", note))
    return found


def _litres(volume_m3: float) -> str:
    """Return a volume in litres, to three digits."""
    litres = 1000 * volume_m3
    digits = 2 - math.floor(math.log10(litres)) if litres >= 1 else 0
    text = f"{round(litres, min(digits, 0)):,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return f"{text} litres"


def _as_built(results: Results) -> list[Figure]:
    stakes, elements = results.layer("as_built_stakes"), results.layer("as_built_elements")
    if stakes is None or elements is None:
        return []
    count = stakes["verdict"].value_counts()
    unseen, open_ = (int(count.get(word, 0)) for word in ("not surveyed", "not decided"))
    note = f"of {len(stakes) - unseen} surveyed" + (f"; {unseen} were not" if unseen else "")
    note += f"; {open_} not decided by this survey" if open_ else ""
    failing = int((elements["verdict"] == "fails").sum())
    found = [
        Figure(
            "levels_off", "Levels built off", int(count.get("fail", 0)), "", "as_built_stakes", note
        ),
        Figure(
            "elements_that_fail_as_built",
            "Elements that fail as built",
            failing,
            "",
            "as_built_elements",
            f"of {len(elements)}",
        ),
    ]
    known = elements[elements["storage_built_m3"].notna()]
    if len(known):
        built, designed = (float(known[f"storage_{word}_m3"].sum()) for word in ("built", "design"))
        share = f"{100 * built / designed:.0f} % of the design" if designed > 0 else ""
        some = f", {len(known)} of {len(elements)} elements" if len(known) < len(elements) else ""
        found.append(
            Figure(
                "storage_built_m3",
                "Storage as built",
                built,
                "volume",
                "as_built_elements",
                f"{share}{some}",
            )
        )
    return found


def _earth(results: Results) -> list[Figure]:
    volumes = results.table("earth_volumes")
    if volumes is None:
        return []
    quantity = earth_of(float(volumes[["cut_m3", "fill_m3"]].sum().max()))
    earth = shown(quantity, results.units)
    found = []
    for kind, title in (("cut", "Dug"), ("fill", "Heaped up")):
        volume_m3 = float(volumes[f"{kind}_m3"].sum())
        error_m3 = float(np.hypot.reduce(volumes[f"{kind}_error_m3"].to_numpy(dtype=np.float64)))
        ends = (max(volume_m3 - NINE_IN_TEN * error_m3, 0.0), volume_m3 + NINE_IN_TEN * error_m3)
        span = " to ".join(earth.text(end) for end in ends)
        note = f"5 to 95 %: {span}, by the survey and the way of measuring"
        found.append(Figure(f"{kind}_m3", title, volume_m3, quantity, "earth_volumes", note))
    return found + _cost(results)


def _cost(results: Results) -> list[Figure]:
    """Sum of the bill, where rates were given; in the currency of the rates."""
    found = costs(results)
    if found is None:
        return []
    note = f"{found.text(found.total)} with {found.contingency_pct:g} % contingency"
    note = f"{found.currency or 'currency not stated'}; {note}"
    if found.unpriced:
        note += f"; {counted(found.unpriced, 'row has', 'rows have')} no rate"
    total = float(round(found.works))
    return [Figure("cost", "Works at the rates given", total, "", "bill", note)]


def _sum(
    results: Results, layer: str, key: str, title: str, column: str, quantity: str
) -> list[Figure]:
    frame = results.layer(layer)
    if frame is None or column not in frame.columns or not frame[column].notna().any():
        return []
    note = counted(len(frame), _COUNTED[layer]) if layer in _COUNTED else ""
    return [Figure(key, title, float(frame[column].sum()), quantity, layer, note)]


_PARTS: Final[tuple[Callable[[Results], list[Figure]], ...]] = (
    _site,
    _water,
    _lines,
    _works,
    _year,
    _earth,
    _as_built,
)
