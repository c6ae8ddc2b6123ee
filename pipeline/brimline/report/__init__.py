"""What people look at: numbers first as plain values, then figures and pages.

What draws is imported when it is first asked for: a run of an unchanged site draws nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from brimline.report.attention import flagged
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
    "report_html": "page",
    "sheets_html": "sheets",
    "styles": "sld",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever is asked for
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
