"""The plates: repeatable, complete, in the right place, and left out where nothing is to draw."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING, Any

import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from brimline.report.palette import style
from brimline.report.plates import album, building, svg
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.pens import by_rule
from brimline.report.plates.scales import drawing_scale, scale_words
from brimline.report.plates.sheet import Sheet
from brimline.report.plates.strip import Strip, nice_below

if TYPE_CHECKING:
    from brimline.report import Results

MAPS = {"concept", "base", "slope", "sources", "chance", "level-lines", "cascade-plan", "staging"}


def names(results: Results) -> list[str]:
    return [plate.name for plate in album(results)]


def test_a_full_run_has_every_plate_in_order(made_results: Results) -> None:
    assert names(made_results) == [
        "concept", "base", "slope", "sources", "chance", "level-lines", "cascade-plan",
        "cascade-diagram", "storm-levels", "year", "staging",
    ]  # fmt: skip


def test_the_same_results_give_the_same_bytes(made_results: Results) -> None:
    first, second = album(made_results), album(made_results)
    assert [plate.svg for plate in first] == [plate.svg for plate in second]
    assert not any("2026" in plate.svg or "<dc:date>" in plate.svg for plate in first)


@pytest.mark.parametrize(
    ("held", "wanted"),
    [
        ({"boundary"}, []),
        ({"swale_lines"}, ["level-lines"]),
        ({"flow_paths"}, ["sources"]),
        ({"subcatchments"}, ["sources"]),
        ({"elements"}, ["concept", "cascade-plan", "cascade-diagram"]),
        ({"storm_series"}, []),
        ({"site_months", "site_years"}, ["year"]),
        ({"size_curves"}, []),
        ({"building_steps"}, []),
        (set(), []),
    ],
)
def test_plates_without_their_layers_are_left_out(
    make_results: Any, held: set[str], wanted: list[str]
) -> None:
    assert names(make_results(frames=held, rasters={"elevation"})) == wanted


def test_plates_are_well_formed_and_do_not_share_identifiers(made_results: Results) -> None:
    seen: set[str] = set()
    for plate in album(made_results):
        root = ET.fromstring(plate.svg)  # our own text
        own = [element.get("id") for element in root.iter() if element.get("id")]
        assert not seen & set(own)
        seen |= set(own)
        for wanted in re.findall(r"url\(#([^)]+)\)", plate.svg):
            assert wanted in own
        assert plate.alt
        assert plate.caption


def test_map_plates_name_scale_north_crs_and_date(
    made_results: Results, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(svg.SETTINGS, "svg.fonttype", "none")
    for plate in album(made_results):
        if plate.name in MAPS:
            told = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", plate.svg))
            dated = "" if plate.name == "concept" else " · 2031-05-04"  # its page bears the date
            assert f"EPSG:32626{dated}" in told, plate.name
            assert re.search(r"\bN\b", told), plate.name
            assert re.search(r"\b\d+ m\b", told), plate.name
            assert "Boundary" in told, plate.name


def test_every_map_plate_has_the_ground_beneath(made_results: Results) -> None:
    for plate in album(made_results):
        assert (plate.svg.count("data:image/jpeg;base64,") == 1) == (plate.name in MAPS)
        assert len(plate.svg) < 600_000


def test_the_ground_lies_where_the_cells_are(made_results: Results) -> None:
    frame = MapFrame.around(made_results)
    sheet = Sheet(made_results, frame)
    frame = sheet.frame  # a little more ground than asked for, at a plain scale
    text = sheet.svg("x")
    image = re.search(
        r'<image class="ground" x="(.*?)" y="(.*?)" width="(.*?)" height="(.*?)"', text
    )
    x, y, width, height = (float(part) for part in image.groups())
    inset = (180 * 72 / 25.4 - sheet.width) / 2
    grid = made_results.grid
    # the picture's corners, back on the map, are corners of cells
    west = frame.west + (x - inset) / sheet.scale
    north = frame.north - y / sheet.scale
    assert (west - grid.west_m) / grid.cell_m == pytest.approx(
        round((west - grid.west_m) / grid.cell_m), abs=0.02
    )
    assert (grid.north_m - north) / grid.cell_m == pytest.approx(
        round((grid.north_m - north) / grid.cell_m), abs=0.02
    )
    assert west <= max(frame.west, grid.west_m) + 0.1
    east, south = grid.bounds[2], grid.bounds[1]
    assert west + width / sheet.scale >= min(frame.east, east) - 0.1
    assert north - height / sheet.scale <= max(frame.south, south) + 0.1


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_scale_bar_is_as_long_as_it_says(make_results: Any, units: str) -> None:
    results = make_results(units)
    axes = Figure().add_axes((0, 0, 1, 1))
    mm_a_metre = 0.41
    Strip(results).draw(axes, 180.0, mm_a_metre)
    halves = [p for p in axes.patches if isinstance(p, Rectangle) and p.get_height() == 1.3]
    told = next(t.get_text() for t in axes.texts if re.fullmatch(r"[\d.]+ (m|ft)", t.get_text()))
    value, unit = told.split()
    metres = float(value) * (0.3048 if unit == "ft" else 1.0)
    assert sum(half.get_width() for half in halves) == pytest.approx(metres * mm_a_metre)
    assert unit == ("ft" if units == "us" else "m")


@pytest.mark.parametrize(
    ("value", "nice"), [(1, 1), (1.9, 1), (2, 2), (4.99, 2), (5, 5), (99, 50), (0.037, 0.02)]
)
def test_round_lengths(value: float, nice: float) -> None:
    assert nice_below(value) == pytest.approx(nice)


def test_rules_share_out_every_row_once(made_results: Results) -> None:
    for name in ("contours", "flow_paths", "elements", "surfaces"):
        layer = made_results.layer(name)
        parts = by_rule(layer, style(name).rules)
        assert sum(len(rows) for _, rows in parts) == len(layer)


def test_a_themed_plate_keeps_its_paper_colours_as_fallback(made_results: Results) -> None:
    plate = album(made_results)[0].svg
    themed = svg.themed(plate)
    assert "var(--c1c2526,#1c2526)" in themed
    assert re.sub(r"var\(--c([0-9a-f]{6}),#\1\)", r"#\1", themed) == plate


def test_cut_and_fill_are_named_and_small_changes_left_out(made_results: Results) -> None:
    from dataclasses import replace

    import numpy as np

    from brimline.report.plates.building import changed_m
    from brimline.report.plates.classes import class_titles
    from brimline.report.ramps import RAMPS

    surveyed = made_results.rasters["elevation"]
    designed = surveyed.copy()
    designed[50, 50], designed[60, 60], designed[70, 70] = (
        surveyed[50, 50] - 0.7,
        np.nan,
        (surveyed[70, 70] + 0.04),
    )
    rasters = dict(made_results.rasters) | {"design_surface": designed}
    change = changed_m(replace(made_results, rasters=rasters))
    assert np.isfinite(change).sum() == 1
    ramp = RAMPS["change_m"]
    words = [title for title, _ in class_titles(made_results, ramp)]
    assert words[int(ramp.classes(change)[50, 50])] == "cut 0.5 to 1 m"
    assert words[int(ramp.classes(np.array([0.3]))[0])] == "fill 0.2 to 0.5 m"
    assert (words[0], words[-1]) == ("cut over 1 m", "fill over 1 m")
    assert changed_m(made_results) is None


def test_every_step_that_builds_has_its_number_on_the_map(
    made_results: Results, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = {}

    def note(self: Sheet, shape: Any, text: str, **colours: str) -> None:
        written[text] = shape.geom_type

    monkeypatch.setattr(Sheet, "number", note)
    assert building.staging(made_results, MapFrame.around(made_results, ("boundary",), 0.1))
    # step 1 makes the brook safe; tank, pond and swale are dug, their overflows are lines
    assert written == {
        "2": "Point", "3": "Polygon", "4": "LineString", "5": "LineString", "6": "LineString",
        "7": "LineString",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("least", "us", "plain", "words"),
    [
        (1930.0, False, 2000.0, "1:2\N{NARROW NO-BREAK SPACE}000"),
        (500.0, False, 500.0, "1:500"),
        (101.0, False, 125.0, "1:125"),
        (480.0, True, 480.0, "1 in = 40 ft"),
        (481.0, True, 600.0, "1 in = 50 ft"),
    ],
)
def test_a_plan_has_a_plain_scale(least: float, us: bool, plain: float, words: str) -> None:
    # ISO 5455:1979 names 1, 2 and 5 and their multiples by ten; a US engineer's rule 10 to 60 ft
    # an inch; those between are common practice, no source
    found = drawing_scale(least, us=us)
    assert found == pytest.approx(plain)
    assert scale_words(found, us=us) == words


def test_a_millimetre_on_the_printed_sheet_is_what_its_scale_says(made_results: Results) -> None:
    sheet = Sheet(made_results, MapFrame.around(made_results))
    denominator = 72 / 25.4 * 1000 / sheet.scale  # points a metre on paper over points a metre
    assert drawing_scale(denominator * 0.999999, us=False) == pytest.approx(denominator)
    assert sheet.width <= 180 * 72 / 25.4 * (1 + 1e-9)  # as the page's print style has it
