"""From a style of the palette to what matplotlib draws with."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextPath

from brimline.report.palette import rule_numbers

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.report.palette import Rule

MM: Final = 72 / 25.4  # points
PX: Final = 0.75  # points a pixel at 96 pixels an inch
MARKERS: Final = {"circle": "o", "square": "s", "triangle": "v", "diamond": "D", "cross": "x"}


def by_rule(layer: GeoDataFrame, rules: tuple[Rule, ...]) -> list[tuple[Rule, GeoDataFrame]]:
    """Return each rule that holds for some rows, with those rows; the last that holds is taken."""
    taken = rule_numbers(layer, rules)
    return [(rule, layer[taken == n]) for n, rule in enumerate(rules) if (taken == n).any()]


def rings(shape: Any) -> list[Any]:  # noqa: ANN401 - any geometry
    """Return every line of a shape: its parts, or the outlines of its areas."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            found += [part.exterior, *part.interiors]
        elif part.geom_type == "GeometryCollection":
            found += rings(part)
        elif part.geom_type != "Point":
            found.append(part)
    return found


def dashes(dash_px: tuple[float, ...], width_px: float) -> Any:  # noqa: ANN401 - as matplotlib takes it
    """Return a dash pattern in the widths of its line, as matplotlib wants it."""
    if not dash_px:
        return "solid"
    return (0, tuple(length / max(width_px, 1e-6) for length in dash_px))


@lru_cache(maxsize=4096)
def text_width_pt(text: str, size: float) -> float:
    """Return how wide a text is drawn, in points: its letters' outlines from end to end."""
    path = TextPath((0, 0), text, size=size, prop=FontProperties(family="DejaVu Sans"))
    if not len(path.vertices):
        return 0.0
    x, codes = path.vertices[:, 0], path.codes
    bent = np.flatnonzero(codes == Path.CURVE3)[::2]  # each a point that pulls, then an end
    x0, x1, x2 = x[bent - 1], x[bent], x[bent + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (x0 - x1) / (x0 - 2 * x1 + x2)  # where the curve turns back
        turns = ((1 - at) * x0 + at * x1) * (1 - at) + ((1 - at) * x1 + at * x2) * at
    plain = np.concatenate([x[(codes == Path.MOVETO) | (codes == Path.LINETO)], x2])
    reached = np.concatenate([plain, turns[(at > 0) & (at < 1)]])
    return float(reached.max() - reached.min())
