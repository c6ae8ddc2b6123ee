"""What of the layers one sheet can show, so that it need not be drawn again for what lies far."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from brimline.report.palette import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_GROWN: Final = 3.0  # more than a frame grows until its map has a plain scale
_WHOLE: Final = frozenset({"boundary"})  # drawn as a key plan too


def layers_near(results: Results, frame: MapFrame, names: Sequence[str]) -> dict[str, GeoDataFrame]:
    """Return the rows of layers that lie on the ground of a frame, with the columns drawn by."""
    ground = shapely.box(*frame.grown(_GROWN).bounds)
    found = {}
    for name in names:
        layer = results.layer(name)
        if layer is None:
            continue
        look = style(name)
        told = {rule.where.column for rule in look.rules if rule.where} | {look.label}
        if name == "contours":
            told |= {"index", "level_m"}
        columns = [one for one in layer.columns if one in told or one == "geometry"]
        near = layer[columns]
        if name not in _WHOLE:
            near = near[shapely.intersects(layer.geometry.to_numpy(), ground)]
        found[name] = near
    return found
