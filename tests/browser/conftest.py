"""A real Chromium, offline, over pages made from the invented site."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from brimline.report import Results

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--enable-unsafe-swiftshader",  # WebGL without a graphics card
]
SETTLED = """
window.settled = async () => { // the map fills the room that panels leave it, and has drawn all
  const { map } = window.brimline;
  const [room, canvas] = [map.getContainer(), map.getCanvas()];
  const fills = () =>
    room.clientWidth === canvas.clientWidth && room.clientHeight === canvas.clientHeight;
  do await new Promise((done) => { map.once("idle", done); map.triggerRepaint(); });
  while (!fills());
};
"""
DESKTOP = (900, 600)  # small: without a graphics card every pixel costs


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=found, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def written(made_results: Results, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from brimline.report import client_html, map_html, report_html
    from brimline.report.drawings import drawings_html
    from brimline.report.options_page import Alternative, option_rows, options_html
    from brimline.report.survey_page import survey_html

    folder = tmp_path_factory.mktemp("run")
    (folder / "report.html").write_text(report_html(made_results), encoding="utf-8")
    (folder / "map.html").write_text(map_html(made_results), encoding="utf-8")
    (folder / "client.html").write_text(client_html(made_results) or "", encoding="utf-8")
    (folder / "survey.html").write_text(survey_html(made_results), encoding="utf-8")
    (folder / "drawings.html").write_text(drawings_html(made_results), encoding="utf-8")
    headline = made_results.manifest.get("headline", {})
    said = {"storage_m3": 900.0, "cut_m3": 700.0, "fill_m3": 500.0}
    other = replace(made_results, manifest=made_results.manifest | {"headline": headline | said})
    for name, units in (("options", "metric"), ("options_us", "us")):
        small, large = (replace(one, units=units) for one in (made_results, other))
        designs = [
            Alternative("as_drawn", small, ("inputs.plan = plan.gpkg",), 40, 0),
            Alternative("a_larger_pond", large, ("works.pond_depth_m = 2.2",), 12, 28),
        ]
        text = options_html(designs, option_rows(designs))
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def opened(browser: Browser, written: Path) -> Iterator[Callable[..., Page]]:
    """Open a page of the run folder from the file system; faults and requests end the test."""
    contexts: list[Any] = []
    faults: list[str] = []

    def open_page(
        name: str, size: tuple[int, int] = DESKTOP, scheme: str = "light", *, touch: bool = False
    ) -> Page:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            offline=True,
            has_touch=touch,
            reduced_motion="reduce",
        )
        contexts.append(context)
        page = context.new_page()
        page.add_init_script(SETTLED)
        page.on("console", lambda said: said.type == "error" and faults.append(said.text))
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("request", lambda asked: _refuse_network(asked.url, faults))
        page.goto((written / name).as_uri())
        if name == "map.html":
            page.wait_for_selector("html[data-ready=yes]", timeout=30_000)
            page.evaluate("() => settled()")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not faults


def _refuse_network(url: str, faults: list[str]) -> None:
    if not url.startswith(("file:", "data:", "blob:")):
        faults.append(f"the page asked for {url}")
