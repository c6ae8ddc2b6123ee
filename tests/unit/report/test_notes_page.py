"""The page of notes from the ground: its words, its photographs, and what it lets in."""

from __future__ import annotations

import dataclasses
from typing import Any

import geopandas as gpd
from shapely.geometry import Point

from brimline.report.notes_page import notes_html

PICTURE = "data:image/jpeg;base64,AAAA"


def test_a_note_has_its_words_its_photograph_and_how_far_it_was_moved(make_results: Any) -> None:
    usual = {"accuracy_m": 2.5, "written": "2031-05-04", "photo": True, "flag": ""}
    rows = [
        {"note_id": 1, "text": "Rock <1>", "about": "Pond-E03", "moved": True, "moved_m": 5.0},
        {"note_id": 2, "text": "Spring", "about": None, "moved": False, "moved_m": None},
    ]
    frame = gpd.GeoDataFrame(
        [usual | row for row in rows], geometry=[Point(1, 2), Point(3, 4)], crs="EPSG:32626"
    )
    results = make_results("us", frames={"boundary"})
    html = notes_html(
        dataclasses.replace(
            results,
            frames=dict(results.frames) | {"notes": frame},
            facts=dict(results.facts) | {"note_photos": {"2": PICTURE}},
        )
    )
    assert "Rock &lt;1&gt;" in html
    assert "16.40\u00a0ft from its designed place" in html  # 5 / 0.3048
    assert html.count(f'src="{PICTURE}"') == 1
    assert notes_html(results) == ""
