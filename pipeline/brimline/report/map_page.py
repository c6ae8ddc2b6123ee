"""``map.html``: an interactive map in one file, which needs no network and no server.

Drawn by MapLibre GL JS 5 (BSD-3-Clause; its licence lies beside it in ``assets/maplibre-gl``).
Releases from 6 on are modules only, which a page opened from the file system cannot load.
"""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from brimline.report.map_data import map_json
from brimline.report.palette import theme_colours
from brimline.report.templates import environment

if TYPE_CHECKING:
    from collections.abc import Callable

    from brimline.report.results import Results

_SCRIPTS: Final = (
    "units.js", "ground.js", "symbols.js", "layers.js", "details.js", "chart.js", "tools.js",
    "storm.js", "field.js", "page.js",
)  # fmt: skip


def map_html(results: Results, text: Callable[[str], str | None] | None = None) -> str:
    """Return the map page as one HTML text; the same results give the same text.

    Parameters
    ----------
    text : returns each part of what it carries as JSON (`map_data.part_names`); None makes them.
    """
    data = map_json(results, text)
    return (
        environment()
        .get_template("map.html.j2")
        .render(
            site=results.site_name,
            date=results.date,
            crs=results.crs_text,
            version=results.manifest.get("brimline", ""),
            data=Markup(data.replace("<", "\\u003c")),  # noqa: S704 - JSON, no tag can end it
            library=_inline("maplibre-gl/maplibre-gl.js"),
            library_css=_inline("maplibre-gl/maplibre-gl.css"),
            licence=_asset("maplibre-gl/LICENSE.txt").split("\n\n---")[0],
            scripts=Markup("\n").join(_inline(f"map/{name}") for name in _SCRIPTS),
            light=theme_colours(dark=False),
            dark=theme_colours(dark=True),
        )
    )


def _inline(path: str) -> Markup:
    """Return a script or style sheet of ours or the library's, safe inside its element."""
    text = _asset(path).replace("</script", "<\\/script").replace("</style", "<\\/style")
    lines = (line for line in text.split("\n") if not line.startswith("//# sourceMappingURL"))
    return Markup("\n".join(lines))  # noqa: S704 - files of this package


def _asset(path: str) -> str:
    return files("brimline.report").joinpath("assets", path).read_text(encoding="utf-8")
