"""What people look at: numbers first as plain values, then figures and pages.

What draws is imported when it is first asked for: a run of an unchanged site draws nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline._lazy import lazily

if TYPE_CHECKING:
    from brimline.report.attention import flagged
    from brimline.report.client_page import client_html
    from brimline.report.digest import assets_digest
    from brimline.report.map_page import map_html
    from brimline.report.numbers import Figure, figures
    from brimline.report.page import report_html
    from brimline.report.results import Results
    from brimline.report.sheets import sheets_html
    from brimline.report.sld import layer_style, styles

__all__ = [
    "Figure",
    "Results",
    "assets_digest",
    "client_html",
    "figures",
    "flagged",
    "layer_style",
    "map_html",
    "report_html",
    "sheets_html",
    "styles",
]

_HOMES: Final = {
    "Figure": "numbers",
    "Results": "results",
    "figures": "numbers",
    "flagged": "attention",
    "layer_style": "sld",
    "map_html": "map_page",
    "assets_digest": "digest",
    "client_html": "client_page",
    "report_html": "page",
    "sheets_html": "sheets",
    "styles": "sld",
}

__getattr__ = lazily(__name__, _HOMES)
