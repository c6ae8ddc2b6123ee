"""What a browser prints: names and numbers on every page, text of the PDF."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pypdfium2
import pytest
from shapely.geometry import Point

from brimline.report import client_html, sheets_html

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

    from brimline.report import Results

pytestmark = pytest.mark.browser


def pages_of(browser: Browser, html: str, folder: Path) -> list[str]:
    """Print a page as a person would and return the letters of each sheet of paper, no spaces.

    Between the letters of one word some drawings of text have spaces, so none is kept.
    """
    (folder / "page.html").write_text(html, encoding="utf-8")
    page = browser.new_page()
    page.goto((folder / "page.html").as_uri())
    page.pdf(path=folder / "page.pdf", prefer_css_page_size=True)
    page.close()
    with pypdfium2.PdfDocument(folder / "page.pdf") as paper:
        texts = [sheet.get_textpage().get_text_range() for sheet in paper]
    return [re.sub(r"\s", "", text) for text in texts]


def stakes(count: int) -> gpd.GeoDataFrame:
    rows: list[dict[str, Any]] = [
        {
            "element_id": "Pond", "stake_id": f"Pond-F{n:02}", "role": "floor",
            "chainage_m": 5.0 * n, "ground_m": 101.0, "design_m": 100.5, "build_m": 100.5,
            "cut_m": 0.5, "side": None, "offset_m": 0.0, "above_benchmark_m": 0.5, "rod_m": 1.0,
            "rod_ground_m": 0.5, "because": None, "tolerance_m": 0.05, "say": None, "flag": "",
            "latitude_deg": 47.0, "longitude_deg": -29.0,
            "geometry": Point(352_150 + n, 5_211_105, 100.5),
        }
        for n in range(1, count + 1)
    ]  # fmt: skip
    return gpd.GeoDataFrame(rows, crs="EPSG:32626")


def test_each_crew_sheet_has_site_element_and_page(
    browser: Browser, made_results: Results, tmp_path: Path
) -> None:
    results = replace(made_results, frames=dict(made_results.frames) | {"stakes": stakes(50)})
    pages = pages_of(browser, sheets_html(results), tmp_path)
    assert len(pages) == 1 + 4 + 1  # what to know; a plan and 50 stakes by 22; tank and pipes
    told = [re.search(r"page(\d+)of(\d)", text) for text in pages]
    assert [found and found.groups() for found in told] == [
        ("1", "1"), *((str(n), "4") for n in range(1, 5)), ("1", "1"),
    ]  # fmt: skip
    assert all("Sable<Bank>&Sons" in text for text in pages)
    assert all("Pond,pond" in text[:60] for text in pages[1:5])


def test_the_clients_page_is_a_few_sheets(
    browser: Browser, made_results: Results, tmp_path: Path
) -> None:
    pages = pages_of(browser, client_html(made_results) or "", tmp_path)
    assert 3 <= len(pages) <= 6
    for question in ("Whatisbuilt?", "Whatdoesitcost?", "Howmuchwater", "Whatisrisky"):
        assert any(question in text for text in pages), question
