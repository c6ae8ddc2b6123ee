"""Staking sheets from made rows: units, escaping, what is said, and what is left out."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import geopandas as gpd
import pytest
from shapely.geometry import Point

from brimline.report import sheets_html

PLACE = (352_100.0, 5_211_100.0)
NAME = "Dam <1>"


def stake(number: int, role: str = "floor", **changes: Any) -> dict[str, Any]:
    usual = {
        "element_id": NAME, "stake_id": f"{NAME}-{role[0].upper()}{number:02}", "role": role,
        "chainage_m": 10.0 * number, "ground_m": 101.0, "design_m": 100.5, "build_m": 100.5,
        "cut_m": 0.5, "side": None, "offset_m": 0.0, "above_benchmark_m": 0.5, "rod_m": 1.0,
        "rod_ground_m": 0.5, "because": None, "tolerance_m": 0.5, "say": None, "flag": "",
        "latitude_deg": 47.0, "longitude_deg": -29.0,
        "geometry": Point(PLACE[0] + 10 * number, PLACE[1], 100.5),
    }  # fmt: skip
    return usual | changes


STAKES = [
    stake(2), stake(1),
    stake(1, side="left", offset_m=4.0, stake_id=f"{NAME}-F01L", ground_m=100.1,
          geometry=Point(PLACE[0] + 10, PLACE[1] + 4, 100.5)),
    stake(1, "crest", design_m=101.5, build_m=101.55, rod_m=-0.05, flag="level-on-site;off-rod",
          say="level on site before digging; move the instrument", tolerance_m=0.1),
    stake(1, "sill", design_m=101.0, build_m=101.0, cut_m=0.0),
]  # fmt: skip


@pytest.fixture
def page(make_results: Any) -> Any:
    def made(units: str = "metric", instrument: dict[str, Any] | None = None) -> str:
        results = make_results(units, frames={"boundary"})
        frames = {"stakes": gpd.GeoDataFrame(STAKES, crs="EPSG:32626")}
        facts = {"setting_out": {"rmse_m": 0.1, "survey_decides_m": 0.277,
                                 "instrument": instrument}}  # fmt: skip
        return sheets_html(dataclasses.replace(results, frames=results.frames | frames,
                                               facts=results.facts | facts))  # fmt: skip

    return made


def cells(page: str) -> list[list[str]]:
    return [
        re.sub(r"<[^>]+>", "|", row).strip("|").split("||")
        for row in re.findall(r"<tr[^>]*>(<th scope=\"row\">.*?)</tr>", page)
    ]


def test_sills_come_first_and_offset_stakes_follow_their_own(page: Any) -> None:
    rows = cells(page())
    assert [row[0] for row in rows] == ["S01", "F01", "F01L", "F02", "C01"]


def test_a_row_says_how_far_to_dig_and_what_to_do_first(page: Any) -> None:
    by_name = {row[0]: row for row in cells(page())}
    assert "dig 0.50" in by_name["F01"]
    assert "up 0.40" in by_name["F01L"]  # beside the work nothing is dug or filled
    assert "left 4.00" in by_name["F01L"]
    assert "fill 0.55" in by_name["C01"]  # to the level before it settles
    assert any("level on site before digging" in cell for cell in by_name["C01"])
    assert "-0.050" not in by_name["C01"]  # a rod cannot be read below its foot


def test_levels_are_in_feet_where_the_site_is(page: Any) -> None:
    metric, feet = ({row[0]: row for row in cells(page(units))} for units in ("metric", "us"))
    assert "100.500" in metric["F01"]
    assert "329.72" in feet["F01"]  # 100.5 / 0.3048
    assert "352110.00" in feet["F01"]  # coordinates stay in metres


def test_names_are_escaped_and_a_missing_benchmark_is_told(page: Any) -> None:
    text = page()
    assert "Dam &lt;1&gt;" in text
    assert "Dam <1>" not in text
    assert "stakes.benchmark_level_m" in text
    level = {"benchmark": "Nail", "benchmark_m": 100.0, "above_m": 1.5, "rod_m": 5.0}
    assert "101.500" in page(instrument=level)


def test_a_site_without_stakes_has_no_sheets(make_results: Any) -> None:
    assert sheets_html(make_results(frames={"boundary"})) == ""
