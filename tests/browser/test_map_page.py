"""The map page as a person meets it, in a real browser without a network."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely

from brimline.report import map_html

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from brimline.report import Results

pytestmark = pytest.mark.browser

PHONE = (390, 780)
HARD, THIN = "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}"


def settle(page: Page) -> None:
    page.evaluate("() => settled()")


def plain(text: str | None) -> str:
    return (text or "").replace(HARD, " ").replace(THIN, "")


def on_screen(page: Page, x: float, y: float) -> tuple[float, float]:
    """Return where a map coordinate is drawn, in pixels of the page."""
    found: dict[str, float] = page.evaluate(
        "([x, y]) => { const { map, toMap, data } = window.brimline;"
        " const at = map.project(toMap([x - data.origin[0], y - data.origin[1]]));"
        " const box = map.getCanvas().getBoundingClientRect();"
        " return { x: at.x + box.left, y: at.y + box.top }; }",
        [x, y],
    )
    return found["x"], found["y"]


def drawn(page: Page, layer: str) -> int:
    """Return how many features of a layer the map has drawn."""
    count: int = page.evaluate(
        "(name) => window.brimline.map.queryRenderedFeatures()"
        ".filter((one) => one.source === name).length",
        layer,
    )
    return count


def whole_site(page: Page) -> None:
    """Show all of the site: the page opens on the design."""
    page.get_by_role("button", name="Whole site").click()
    settle(page)


def test_it_loads_and_draws_every_layer(opened: Callable[..., Page], written: Path) -> None:
    page = opened("map.html")
    assert (written / "map.html").stat().st_size < 10_000_000
    assert page.locator("#map-note").inner_text() == ""
    for layer in ("contours", "flow_paths", "elements", "overflows", "intakes"):
        assert drawn(page, layer) > 0, layer
    assert drawn(page, "swale_lines") == 0  # it opens on the design; proposals wait
    page.get_by_role("button", name="Whole site").click()
    settle(page)
    assert drawn(page, "boundary") > 0
    colours = page.evaluate(
        "() => { const c = window.brimline.map.getCanvas();"
        " const two = document.createElement('canvas'); two.width = c.width; two.height = c.height;"
        " const pen = two.getContext('2d'); pen.drawImage(c, 0, 0);"
        " const all = pen.getImageData(0, 0, c.width, c.height).data; const seen = new Set();"
        " for (let i = 0; i < all.length; i += 397 * 4)"
        " seen.add(all[i] << 16 | all[i + 1] << 8 | all[i + 2]);"
        " return seen.size; }"
    )
    assert colours > 50  # relief and lines, not one flat sheet


def test_layers_switch_off_and_on(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    switch = page.get_by_role("checkbox", name=re.compile("^Proposed swale lines"))
    assert not switch.is_checked()  # the page opens on the design
    switch.check()
    settle(page)
    before = drawn(page, "swale_lines")
    switch.uncheck()
    settle(page)
    assert drawn(page, "swale_lines") == 0
    switch.check()
    settle(page)
    assert drawn(page, "swale_lines") == before > 0


def test_a_ground_picture_brings_its_legend(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    page.get_by_role("radio", name="Slope").check()
    settle(page)
    assert page.locator("#ramp li").count() == 7
    assert plain(page.locator("#ramp li").nth(3).inner_text()) == "10 to 15 %"
    shown = page.evaluate(
        "() => window.brimline.map.getLayoutProperty('over/slope_pct', 'visibility')"
    )
    assert shown == "visible"


def test_a_click_gives_the_elements_figures(
    opened: Callable[..., Page], made_results: Results
) -> None:
    page = opened("map.html")
    pond = made_results.frames["elements"].set_index("element_id").loc["Pond"]
    inside = pond.geometry.representative_point()
    page.mouse.move(*on_screen(page, inside.x, inside.y))
    page.wait_for_selector("#tip:not([hidden])")
    assert "Pond" in page.locator("#tip").inner_text()
    page.mouse.click(*on_screen(page, inside.x, inside.y))
    card = page.locator("#card")
    assert page.locator("#card-title").inner_text() == "Element Pond"
    told = {
        row.locator("th").evaluate("(cell) => cell.firstChild.textContent"): plain(
            row.locator("td").inner_text()
        )
        for row in card.locator("tr").all()
    }
    assert told["Spill level"] == f"{pond['spill_level_m']:.2f} m"
    assert told["Storage"] == f"{pond['storage_m3']:.1f} m³"
    assert told["Spills to"] == "Swale"
    assert told["Drawdown"] == "20.0 h"
    assert "Volume to the spill level." in card.inner_text()


def test_a_flagged_row_says_why_and_what_mends_it(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    page.get_by_label("Find by number or name").fill("swale line 2")
    page.keyboard.press("Enter")
    text = page.locator("#card").inner_text()
    assert "at-flow-path" in text
    assert "holding back concentrated flow is a dam" in text
    assert "Cross the path with a culvert" in text


def test_search_finds_by_identifier_and_goes_there(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    page.get_by_label("Find by number or name").fill("old gate")
    assert page.locator("#hits-said").inner_text() == "1 found"
    page.locator("#hits button").first.click()
    settle(page)
    centre = page.evaluate(
        "() => { const { map, fromMap } = window.brimline; return fromMap(map.getCenter()); }"
    )
    assert centre == pytest.approx([190 - 160, 61 - 120], abs=1.0)
    assert "Intake 2 Old gate" in page.locator("#card-title").inner_text()


def drag_section(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.get_by_role("button", name="Long section").click()
    page.evaluate(
        "() => { const { map, toMap, data } = window.brimline;"
        " map.fitBounds(data.bounds.map(toMap), { padding: 10, duration: 0 }); }"
    )
    settle(page)
    page.mouse.move(*on_screen(page, *start))
    page.mouse.down()
    middle = [(a + b) / 2 for a, b in zip(start, end, strict=True)]
    page.mouse.move(*on_screen(page, *middle))
    page.mouse.move(*on_screen(page, *end))
    page.mouse.up()


def samples_of(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate("() => window.brimline.tools.state.section")
    return found


def test_a_long_section_equals_the_surface(
    opened: Callable[..., Page], made_results: Results
) -> None:
    """Against scipy's interpolation of the elevation itself, within the stated half centimetre."""
    from scipy.ndimage import map_coordinates

    page = opened("map.html")
    whole_site(page)
    page.get_by_role("checkbox", name=re.compile("^Proposed swale lines")).check()
    settle(page)
    grid, dem = made_results.grid, made_results.rasters["elevation"]
    drag_section(
        page, (grid.west_m + 60, grid.north_m - 60), (grid.west_m + 250, grid.north_m - 170)
    )
    samples = samples_of(page)
    assert len(samples) > 150
    origin = np.array([grid.west_m + 160, grid.north_m - 120])
    at = np.array([s["point"] for s in samples]) + origin
    row, col = grid.position(at[:, 0], at[:, 1])
    truth = map_coordinates(dem.astype(float), [row, col], order=1)
    levels = np.array([s["level"] for s in samples])
    assert np.abs(levels - truth).max() <= 0.005 + 1e-4
    length = np.hypot(*(at[-1] - at[0]))
    assert samples[-1]["along"] == pytest.approx(length)
    said = plain(page.locator("#section-said").inner_text())
    assert f"Length {length:.1f} m" in said
    assert f"from {levels[0]:.2f} m to {levels[-1]:.2f} m" in said
    assert page.locator("#section-chart path").count() >= 1
    swales = made_results.frames["swale_lines"]  # what it crosses, by shapely
    line = shapely.LineString([at[0], at[-1]])
    crossed = swales[swales.intersects(line)]
    along = crossed.geometry.intersection(line).map(line.project)
    wanted = [f"Swale line {number}" for number in crossed["swale_id"].iloc[along.argsort()]]
    marks = [mark.text_content() for mark in page.locator("#section-chart .mark").all()]
    assert [mark for mark in marks if mark.startswith("Swale line")] == wanted
    assert len(wanted) == 3


def test_a_section_over_ground_without_data_has_a_gap(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    whole_site(page)
    west, north = 352_000.0, 5_211_240.0
    drag_section(page, (west + 1, north - 1), (west + 60, north - 1))
    levels = [sample["level"] for sample in samples_of(page)]
    assert any(level is None or level != level for level in levels[:4])
    assert all(isinstance(level, int | float) for level in levels[20:])


def test_measuring_length_and_area(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    whole_site(page)
    page.get_by_role("button", name="Measure").click()
    corners = np.array([(100, 100), (180, 100), (180, 160)])
    for at in [on_screen(page, 352_000.0 + x, 5_211_000.0 + y) for x, y in corners]:
        page.mouse.click(*at)
        settle(page)  # the words beneath grow and shrink by a line; the ground must stay
    points = page.evaluate(
        "() => { const { tools, data } = window.brimline;"
        " return tools.state.points.map(([x, y]) => [x + data.origin[0], y + data.origin[1]]); }"
    )
    assert np.abs(np.array(points) - [352_000.0, 5_211_000.0] - corners).max() < 0.8  # one pixel
    said = plain(page.locator("#measure-said").inner_text())
    length = float(re.search(r"Length ([\d.]+) m", said)[1])
    area = float(re.search(r"area inside (\d+) m²", said)[1])
    assert length == pytest.approx(140, abs=1.5)  # a pixel or so at each end
    assert area == pytest.approx(2400, rel=0.03)
    page.keyboard.press("Escape")
    assert page.locator("#bench").is_hidden()


def test_a_section_by_keyboard_alone(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    whole_site(page)
    page.get_by_role("button", name="Long section").focus()
    page.keyboard.press("Enter")
    page.locator(".maplibregl-canvas").focus()
    page.keyboard.press("Enter")
    for _ in range(2):
        page.keyboard.press("ArrowRight")
        settle(page)
    page.keyboard.press("Enter")
    samples = samples_of(page)
    assert len(samples) > 2
    assert samples[-1]["along"] > 5
    assert page.locator("#cross").is_visible()


def test_everything_is_reached_by_tab(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                "() => { const e = document.activeElement;"
                " return e.id || e.dataset?.tool || e.name || e.className; }"
            )
        )
    wanted = {"search", "on-swale_lines", "section", "measure", "storm-tool", "zoom-in", "print"}
    assert wanted <= reached | ({"storm-tool"} if "storm" in reached else set())
    assert "maplibregl-canvas" in reached


def test_the_storm_runs_over_the_cascade(
    opened: Callable[..., Page], made_results: Results
) -> None:
    page = opened("map.html")
    page.get_by_role("button", name="Storm").click()
    slider = page.locator("#storm-time")
    slider.fill("4")
    series = made_results.frames["storm_series"]
    row = series[(series["element_id"] == "Pond") & (series["time_h"] == 5)].iloc[0]
    level = page.locator("#storm-list button[data-element=Pond] .level")
    assert plain(level.inner_text()) == f"{row['level_m']:.2f} m"
    assert "5.0 h" in plain(page.locator("#storm-now").inner_text())
    state = page.evaluate("() => window.brimline.map.getFeatureState({source: 'elements', id: 1})")
    assert state["full"] == pytest.approx((row["level_m"] - 108.5) / 1.5, abs=0.001)
    slider.fill("0")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("() => Number(document.getElementById('storm-time').value) >= 3")
    page.get_by_role("button", name="Pause").click()
    assert page.locator("#storm-chart path").count() == 1


def test_themes_swap_and_keep_switches(opened: Callable[..., Page]) -> None:
    page = opened("map.html", scheme="dark")
    whole_site(page)
    page.get_by_role("checkbox", name=re.compile("^Proposed swale lines")).check()
    settle(page)
    dark = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
    page.get_by_role("checkbox", name=re.compile("^Contours")).uncheck()
    page.get_by_role("button", name="Light or dark").click()
    settle(page)
    assert page.evaluate("() => getComputedStyle(document.body).backgroundColor") != dark
    assert drawn(page, "contours") == 0
    assert drawn(page, "swale_lines") > 0


def test_it_fits_a_phone(opened: Callable[..., Page]) -> None:
    page = opened("map.html", PHONE, touch=True)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= PHONE[0]
    assert page.locator("#panel").is_hidden()
    page.get_by_role("button", name="Layers").click()
    assert page.locator("#panel").is_visible()
    page.get_by_role("button", name="Layers").click()
    box = page.locator("#map").bounding_box()
    assert box is not None
    assert box["height"] > 0.6 * PHONE[1]


def test_the_scale_bar_is_true(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    words = plain(page.locator("#scale-words").inner_text())
    width = page.locator("#scale-bar").bounding_box()["width"]
    west, south = 352_000.0, 5_211_000.0
    a, b = on_screen(page, west + 50, south + 50), on_screen(page, west + 150, south + 50)
    metres = float(words.split()[0])
    assert width / metres == pytest.approx((b[0] - a[0]) / 100, rel=0.03)


def test_it_prints_one_sheet_with_map_and_legend(opened: Callable[..., Page]) -> None:
    page = opened("map.html")
    whole_site(page)
    page.get_by_role("checkbox", name=re.compile("^Proposed swale lines")).check()
    settle(page)
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    assert page.locator("#print-map").is_visible()
    assert page.locator("#print-legend li").count() > 8
    assert page.locator("#toolbar").is_hidden()


def test_what_the_ground_offers_is_laid_over_each_other(
    opened: Callable[..., Page], made_results: Results, written: Path
) -> None:
    growing = np.full(made_results.grid.shape, 333131, np.int32)  # sheltered, moist, free of cold
    growing[:, :100] += 1  # cold air pools in the west
    growing[:80] -= 100_000  # and the north lacks sun
    results = replace(made_results, rasters={**made_results.rasters, "growing": growing})
    (written / "offers.html").write_text(map_html(results), encoding="utf-8")
    page = opened("offers.html")
    page.wait_for_selector("html[data-ready=yes]", timeout=30_000)
    settle(page)

    def shown() -> list[str]:
        found: list[str] = page.evaluate(
            "() => window.brimline.map.getStyle().layers.filter((one) =>"
            " one.id.startsWith('offer/') && one.layout.visibility === 'visible')"
            ".map((one) => one.id)"
        )
        return found

    assert shown() == []
    for words in ("Cold air pools", "Below full sun"):
        page.get_by_label(words).check()
    settle(page)
    assert shown() == ["offer/cold", "offer/shade"]
    page.get_by_role("button", name="Light or dark").click()
    settle(page)
    assert shown() == ["offer/cold", "offer/shade"]  # themes change, what is shown does not
    page.get_by_label("Cold air pools").uncheck()
    settle(page)
    assert shown() == ["offer/shade"]
