"""The year's page: its answer in words, in the reader's units, marked where days are made up."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from brimline.report.numbers import figures as headline_figures
from brimline.report.plates import svg
from brimline.report.plates.year import year
from brimline.report.plates.year_words import answers, headline, size_text

if TYPE_CHECKING:
    from brimline.report import Results

PARTS = ("demand_m3", "rain_m3", "harvested_m3", "mains_m3", "deficit_m3")


def parts(*values: float) -> dict[str, float]:
    return dict(zip(PARTS, (sum(values), *values), strict=True))


@pytest.fixture
def results(make_results: Any) -> Results:
    """Watered beds that need 100 m³ in the mean year, and an orchard left to the rain."""
    made = make_results()
    wild = {None: parts(600.0, 0.0, 0.0, 300.0), 2003: parts(400.0, 0.0, 0.0, 600.0)}
    beds = {None: parts(50.0, 30.0, 20.0, 0.0), 2003: parts(40.0, 20.0, 60.0, 0.0)}
    site = [
        {"year": when, "whole": True, "driest": when == 2003, "worst": when == 2003,
         "rain_mm": rain, "share_without_mains": share, "weather": "measured",
         "share_harvested_of_need": need, "share_rain_fed_met": rain_fed,
         **{name: wild[when][name] + beds[when][name] for name in PARTS},
         **{f"watered_{name}": beds[when][name] for name in PARTS}}
        for when, share, rain, need, rain_fed in (
            (None, 0.68, 800.0, 30 / 50, 2 / 3), (2003, 0.41, 401.6, 20 / 80, 0.4),
        )
    ]  # fmt: skip
    zones = [
        {"zone_id": name, "year": when, "whole": True, **rows[when]}
        for name, rows in (("Orchard", wild), ("Beds", beds))
        for when in rows
    ]
    squares = [shapely.box(0, 0, 9, 9), shapely.box(9, 0, 12, 9)]
    irrigated = {"zone_id": ["Orchard", "Beds"], "irrigated": [False, True]}
    answer = {
        "element_id": "Tank", "serves": "Beds", "capacity_m3": 20.0, "share_without_mains": 0.8,
        "share_of_days": 0.7, "goal_share": 0.9, "goal_by": "volume", "smallest_m3": 1546.51,
        "pays_until_m3": 6.154, "worth_m3_per_y": 2.0, "tried_to_m3": 3000.0,
    }  # fmt: skip
    never = answer | {"smallest_m3": float("nan"), "pays_until_m3": 3000.0}
    drier = {"case": "drier climate", "text": "20 % less rain.", "share_without_mains": 0.58}
    made.frames["site_years"] = pd.DataFrame(site)
    made.frames["zone_years"] = pd.DataFrame(zones)
    made.frames["zones"] = gpd.GeoDataFrame(irrigated, geometry=squares, crs="EPSG:32626")
    made.frames["size_answers"] = pd.DataFrame([answer, never])
    made.frames["year_sensitivity"] = pd.DataFrame([drier])
    return made


def words_of(results: Results) -> str:
    plate = year(results, None)  # type: ignore[arg-type] - not a map
    assert plate is not None
    return " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", plate.svg))


def test_the_answer_tells_mains_from_what_nothing_meets(results: Results) -> None:
    watered, average, worst, wild = (
        [text.replace("\N{NO-BREAK SPACE}", " ") for text in line[:2]] for line in headline(results)
    )
    # of 100 m³ for the beds rain meets 50, stores 30 and the mains 20; then 40, 20 and 60 of 120
    assert watered[0] == "60 %"
    assert watered[1].endswith("average year (mains 40 %, not met 0 %); in 2003 25 %")
    assert average[0] == "68 %"
    assert "in an average year (mains 2 %, not met 30 %)" in average[1]
    assert worst[0] == "41 %"
    assert "in the worst year, 2003, with 401.6 mm of rain, the least of all" in worst[1]
    assert "(mains 5 %, not met 54 %)" in worst[1]
    assert wild[0] == "67 %"
    assert wild[1].endswith("; in 2003 40 %")
    results.frames["site_years"]["share_rain_fed_met"] = float("nan")
    assert len(headline(results)) == 3


def test_a_worst_year_that_is_not_the_driest_names_both(results: Results) -> None:
    years = results.frames["site_years"]
    wettest = years.iloc[1].to_dict() | {
        "year": 2004, "driest": True, "worst": False, "rain_mm": 390.0
    }  # fmt: skip
    years["driest"] = False
    results.frames["site_years"] = pd.concat([years, pd.DataFrame([wettest])], ignore_index=True)
    told = headline(results)[2][1].replace("\N{NO-BREAK SPACE}", " ")
    assert "401.6 mm of rain (least rain: 2004, 390.0 mm)" in told


@pytest.mark.parametrize(
    ("units", "note"), [("metric", "120\N{NARROW NO-BREAK SPACE}000 litres"), ("us", "")]
)
def test_mains_avoided_are_told_in_litres_too(make_results: Any, units: str, note: str) -> None:
    figures = {figure.key: figure for figure in headline_figures(make_results(units))}
    assert figures["mains_avoided_m3"].value == 120.5
    assert figures["mains_avoided_m3"].note == note


def test_every_store_is_named_with_its_sizes(results: Results) -> None:
    first, second, drier = (text.replace("\N{NO-BREAK SPACE}", " ") for text in answers(results))
    thousands = "1\N{NARROW NO-BREAK SPACE}550 m³"
    assert first == (
        "Tank: with 20.0 m³, 80 % of the demand of Beds is met without the mains; 90 % need "
        f"{thousands}; beyond 6.2 m³ each further m³ meets less than 2 m³ a year."
    )
    assert "90 % are not reached with up to 3\N{NARROW NO-BREAK SPACE}000 m³" in second
    assert second.endswith("each further m³ still meets 2 m³ a year.")
    assert drier == (
        "In a drier climate (20 % less rain), 58 % of the demand would be met without the mains in"
        " an average year."
    )


def test_american_readers_get_gallons_everywhere(results: Results, make_results: Any) -> None:
    american = make_results("us")
    american.frames.update({name: results.frames[name] for name in ("size_answers", "site_years")})
    assert size_text(american, 20.0) == "5\N{NARROW NO-BREAK SPACE}280\N{NO-BREAK SPACE}gal"
    plate = year(american, None)  # type: ignore[arg-type] - not a map
    assert plate is not None
    assert "m³" not in plate.caption
    assert "in of rain" in " ".join(words for _, words, _ in headline(american))


def test_the_page_names_units_the_worst_year_and_made_up_weather(
    results: Results, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(svg.SETTINGS, "svg.fonttype", "none")
    text = words_of(results)
    for wanted in ("worst year, 2003", "demand, m³ a month", "% of the year's demand",
                   "size of the store, m³", "met without mains, %", "worst"):  # fmt: skip
        assert wanted in text
    assert "made up" not in text
    results.frames["size_answers"]["goal_by"] = "days"
    assert "days met without mains, %" in words_of(results)
    assert "90\N{NO-BREAK SPACE}% of days need" in answers(results)[0]
    results.frames["site_years"]["weather"] = "made up"
    assert "Weather made up from monthly normals: real dry years are drier." in words_of(results)
    plate = year(results, None)  # type: ignore[arg-type] - not a map
    assert plate is not None
    assert plate.title == "Water through the year (weather made up)"
