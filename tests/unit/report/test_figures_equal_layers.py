"""Every number of the report is a layer's: the headline figures, and each cell of each table."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest

from brimline.layers import CATALOGUE
from brimline.report import figures, flagged, report_html
from brimline.report.numbers import right_way_pct
from brimline.report.quantities import number, text, unit_for, unit_of
from brimline.units import ACRE_M2, FOOT_M, US_GALLON_M3

if TYPE_CHECKING:
    from brimline.report import Results

SPACES = re.compile("[\N{NARROW NO-BREAK SPACE}\N{NO-BREAK SPACE} ]")


class Tables(HTMLParser):
    """Reads the cells of each table that names a layer, and each headline figure."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.figures: dict[str, str] = {}
        self._layer = self._key = self._cell = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, Any]]) -> None:
        told = dict(attrs)
        if tag == "table":
            self._layer = told.get("data-layer")
            if self._layer:
                self.tables[self._layer] = []
        elif tag == "tr" and self._layer:
            self.tables[self._layer].append([])
        elif tag in {"th", "td"} and self._layer:
            self.tables[self._layer][-1].append("")
            self._cell = True
        elif tag == "small":
            self._cell = None
        elif tag == "div":
            self._key = told.get("data-key")
        elif tag == "dd" and self._key:
            self.figures[self._key] = ""
            self._cell = True

    def handle_endtag(self, tag: str) -> None:
        if tag in {"th", "td", "dd"}:
            self._cell = None
        elif tag == "table":
            self._layer = None

    def handle_data(self, data: str) -> None:
        if not self._cell:
            return
        if self._layer:
            self.tables[self._layer][-1][-1] += data
        elif self._key:
            self.figures[self._key] += data


def read(html: str) -> Tables:
    parser = Tables()
    parser.feed(html)
    return parser


def as_number(shown: str) -> float:
    return float(re.match(r"-?[\d.]+", SPACES.sub("", shown))[0])


def test_headline_figures_are_sums_and_extremes_of_layers(made_results: Results) -> None:
    frames, found = made_results.frames, {f.key: f.value for f in figures(made_results)}
    assert found["site_area_m2"] == frames["boundary"].geometry.area.sum()
    assert found["intakes"] == 2
    assert found["gathered_m2"] == 40_000.0  # only the last intake: the first drains through it
    paths, site = frames["flow_paths"], frames["boundary"].union_all()
    assert found["flow_paths_m"] == paths.intersection(site).length.sum() > 0
    assert found["swale_lines_m"] == 181.0 + 182.0 + 183.0
    assert found["storage_m3"] == 20.0 + 531.0 + 40.0
    assert found["largest_overflow_m3_s"] == 0.19
    assert found["design_rain_mm"] == 18.0
    assert found["share_without_mains"] == 0.71
    assert found["watering_need_m3"] == 40.0  # what rain leaves of 100 m³
    assert found["harvested_of_need"] == 0.355
    notes = {f.key: f.note for f in figures(made_results)}
    assert notes["share_without_mains"] == "in an average year; 58 % in the worst, 2003"
    assert notes["harvested_of_need"].endswith("; 29 % in the worst, 2003")
    assert "200" in notes["caught_m3"]
    assert found["share_rain_fed_met"] == 0.9
    assert found["caught_m3"] == 300.0
    assert found["mains_avoided_m3"] == 120.5


def test_the_storm_is_split_into_what_soaks_in_what_leaves_and_what_is_in_store(
    made_results: Results,
) -> None:
    row = {"storm": "10-year", "start_m3": 543.2, "outside_m3": 1654.9, "soaked_m3": 282.7,
           "left_m3": 1594.1, "end_m3": 321.3}  # fmt: skip
    frames = {**made_results.frames, "storm_balance": pd.DataFrame([row])}
    found = {f.key: f for f in figures(dataclasses.replace(made_results, frames=frames))}
    arrives, soaks, leaves = (
        found[f"storm_{what}_m3"].value for what in ("arrives", "soaked", "leaves")
    )
    assert 543.2 + arrives == pytest.approx(soaks + leaves + 321.3)
    told = found["storm_soaked_m3"].note.replace("\N{NO-BREAK SPACE}", " ")
    assert told == "10-year storm; in store 543.2 m³ before, 321.3 m³ afterwards"


def test_ground_figures_look_inside_the_boundary_only(made_results: Results) -> None:
    import shapely

    grid, dem = made_results.grid, made_results.rasters["elevation"]
    x, y = grid.xy(*np.mgrid[0 : grid.rows, 0 : grid.cols])
    outline = made_results.frames["boundary"].geometry.iloc[0]
    inside = shapely.contains_xy(outline, x, y) & np.isfinite(dem)  # an independent way
    found = {f.key: f.value for f in figures(made_results)}
    assert found["lowest_m"] == float(dem[inside].min())
    assert found["highest_m"] == float(dem[inside].max())
    slope = made_results.rasters["slope_pct"][inside]
    assert found["mean_slope_pct"] == pytest.approx(slope.mean(dtype=np.float64), rel=1e-6)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_printed_headline_figures_are_those_values(make_results: Any, units: str) -> None:
    results = make_results(units)
    shown = read(report_html(results)).figures
    values = {figure.key: figure for figure in figures(results)}
    assert set(shown) == set(values)
    per_si = {"site_area_m2": 1 / 1e4, "lowest_m": 1.0, "storage_m3": 1.0}
    if units == "us":
        per_si = {
            "site_area_m2": 1 / ACRE_M2,
            "lowest_m": 1 / FOOT_M,
            "storage_m3": 1 / US_GALLON_M3,
        }
    for key, factor in per_si.items():
        half_digit = 0.5 if key == "storage_m3" and units == "us" else 0.05
        assert as_number(shown[key]) == pytest.approx(values[key].value * factor, abs=half_digit)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_cell_of_every_table_is_the_layers_value(make_results: Any, units: str) -> None:
    results = make_results(units)
    tables = read(report_html(results)).tables
    assert {"intakes", "subcatchments", "swale_lines", "elements", "overflows"} <= set(tables)
    checked = 0
    for name, (head, *body) in tables.items():
        frame, columns = results.frames[name], {c.name: c for c in CATALOGUE[name].columns}
        assert len(body) == len(frame)
        by_words = {
            words: column
            for column in columns.values()
            if (words := _heading(column)) in head and column.name in frame.columns
        }
        assert set(by_words) == set(head)
        for line, (_, row) in zip(body, frame.iterrows(), strict=True):
            for words, cell in zip(head, line, strict=True):
                column = by_words[words]
                value = row[column.name]
                if column.dtype in {"int", "float"} and value == value:
                    unit = unit_for(column, units, frame[column.name])
                    factor, digits = (unit.per_si, unit.digits) if unit else (1.0, 2)
                    assert as_number(cell) == pytest.approx(
                        float(value) * factor, abs=0.5 * 10**-digits * 1.0001
                    )
                    checked += 1
    assert checked > 75


def _heading(column: Any) -> str:
    from brimline.report.tables import head_of

    return head_of(column)


def test_flags_are_told_with_their_meaning_and_mend(made_results: Results) -> None:
    found = {(flag.layer, flag.code): flag for flag in flagged(made_results)}
    assert set(found) == {
        ("intakes", "edge-limited"),
        ("intakes", "snap-ambiguous"),
        ("swale_lines", "at-flow-path"),
        ("swale_lines", "undersized"),
        ("elements", "freeboard"),
    }
    assert found["intakes", "edge-limited"].rows == ("2 Old gate",)
    html = report_html(made_results)
    for flag in found.values():
        assert flag.meaning in html
        as_one_to_look_at = f'<div class="flag" data-layer="{flag.layer}" data-code="{flag.code}">'
        assert (as_one_to_look_at in html) == (flag.severity == "look")
        assert flag.mend in html


def test_layers_that_are_missing_bring_no_figures(make_results: Any) -> None:
    assert figures(make_results(frames=set(), rasters=set()))[0].key == "design_rain_mm"
    assert flagged(make_results(frames=set())) == ()


@pytest.mark.parametrize(
    ("name", "unit", "symbol", "us_symbol"),
    [
        ("level_m", "m", "m", "ft"),
        ("area_m2", "m²", "ha", "ac"),
        ("volume_m3", "m³", "m³", "gal"),
        ("cut_m3", "m³", "m³", "yd³"),
        ("soak_mm_per_h", "mm/h", "mm/h", "in/h"),
        ("peak_m3_s", "m³/s", "m³/s", "ft³/s"),
        ("fall_pct", "%", "%", "%"),
        ("peak_h", "h", "h", "h"),
    ],
)
def test_columns_are_shown_in_the_units_of_the_trade(
    name: str, unit: str, symbol: str, us_symbol: str
) -> None:
    assert unit_of(name, unit, "metric").symbol == symbol
    assert unit_of(name, unit, "us").symbol == us_symbol


def test_speeds_in_feet() -> None:
    assert unit_of("speed_m_s", "m/s", "us").text(FOOT_M) == "1.00\N{NO-BREAK SPACE}ft/s"


@pytest.mark.parametrize("value", [None, float("nan"), np.nan])
def test_what_has_no_value_is_a_dash(value: Any) -> None:
    assert text(value, unit_of("level_m", "m", "metric"), "float") == "–"
    assert number(value, None, "float") == "–"


def test_a_bill_is_printed_whole_and_summed(make_results: Any) -> None:
    import pandas as pd

    results = make_results("us", frames=set())
    rows = [
        {"step": 1, "element_id": f"swale {n}", "item": "cut", "title": "Dig", "note": None,
         "amount": 2.0, "unit": "m³", "rate": 4.0, "cost": 8.0 if n else None}
        for n in range(80)
    ]  # fmt: skip
    hauls = [{"from_id": "a", "to_id": "b", "kind": "stockpile", "bank_m3": 7.6456,
              "loose_m3": 10.0, "distance_m": 5.0}]  # fmt: skip
    held = {"bill": pd.DataFrame(rows), "spoil_hauls": pd.DataFrame(hauls),
            "earth_volumes": pd.DataFrame([{"element_id": "a", "cut_m3": 1.0, "fill_m3": 1.0,
                                            "cut_error_m3": 1.5292, "fill_error_m3": 1.0,
                                            "built_m3": 7.6456}])}  # fmt: skip
    results = dataclasses.replace(results, frames=held)
    found = {f.key: f for f in figures(results)}
    assert found["cost"].value == 79 * 8.0
    assert found["cost"].note == "currency not stated; 727 with 15 % contingency; 1 row has no rate"
    # 1 m³ with a standard error of 1.5292 m³, or 2 yd³: from nothing to 1.308 + 1.645 · 2 yd³
    told = found["cut_m3"].note.replace("\N{NO-BREAK SPACE}", " ")
    assert told.startswith("5 to 95 %: 0.0 yd³ to 4.6 yd³, by the survey")
    tables = read(report_html(results)).tables
    assert len(tables["bill"]) == 81 + 5  # and the sums at its end
    # earth in cubic yards throughout, 0.76456 m³ each
    assert "10.0" in tables["spoil_hauls"][1]
    assert "10.0" in tables["earth_volumes"][1]


def test_the_share_that_falls_right_is_weighed_by_length_and_leaves_out_what_is_not_known():
    lines = pd.DataFrame({"length_m": [30.0, 10.0, 99.0], "share_right_pct": [100.0, 20.0, np.nan]})
    assert right_way_pct(lines) == pytest.approx((30 * 100 + 10 * 20) / 40)
    assert right_way_pct(lines[2:]) is None


def test_rows_that_a_person_drew_are_no_proposals(made_results: Results) -> None:
    rows = made_results.frames["swale_lines"].copy()
    rows["drawn"] = [False, True, False]
    frames = {**made_results.frames, "swale_lines": rows}
    told = {f.key: f for f in figures(dataclasses.replace(made_results, frames=frames))}
    assert told["swale_lines_m"].value == 181.0 + 183.0
    assert told["swale_lines_m"].note == "2 lines"
    rows["drawn"] = True
    told = {f.key for f in figures(dataclasses.replace(made_results, frames=frames))}
    assert "swale_lines_m" not in told
