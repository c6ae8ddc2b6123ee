"""From a style of the palette to what matplotlib draws with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.report.palette import Rule

MM: Final = 72 / 25.4  # points
PX: Final = 0.75  # points a pixel at 96 pixels an inch
MARKERS: Final = {"circle": "o", "square": "s", "triangle": "v", "diamond": "D", "cross": "x"}


def by_rule(layer: GeoDataFrame, rules: tuple[Rule, ...]) -> list[tuple[Rule, GeoDataFrame]]:
    """Return each rule that holds for some rows, with those rows; the last that holds is taken."""
    taken = rule_numbers(layer, rules)
    return [(rule, layer[taken == n]) for n, rule in enumerate(rules) if (taken == n).any()]


def rule_numbers(layer: GeoDataFrame, rules: tuple[Rule, ...]) -> NDArray[np.intp]:
    """Return the place of the rule that each row is drawn by: the last that holds."""
    taken = np.zeros(len(layer), dtype=np.intp)
    for number, rule in enumerate(rules):
        where = rule.where
        if where is not None and where.column in layer.columns:
            holds = np.array([where.holds(value) for value in layer[where.column]], dtype=bool)
            taken[holds] = number
    return taken


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
