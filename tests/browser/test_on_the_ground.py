"""The map page in the hand: position, the way to a stake, notes, and what a thumb can reach."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import gpxpy
import pytest
from pyproj import Geod, Transformer

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

STANDING = (352_120.0, 5_211_080.0)  # on the map's grid, EPSG:32626
TO_DEGREES = Transformer.from_crs("EPSG:32626", "EPSG:4326", always_xy=True)


@pytest.fixture
def phone(browser: Browser, written: Path) -> Page:
    longitude, latitude = TO_DEGREES.transform(*STANDING)
    context = browser.new_context(
        viewport={"width": 390, "height": 780},
        has_touch=True,
        geolocation={"longitude": longitude, "latitude": latitude, "accuracy": 6.0},
        permissions=["geolocation"],
    )
    page = context.new_page()
    page.goto((written / "map.html").as_uri())
    page.wait_for_selector("html[data-ready]", timeout=60_000)
    yield page
    context.close()


def test_it_shows_where_one_stands_and_the_way_to_what_is_picked(phone: Page) -> None:
    phone.get_by_role("button", name="Where I am").click()
    phone.wait_for_function("() => window.brimline.field.state.here")
    here: dict[str, Any] = phone.evaluate(
        "() => { const { field, data } = window.brimline; const { point, accuracy } ="
        " field.state.here; return { x: data.origin[0] + point[0], y: data.origin[1] + point[1],"
        " accuracy }; }"
    )
    assert math.dist((here["x"], here["y"]), STANDING) < 0.05
    assert here["accuracy"] == 6.0
    phone.evaluate(
        "() => { const { data, field } = window.brimline; const layer = data.layers.find("
        "(one) => one.name === 'elements'); const row = layer.rows.find((one) => one.n === 'Tank');"
        " document.dispatchEvent(new CustomEvent('picked', { detail: { layer, row } })); }"
    )
    told = phone.locator("#here-said").inner_text().replace("\u00a0", " ")
    # the tank stands at 205, 148 of the site; bearings on the ellipsoid by Karney's method (2013)
    tank = (352_205.0, 5_211_148.0)
    assert f"{math.dist(STANDING, tank):.1f} m" in told
    bearing, _, far = Geod(ellps="WGS84").inv(
        *TO_DEGREES.transform(*STANDING), *TO_DEGREES.transform(*tank)
    )
    on_grid = float(told.split("bearing ")[1][:3])
    assert far == pytest.approx(math.dist(STANDING, tank), rel=1e-3)
    # grid north is up to 3 degrees off true north in this zone
    assert on_grid == pytest.approx(bearing, abs=3.0)
    assert on_grid == round(math.degrees(math.atan2(85, 68)))


def test_notes_are_kept_and_saved_where_they_were_made(phone: Page, tmp_path: Path) -> None:
    phone.get_by_role("button", name="Where I am").click()
    phone.wait_for_function("() => window.brimline.field.state.here")
    phone.get_by_role("button", name="Note", exact=True).click()
    phone.get_by_label("Note", exact=True).fill("Rock at 40 cm")
    phone.get_by_label("About").fill("Pond-E03")
    phone.get_by_label("it was set here instead").check()
    phone.get_by_role("button", name="Keep the note").click()
    assert phone.locator("#notes-count").inner_text() == "1"
    phone.reload()
    phone.wait_for_selector("html[data-ready]", timeout=60_000)
    assert phone.evaluate("() => window.brimline.field.state.notes.length") == 1
    phone.evaluate("() => { document.getElementById('field').hidden = false; }")
    with phone.expect_download() as coming:
        phone.get_by_role("button", name="Save as GeoJSON").click()
    coming.value.save_as(tmp_path / "notes.geojson")
    (note,) = json.loads((tmp_path / "notes.geojson").read_text(encoding="utf-8"))["features"]
    assert note["properties"]["text"] == "Rock at 40 cm"
    assert note["properties"]["about"] == "Pond-E03"
    assert note["properties"]["moved"] is True
    assert note["properties"]["accuracy_m"] == 6.0
    assert note["geometry"]["coordinates"] == pytest.approx(TO_DEGREES.transform(*STANDING))
    with phone.expect_download() as coming:
        phone.get_by_role("button", name="Save as GPX").click()
    coming.value.save_as(tmp_path / "notes.gpx")
    (point,) = gpxpy.parse((tmp_path / "notes.gpx").read_text(encoding="utf-8")).waypoints
    assert (point.name, point.description, point.type) == ("Pond-E03", "Rock at 40 cm", "moved")
    assert (point.longitude, point.latitude) == pytest.approx(TO_DEGREES.transform(*STANDING))


def test_a_thumb_reaches_every_control(opened: Callable[..., Page]) -> None:
    # WCAG 2.1, success criterion 2.5.5: 44 by 44 CSS pixels
    page = opened("map.html", (390, 780), touch=True)
    page.get_by_role("button", name="Note", exact=True).click()
    boxes = page.locator(
        "#toolbar button:visible, #panel-button, #field button:visible,"
        " #field input:not([type=checkbox]):visible, #field .tick, #field textarea:visible"
    ).evaluate_all(
        "(all) => all.map((one) => { const b = one.getBoundingClientRect();"
        " return [one.textContent, b.left, b.right, b.width, b.height]; })"
    )
    assert len(boxes) >= 16
    for name, left, right, width, height in boxes:
        assert left >= 0, name
        assert right <= 390, name
        assert width >= 44, name
        assert height >= 44, name
