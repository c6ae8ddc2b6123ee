"""Staking sheets from made rows: units, escaping, what is said, and what is left out."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import geopandas as gpd
import matplotlib.text
import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from shapely.geometry import Point

from brimline.report import sheets_html
from brimline.report.plates import staking

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
        for row in re.findall(
            r"<tr[^>]*><td class=\"tick\">☐</td>(<th scope=\"row\">.*?)</tr>", page
        )
    ]


def test_sills_come_first_and_offset_stakes_follow_their_own(page: Any) -> None:
    rows = cells(page())
    assert [row[0] for row in rows] == ["S01", "F01", "F01L", "F02", "C01 ●"]


def test_a_row_says_how_far_to_dig_and_what_to_do_first(page: Any) -> None:
    by_name = {row[0]: row for row in cells(page())}
    assert "dig 0.50" in by_name["F01"]
    assert "up 0.40" in by_name["F01L"]  # beside the work nothing is dug or filled
    assert "left 4.00" in by_name["F01L"]
    assert "fill 0.55" in by_name["C01 ●"]  # to the level before it settles; ● level on site
    assert "-0.050" not in by_name["C01 ●"]  # a rod cannot be read below its foot


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


def test_levels_out_of_reach_are_read_from_further_set_ups(make_results: Any) -> None:
    high = stake(3, ground_m=107.0, design_m=106.5, build_m=106.5, flag="off-rod")
    frames = {"stakes": gpd.GeoDataFrame([*STAKES, high], crs="EPSG:32626")}
    level = {"benchmark": "Nail", "benchmark_m": 100.0, "above_m": 1.5, "rod_m": 5.0}
    facts = {"setting_out": {"instrument": level, "fixed_points": [
        ["gate", PLACE[0], PLACE[1] - 3.0], ["oak", PLACE[0] + 50.0, PLACE[1] - 3.0]]}}  # fmt: skip
    results = make_results(frames={"boundary"})
    html = sheets_html(dataclasses.replace(results, frames=results.frames | frames,
                                           facts=results.facts | facts))  # fmt: skip
    by_name = {row[0]: row for row in cells(html)}
    assert "1.000" in by_name["F01"]  # 101.5 - 100.5
    sights = [float(one) for one in re.findall(r"Set-up \d: line of sight at ([\d.]+)", html)]
    assert f"2: {sights[1] - 101.55:.3f}" in by_name["C01 ●"]
    sight = sights[2]
    assert f"3: {sight - 106.5:.3f}" in by_name["F03"]
    assert 107.0 < sight < 106.5 + 5.0  # over the ground there, within a rod of the level to build
    assert "50.000\u00a0m long, bearing 90.00" in html
    assert by_name["F01L"][9:11] == ["10.00", "7.00 L"]  # along and off, 4 m beside F01


def test_a_site_without_stakes_has_no_sheets(make_results: Any) -> None:
    assert sheets_html(make_results(frames={"boundary"})) == ""


def test_every_page_names_site_element_and_its_number(make_results: Any) -> None:
    many = [stake(n) for n in range(1, 60)]
    results = make_results(frames={"boundary", "elements", "overflows"})
    frames = {"stakes": gpd.GeoDataFrame(many, crs="EPSG:32626")}
    html = sheets_html(dataclasses.replace(results, frames=results.frames | frames))
    pages = html.count('class="page')
    heads = re.findall(
        r'<p class="head"><span><strong>(.*?)</strong> · <strong>(.*?)</strong>', html
    )
    assert len(heads) == pages
    assert {site for site, _ in heads} == {"Sable &lt;Bank&gt; &amp; Sons"}
    mine = re.findall(r"Dam &lt;1&gt;</strong>, pad.*?page (\d+) of (\d+)", html)
    assert mine == [(str(n), "4") for n in range(1, 5)]  # a plan, then 59 stakes by 22
    assert len(cells(html)) == 59 + 2  # a tank's base and overflow on a sheet of their own
    assert "Tanks and pipes" in html


@pytest.mark.parametrize("peak_m", [99.4, 99.97, 100.03, 100.5])
def test_the_names_of_sill_and_water_never_change_places(peak_m: float) -> None:
    figure = Figure(figsize=(10, 2.0))
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0.06, 0.1, 0.92, 0.8))
    axes.set_xlim(0, 50)
    axes.set_ylim(99, 101)
    levels = {"sill": 100.0, "highest water": peak_m}
    staking.named_levels(axes, levels, " m")
    pen = canvas.get_renderer()
    boxes = {}
    for text in axes.texts:
        name = text.get_text().rsplit(" ", 2)[0]
        text.update_positions(pen)
        boxes[name] = matplotlib.text.Text.get_window_extent(text, pen)  # without its leader
        at = axes.transAxes.transform(text.xy)[1]  # where its leader begins
        assert at == pytest.approx(axes.transData.transform((0, levels[name]))[1])
    lower, higher = sorted(levels, key=levels.__getitem__)
    assert boxes[lower].y1 <= boxes[higher].y0
    assert min(box.x0 for box in boxes.values()) > axes.get_window_extent(pen).x1  # off the lines


def test_nothing_that_a_crew_reads_is_smaller_than_nine_points(
    make_results: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes: list[float] = []

    def seen(figure: Figure, *_: Any) -> str:
        found = figure.findobj(lambda thing: hasattr(thing, "get_fontsize") and thing.get_text())
        sizes.extend(text.get_fontsize() for text in found)
        return "<svg/>"

    monkeypatch.setattr(staking, "svg_of", seen)
    monkeypatch.setattr("brimline.report.plates.sheet.svg_of", seen)
    results = make_results(frames={"boundary", "contours", "elements", "overflows"})
    rows = gpd.GeoDataFrame(STAKES, crs="EPSG:32626")
    staking.stakes_plan(results, NAME, rows)
    at = np.linspace(0, 40, 9)
    cuts = pd.concat(
        [
            pd.DataFrame({"element_id": NAME, "profile": name, "kind": kind, "at_m": at,
                          "x_m": at, "y_m": at, "ground_m": 100 + at / 40,
                          "design_m": 99.5 + at / 40, "build_m": 99.5 + at / 40})
            for name, kind in (("floor", "along"), ("across at 20.0 m", "across"))
        ]
    )  # fmt: skip
    staking.sections(results, NAME, cuts, {"sill": 100.2}, rows)
    staking.sections(results, NAME, cuts, {"sill": 100.2, "floor": 99.6})
    assert len(sizes) > 20
    assert min(sizes) >= 8.7  # 9 with the rounding of the letters' share


def test_sections_are_named_in_the_units_shown(
    make_results: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    titles: list[str] = []

    def seen(figure: Figure, *_: Any) -> str:
        titles.extend(axes.get_title(loc="left") for axes in figure.axes)
        return "<svg/>"

    monkeypatch.setattr(staking, "svg_of", seen)
    at = np.linspace(-4, 4, 9)
    cuts = pd.DataFrame({"element_id": NAME, "profile": "across at 20.0 m", "kind": "across",
                         "at_m": at, "ground_m": 100 + at / 40, "design_m": 99.5 + at / 40,
                         "build_m": 99.5 + at / 40})  # fmt: skip
    staking.sections(make_results("us", frames={"boundary"}), NAME, cuts, {})
    assert titles[0].startswith("Across at 65.6\u00a0ft")  # 20 / 0.3048
