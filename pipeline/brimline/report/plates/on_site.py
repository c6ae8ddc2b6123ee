"""What every reading of a site is drawn among, and its values on the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.grid.shapes import cells_inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.report.plates.sheet import Sheet
    from brimline.report.results import Results


def draw_around(sheet: Sheet) -> None:
    """Draw what every reading lies among."""
    sheet.draw("contours", only="Index contour")
    for layer in ("surfaces", "elements", "boundary"):
        sheet.draw(layer, unfilled=True)
    sheet.draw("zones", label=True, unfilled=True)


def on_site(results: Results, values: NDArray[Any]) -> NDArray[Any]:
    """Values inside the boundary that are known."""
    known = np.isfinite(values)
    boundary = results.layer("boundary")
    if boundary is not None:
        known &= cells_inside(boundary.geometry, results.grid)
    found: NDArray[Any] = values[known]
    return found
