"""The report as a page: whole, offline, escaped, and the same for the same results."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pytest

from brimline.config import Settings
from brimline.report import assumptions, prose, report_html
from brimline.report.numbers import figures
from brimline.report.tables import printed

if TYPE_CHECKING:
    from brimline.report import Results


class Outline(HTMLParser):
    """Headings, tables and images of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.levels: list[int] = []
        self.ids: list[str] = []
        self.loose_heads = 0
        self.pictures: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, Any]]) -> None:
        told = dict(attrs)
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))
        if told.get("id"):
            self.ids.append(told["id"])
        if tag == "th" and told.get("scope") not in {"col", "row"}:
            self.loose_heads += 1
        if told.get("role") == "img":
            self.pictures.append(told.get("aria-label", ""))
        if tag == "a":
            self.links.append(told["href"])


def outline(html: str) -> Outline:
    parser = Outline()
    parser.feed(html)
    return parser


def test_it_is_one_file_that_asks_for_nothing(made_results: Results) -> None:
    html = report_html(made_results)
    assert not re.findall(r"""(?:src|href)\s*=\s*["'](?!data:|#)[^"']+""", html)
    assert not re.findall(r"url\((?!#)", html)
    assert "<script" not in html


def test_names_are_escaped(made_results: Results) -> None:
    html = report_html(made_results)
    assert "Sable &lt;Bank&gt; &amp; Sons" in html
    assert "<Bank>" not in html
    assert "a &lt;thing&gt; was found" in html


def test_headings_tables_and_pictures_can_be_heard(made_results: Results) -> None:
    page = outline(report_html(made_results))
    assert page.levels[0] == 1
    assert page.levels.count(1) == 1
    assert all(
        after - before <= 1 for before, after in zip(page.levels, page.levels[1:], strict=False)
    )
    assert page.loose_heads == 0
    assert len(page.pictures) == 11
    assert all(page.pictures)
    assert len(page.ids) == len(set(page.ids))
    assert {link[1:] for link in page.links} <= set(page.ids)


def test_the_same_results_give_the_same_text(made_results: Results) -> None:
    assert report_html(made_results) == report_html(made_results)


def test_the_date_is_the_runs(made_results: Results) -> None:
    assert "2031-05-04" in report_html(made_results)


def test_paper_has_no_colours_of_the_screen(made_results: Results) -> None:
    paper = report_html(made_results, paper=True)
    assert "var(--c" not in paper
    assert "prefers-color-scheme" not in paper


@pytest.mark.parametrize("held", [set(), {"boundary"}, {"elements"}, {"swale_lines", "intakes"}])
def test_missing_parts_give_a_report_without_them(make_results: Any, held: set[str]) -> None:
    html = report_html(make_results(frames=held, rasters=set()))
    assert "What was assumed" in html
    assert ("<table" in html.split('id="cautions"')[0]) == bool(held - {"boundary"})


def test_cautions_inputs_and_warnings_are_printed(made_results: Results) -> None:
    html = report_html(made_results)
    for words in (*made_results.cautions, "terrain.tif", "abababababab", "1 MB", "look at it"):
        assert words in html


def test_parameters_that_depart_from_the_default_stand_out(made_results: Results) -> None:
    found = {f"{p.table}.{p.key}": p for p in assumptions.parameters(made_results)}
    assert found["contours.interval_m"].changed  # 2.0 against 1.0
    assert found["survey.realisations"].value == "50"
    assert not found["contours.index_every"].changed
    assert found["survey.rmse_m"].value == "left out"
    described = Settings.model_fields["contours"].annotation.model_fields["interval_m"].description
    assert found["contours.interval_m"].meaning == described


def test_the_accuracy_of_the_survey_is_told(made_results: Results) -> None:
    """RMSE of class QL1: USGS Lidar Base Specification; 1.96 √2 σ: Brasington et al. 2003."""
    told = dict(assumptions.accuracy(made_results))
    assert told["Vertical error (RMSE)"].replace("\N{NO-BREAK SPACE}", " ") == (
        "0.10 m, of class QL1, assumed"
    )
    assert told["Two levels differ surely from"].startswith("0.28")


def test_the_paragraph_says_which_way_the_ground_faces(made_results: Results) -> None:
    by_key = {figure.key: figure for figure in figures(made_results)}
    told = prose.paragraph(made_results, by_key)
    assert "falling mostly to the south" in told
    assert "2 intakes" in told
    assert prose.aspect(made_results) == "south"


def test_rows_of_one_name_are_counted_not_repeated() -> None:
    from brimline.report.attention import Flagged

    flag = Flagged("stakes", "Stakes", "level-on-site", "", "", ("Low swale",) * 3 + ("Top pond",))
    assert flag.names == ("Low swale (3 rows)", "Top pond")


def test_the_design_comes_first_and_the_work_list_after_the_evidence(
    made_results: Results,
) -> None:
    html = report_html(made_results)
    order = [html.index(f'id="{name}"') for name in
             ("design", "evidence", "proposals", "cautions", "look", "sources", "assumed",
              "glossary")]  # fmt: skip
    assert order == sorted(order)
    part = {name: html[start:end] for name, start, end in
            zip(("design", "evidence", "proposals"), order, order[1:], strict=False)}  # fmt: skip
    assert 'id="plate-concept"' in part["design"]
    assert 'data-layer="elements"' in part["design"]
    assert 'data-layer="swale_lines"' in part["proposals"]
    assert 'id="plate-level-lines"' in part["proposals"]
    assert "swale_lines" not in part["design"] + part["evidence"]
    sheets = re.findall(r"sheet (\d+) of (\d+)", html)
    assert sheets == [(str(n), str(len(sheets))) for n in range(1, len(sheets) + 1)]


def test_a_bill_is_summed_by_element_and_with_its_contingency(made_results: Results) -> None:
    import pandas as pd

    rows = [
        {"step": 1, "element_id": name, "item": item, "title": item, "note": None, "amount": 1.0,
         "unit": "m³", "rate": cost, "cost": cost}
        for name, item, cost in (
            ("Pond", "cut", 100.4), ("Pond", "fill", 50.4), ("Tank", "tank", 9.0)
        )
    ]  # fmt: skip
    parameters = made_results.manifest["parameters"] | {
        "rates": {"currency": "NZD", "contingency_pct": 10.0}
    }
    results = replace(
        made_results,
        frames={"bill": pd.DataFrame(rows)},
        manifest=made_results.manifest | {"parameters": parameters},
    )
    (bill,) = printed(results)
    sums = {
        row[1]: row[-1].replace("\N{NO-BREAK SPACE}", " ")
        for row in bill.rows
        if row[-1][-1] == "D"
    }
    assert sums["Pond, together"] == "151 NZD"  # of 150.8, not of what is printed
    assert "Tank, together" not in sums
    assert sums["All works"] == "160 NZD"
    assert sums["Contingency, 10 %"] == "16 NZD"
    assert sums["Works and contingency"] == "176 NZD"
