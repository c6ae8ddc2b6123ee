"""The drawing set: its list, plan sheets that tile the design, details of its numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
import shapely

from brimline.report.drawings import drawings_html
from brimline.report.plates import details, staking

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from brimline.report import Results


@pytest.fixture(scope="module")
def with_section(made_results: Results) -> Results:
    at = np.linspace(-4, 4, 9)
    section = {"element_id": "Pond", "profile": "across at 9.0 m", "kind": "across", "at_m": at,
               "x_m": at, "y_m": at, "ground_m": 110 - at / 10, "design_m": 108.5 + abs(at) / 3,
               "build_m": 108.5 + abs(at) / 3}  # fmt: skip
    frames = dict(made_results.frames) | {"profiles": pd.DataFrame(section)}
    return replace(made_results, frames=frames)


def test_the_list_names_every_sheet_and_each_has_its_block(with_section: Results) -> None:
    html = drawings_html(with_section)
    listed = re.findall(r'<a href="#sheet-(\d+)">(.*?)</a>', html)
    titles = re.findall(r'<h2 id="sheet-(\d+)-h">(.*?)</h2>', html)
    assert listed == titles
    count = len(listed) + 1
    assert re.findall(r"sheet (\d+) of (\d+)", html) == [
        (str(n), str(count)) for n in range(1, count + 1)
    ]
    for wanted in ("Plan, 1 of 2", "Pond: sections and details", "Tank: sections and details",
                   "Schedule of elements",
                   "Risk register", "Order of building"):  # fmt: skip
        assert wanted in dict(titles).values(), wanted
    assert "Sill to Swale, 2.00\u00a0m wide, at 110.00\u00a0m" in html
    assert "Pond may now spill to Swale" in html


@pytest.mark.parametrize(("units", "scale"), [("metric", 500), ("us", 360)])
def test_plan_sheets_tile_the_design_at_a_plain_scale(
    make_results: Any, units: str, scale: int
) -> None:
    results = make_results(units, frames={"elements", "overflows"})
    frames = details.tiles(results)
    grounds = [shapely.box(*frame.bounds) for frame in frames]
    assert frames[0].width_m == pytest.approx(0.262 * scale)
    assert sum(g.area for g in grounds) == pytest.approx(shapely.union_all(grounds).area)
    for name in ("elements", "overflows"):
        whole = results.frames[name].union_all()
        assert whole.difference(shapely.union_all(grounds).buffer(1e-6)).is_empty


def test_dimensions_are_the_elements_own_numbers(
    with_section: Results, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []

    def seen(figure: Figure, *_: Any) -> str:
        said.extend(text.get_text().strip() for text in figure.axes[0].texts)
        return "<svg/>"

    monkeypatch.setattr(details, "svg_of", seen)
    monkeypatch.setattr(staking, "svg_of", seen)
    assert details.detail(with_section, "Pond")
    row = with_section.frames["elements"].set_index("element_id").loc["Pond"]
    assert f"sill {row['spill_level_m']:.3f} m" in said
    assert f"floor {row['floor_level_m']:.3f} m" in said
    assert f"{row['spill_level_m'] - row['floor_level_m']:.2f}" in said
    assert f"{row['crest_level_m'] - row['spill_level_m']:.2f}" in said
    said.clear()
    assert details.detail(with_section, "Tank")  # nothing is cut through it, but it has levels
    tank = with_section.frames["elements"].set_index("element_id").loc["Tank"]
    assert f"sill {tank['spill_level_m']:.3f} m" in said
    assert details.detail(with_section, "Swale") == ()


def test_a_run_without_a_design_has_no_set(make_results: Any) -> None:
    assert drawings_html(make_results(frames={"boundary"})) == ""
