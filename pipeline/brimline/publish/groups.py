"""What a run folder is made of, in the words that people ask for it with."""

from __future__ import annotations

from typing import Final

LAYERS: Final = "layers"
RASTERS: Final = "rasters"
# group: what it is, for people
GROUPS: Final = {
    LAYERS: "site.gpkg and design.gpkg",
    "tables": "every table as CSV",
    RASTERS: "rasters on the run's grid",
    "styles": "a style for each layer",
    "stakes": "staking sheets and files for machines and drawing programs",
    "pages": "the client's page, the report and the map page",
}
DRAFT: Final = frozenset({LAYERS})
REPORT_PDF: Final = "report.pdf"
FIGURES: Final = "parts/figures"
CLIENT_PDF: Final = "client.pdf"
NEAR: Final = {  # layers that cover the whole grid, by the piece that holds what lies near the site
    f"parts/near/{name}": name
    for name in ("contours", "flow_paths", "hollows", "ridge_lines", "valley_lines")
}
