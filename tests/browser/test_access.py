"""Automated checks of accessibility: axe finds nothing serious on either page, in either theme."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def serious(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [
        f"{fault['id']} ({fault['impact']}): {fault['nodes'][0]['html'][:160]}"
        for fault in found
        if fault["impact"] in {"serious", "critical"}
    ]


@pytest.mark.parametrize(
    ("name", "scheme"),
    [("report.html", "light"), ("report.html", "dark"), ("client.html", "light"),
     ("client.html", "dark"), ("drawings.html", "light"), ("options.html", "light"),
     ("options.html", "dark"), ("survey.html", "light"), ("survey.html", "dark")],
)  # fmt: skip
def test_what_is_read(opened: Callable[..., Page], name: str, scheme: str) -> None:
    assert serious(opened(name, scheme=scheme)) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_map(opened: Callable[..., Page], scheme: str) -> None:
    page = opened("map.html", scheme=scheme)
    page.get_by_label("Find by number or name").fill("swale line 2")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Storm").click()
    page.get_by_role("radio", name="Slope").check()
    assert serious(page) == []


@pytest.mark.parametrize(
    "name", ["report.html", "client.html", "options.html", "options_us.html", "survey.html"]
)
def test_what_is_read_fits_a_phone(opened: Callable[..., Page], name: str) -> None:
    page = opened(name, (390, 780))
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
