"""What a reader who has only ``client.html`` finds in it, held against the layers.

The reader below knows no name of a column, layer or flag: it reads headings, sentences and the
heads and rows of tables, as a person does.
"""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest

from brimline.layers import FLAGS, table
from brimline.report import client_html
from brimline.report.answers import greater_storms, risks
from brimline.report.care import calendar, wet_months
from brimline.report.costs import costs
from brimline.units import US_GALLON_M3

if TYPE_CHECKING:
    from brimline.report import Results

WITHIN = 0.005  # the page rounds to three digits


class Reader(HTMLParser):
    """Visible text by the heading above it, and tables as rows of text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text: dict[str, str] = {}
        self.tables: dict[str, list[list[str]]] = {}
        self._under, self._heading, self._silent, self._cell = "", False, 0, False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, Any]]) -> None:
        del attrs
        if tag in {"style", "script", "svg"}:
            self._silent += 1
        elif tag == "h2":
            self._heading, self._under = True, ""
        elif tag == "tr":
            self.tables.setdefault(self._under, []).append([])
        elif tag in {"td", "th"}:
            self._cell = True
            self.tables[self._under][-1].append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in {"style", "script", "svg"}:
            self._silent -= 1
        elif tag == "h2":
            self._heading = False
        elif tag in {"td", "th"}:
            self._cell = False

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        words = data.replace("\u202f", "").replace("\u00a0", " ")
        if self._heading:
            self._under += words
        elif self._cell:
            self.tables[self._under][-1][-1] += words.strip()
        self.text[self._under] = self.text.get(self._under, "") + words

    def answer(self, question: str) -> str:
        heading = next(words for words in self.text if question in words)
        return re.sub(r"\s+", " ", self.text[heading])

    def rows(self, question: str) -> dict[str, list[str]]:
        heading = next(words for words in self.tables if question in words)
        return {row[0]: row[1:] for row in self.tables[heading]}


def number(text: str) -> float:
    found = re.search(r"-?\d+(?:\.\d+)?", text)
    assert found, text
    return float(found[0])


def filled(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    plain = {"int": 1, "float": 1.0, "text": "", "bool": False}
    usual = {c.name: next(iter(c.values), plain[c.dtype]) for c in table(name).columns}
    return pd.DataFrame([usual | row for row in rows])


def with_works(results: Results, **rates: Any) -> Results:
    bill = [
        {"step": 2, "element_id": "Tank", "item": "tank", "rate": 2600.0, "cost": 2600.0},
        {"step": 3, "element_id": "Pond", "item": "cut", "rate": 5.0, "cost": 3031.95},
        {"step": 3, "element_id": "Pond", "item": "fill", "rate": 4.0, "cost": 644.77},
        {"step": 5, "element_id": "Swale", "item": "cut", "rate": None, "cost": None},
    ]
    years = [
        {"year": None, "element_id": "Pond", "soaked_m3": 300.0, "drawn_m3": 40.0, "whole": True},
        {"year": 2002, "element_id": "Pond", "soaked_m3": 350.0, "drawn_m3": 30.0, "whole": True},
        {"year": 2003, "element_id": "Pond", "soaked_m3": 210.0, "drawn_m3": 55.0, "whole": True},
    ]
    made = {
        "bill": filled("bill", bill),
        "store_years": filled("store_years", years),
        "storm_balance": filled(
            "storm_balance",
            [{"storm": "10-year", "outside_m3": 1654.9, "left_m3": 1594.1, "soaked_m3": 282.7}],
        ),
        "storm_range": filled(
            "storm_range",
            [{"ground": "dry", "storm": "10-year", "outside_m3": 313.0, "soaked_m3": 290.0},
             {"ground": "wet", "storm": "10-year", "outside_m3": 4544.0, "soaked_m3": 284.0}],
        ),
        "design_proof": filled(
            "design_proof",
            [
                {"element_id": "Pond", "holds_m3": 551.0, "storage_m3": 531.0, "flag": "leaks"},
                {"element_id": "Swale", "holds_m3": 37.0, "storage_m3": 40.0, "flag": ""},
            ],
        ),
        "check_storms": filled(
            "check_storms",
            [
                {"case": "storm", "storm": "100-year", "failure": "overtopped",
                 "first_id": "Swale", "follows": ""},
                {"case": "pipe blocked", "storm": "10-year", "element_id": "Pond",
                 "failure": "none", "first_id": ""},
            ],
        ),
    }  # fmt: skip
    parameters = results.manifest["parameters"] | {"rates": rates}
    return replace(
        results,
        frames=dict(results.frames) | made,
        manifest=results.manifest | {"parameters": parameters},
    )


@pytest.fixture(scope="module")
def priced(made_results: Results) -> Results:
    return with_works(made_results, currency="EUR", contingency_pct=20.0)


@pytest.fixture(scope="module")
def page(priced: Results) -> Reader:
    html = client_html(priced)
    assert html is not None
    return Reader(html)


def test_a_reader_finds_what_is_built(page: Reader, priced: Results) -> None:
    elements = priced.frames["elements"]
    told = page.answer("What is built?")
    assert "1 tank, 1 pond and 1 swale" in told
    assert number(told.split("hold ")[1]) == pytest.approx(elements["storage_m3"].sum(), WITHIN)
    low, high = (number(part) for part in told.split("between ")[1].split(" and ")[:2])
    assert (low, high) == pytest.approx((591 - 3, 591 + 20), WITHIN)  # by sections; by the ground
    rows = page.rows("What is built?")
    for row in elements.itertuples(index=False):
        assert number(rows[row.element_id][3]) == pytest.approx(row.storage_m3, WITHIN)
        assert rows[row.element_id][4] == row.spills_to


def test_a_reader_finds_what_it_costs(page: Reader, priced: Results) -> None:
    works = float(priced.frames["bill"]["cost"].sum())
    told, rows = page.answer("What does it cost?"), page.rows("What does it cost?")
    about = number(told.split("About ")[1])
    low, high = (number(part) for part in told.split("likely between ")[1].split(" and ")[:2])
    assert (about, low, high) == pytest.approx((1.2 * works, 0.96 * works, 1.56 * works), WITHIN)
    assert "EUR" in told
    assert "1 item has no price yet" in told
    assert number(rows["Pond"][0]) == round(3031.95 + 644.77)
    assert rows["Swale"] == ["not priced"]
    assert number(rows["All works"][0]) == round(works)
    assert number(rows["Contingency, 20 %"][0]) == round(0.2 * works)
    # 20 % below and 30 % above, where the configuration leaves them out
    assert number(rows["Likely least, 20 % below"][0]) == round(1.2 * works * 0.8)
    assert number(rows["Likely most, 30 % above"][0]) == round(1.2 * works * 1.3)


def test_a_reader_finds_how_much_water_is_kept(page: Reader, priced: Results) -> None:
    told, rows = page.answer("How much water"), page.rows("How much water")
    years = priced.frames["site_years"]
    average = years[years["year"].isna()].iloc[0]
    assert number(told.split("spares ")[1]) == pytest.approx(average["mains_avoided_m3"], WITHIN)
    assert number(rows["Runs into the works"][0]) == pytest.approx(1654.9, WITHIN)
    assert number(rows["Soaks into the ground"][0]) == pytest.approx(282.7, WITHIN)
    for name, span in (
        ("Runs into the works", (313, 4544)),
        ("Soaks into the ground", (282.7, 290)),
    ):
        ends = [number(part) for part in rows[name][1].split(" to ")]
        assert ends == pytest.approx(span, WITHIN), name
    assert number(rows["Is passed on by the last outlet"][0]) == pytest.approx(1594.1, WITHIN)
    soaked = rows["Soaked into the ground"]
    assert number(soaked[0]) == 300
    assert [number(part) for part in soaked[1].split(" to ")] == [210, 350]


def test_a_reader_finds_what_is_risky_and_who_must_look(page: Reader) -> None:
    rows = page.rows("What is risky")
    told = {what: who for what, (*_, who) in rows.items()}
    assert told["In the storm that is planned for, less of its bank stays dry than is safe."]
    assert rows["As drawn, water would find a way out of it below its sill."][0] == "Pond"
    assert rows["100-year storm"] == ["water runs over the edge of Swale"]
    assert rows["10-year storm, the pipe of Pond blocked"] == ["nothing runs over"]


def test_it_has_plain_words_only(page: Reader) -> None:
    text = " ".join(page.text.values())
    assert not re.findall(r"\b[a-z]+_[a-z_]+\b", text)  # no key, column or layer
    assert not [code for code in FLAGS if "-" in code and re.search(rf"\b{code}\b", text)]
    assert "swale line" not in text.lower()  # proposals are the consultant's affair


def test_an_unknown_currency_and_missing_prices_are_told(made_results: Results) -> None:
    html = client_html(with_works(made_results))
    assert html is not None
    assert "currency of these sums is not stated" in html
    bare = client_html(made_results)
    assert bare is not None
    assert "Not priced yet" in Reader(bare).answer("What does it cost?")


def test_us_units_are_the_same_figures(make_results: Any) -> None:
    html = client_html(with_works(make_results("us"), currency="USD"))
    assert html is not None
    told = Reader(html).answer("What is built?").split("hold ")[1]
    assert number(told) == pytest.approx(591 / US_GALLON_M3, WITHIN)
    assert " gal " in told
    assert " m³" not in html


def test_costs_add_up(priced: Results) -> None:
    found = costs(priced)
    assert found is not None
    assert sum(one.cost or 0 for one in found.elements) == pytest.approx(found.works)
    assert found.total == pytest.approx(found.works + found.contingency)
    assert found.low < found.total < found.high


def test_the_wet_season_is_the_four_months_with_most_rain(made_results: Results) -> None:
    rain = [90, 70, 50, 40, 30, 20, 10, 10, 30, 60, 95, 110]
    months = filled(
        "site_months",
        [{"year": None, "month": n, "rain_mm": float(mm)} for n, mm in enumerate(rain, 1)],
    )
    results = replace(made_results, frames=dict(made_results.frames) | {"site_months": months})
    assert wet_months(results) == ("November", "February")
    tasks = calendar(results)
    assert any(task.when.startswith("Before November") for task in tasks)
    assert not any("basin" in task.where for task in tasks)  # the site has none


def test_a_run_without_a_design_has_no_such_page(make_results: Any) -> None:
    assert client_html(make_results(frames={"boundary", "contours"})) is None


def test_what_fails_at_the_high_end_is_told_of_what_fails_first(made_results: Results) -> None:
    case = {"case": "high end", "storm": "10-year", "element_id": None, "failure": "overtopped",
            "first_id": "Hill pond", "follows": None, "flag": "fails-high-end"}  # fmt: skip
    bank = {"element_id": "Hill pond", "flag": "harm-below"}
    frames = {
        **made_results.frames,
        "check_high_end": pd.DataFrame([case]),
        "bank_hazards": pd.DataFrame([bank]),
    }
    results = replace(made_results, frames=frames)
    told = "10-year storm, with as much ground as may drain there (high end, 95 %)"
    outcome = next(how for cases, how in greater_storms(results) if told in cases)
    assert outcome == "water runs over the edge of Hill pond"
    found = {one.code: one for one in risks(results)}
    assert found["fails-high-end"].where == ("Hill pond",)
    assert found["harm-below"].who == "a licensed engineer"
