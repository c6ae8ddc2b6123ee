"""The site in one paragraph."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.report.numbers import Figure
    from brimline.report.results import Results

_WINDS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


def paragraph(results: Results, figures: Mapping[str, Figure]) -> str:
    """Say in plain sentences what the site is and what was found there."""
    system = results.units

    def text(key: str) -> str:
        return figures[key].text(system)

    sentences = []
    if "site_area_m2" in figures:
        sentences.append(f"{results.site_name} covers {text('site_area_m2')}.")
    if "lowest_m" in figures:
        slope = (
            f" at a mean slope of {text('mean_slope_pct')}" if "mean_slope_pct" in figures else ""
        )
        facing = aspect(results)
        fall = f", falling mostly to the {facing}" if facing else ""
        sentences.append(
            f"The ground lies between {text('lowest_m')} and {text('highest_m')}{slope}{fall}."
        )
    if "gathered_m2" in figures:
        count = int(figures["intakes"].value)
        sentences.append(
            f"{text('gathered_m2')} of ground drains to "
            + ("its intake." if count == 1 else f"its {count} intakes.")
        )
    if "swale_lines_m" in figures:
        lines = figures["swale_lines_m"].note.replace("line", "swale line")
        are = "is" if lines.startswith("1 ") else "are"
        sentences.append(f"{lines} of together {text('swale_lines_m')} {are} proposed.")
    if "storage_m3" in figures:
        elements = results.layer("elements")
        count = 0 if elements is None else int((elements["kind"] != "drain").sum())
        sentences.append(
            f"The design has {counted(count, 'element')} that together hold "
            f"{text('storage_m3')} before they spill."
        )
    return " ".join(sentences)


def aspect(results: Results) -> str:
    """Return the way that most of the site faces, or nothing where no way prevails."""
    dem, boundary = results.raster("elevation"), results.layer("boundary")
    if dem is None or min(dem.shape) < 2:
        return ""
    known = np.isfinite(dem)
    if boundary is not None:
        within = known & cells_inside(boundary.geometry, results.grid)
        known = within if within.any() else known
    down_row, down_col = np.gradient(-dem.astype(np.float64))
    sound = known & np.isfinite(down_row) & np.isfinite(down_col)
    if not sound.any():
        return ""
    east, north = down_col[sound].mean(), -down_row[sound].mean()
    steep = np.hypot(down_row[sound], down_col[sound]).mean()
    if np.hypot(east, north) < 0.3 * steep:
        return ""
    return _WINDS[int(np.round(np.degrees(np.arctan2(north, east)) / 45)) % 8]
