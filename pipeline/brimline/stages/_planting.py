"""What the plan and the ground say of plants, as the planting room takes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.design.places import BUILDING
from brimline.grid.shapes import cells_inside
from brimline.inputs.rows import text_of
from brimline.planting.laying import Around

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.config import PlantingPlan
    from brimline.engine.stage import Given

ALONG: Final = ("swale_lines", "keylines", "cultivation_lines", "contours", "guide_lines")
AROUND: Final = ("boundary", "keep_out", "keep_out_drawn", "surfaces", "elements", "drawn_pipes",
                 "drawn_overflows")  # fmt: skip
_WATER_LINES: Final = frozenset({"swale", "drain"})
_HEAPED_M: Final = 0.05
_BANK_M: Final = 20.0  # from a pond's waterline that its bank may reach


def around_of(given: Given, params: PlantingPlan) -> Around:
    """Return what plants keep clear of."""
    elements, surfaces = given.frame("elements"), given.frame("surfaces")
    drawn = given.frame("keep_out_drawn")
    kinds = elements["kind"]
    areas = elements.geometry.geom_type.isin(("Polygon", "MultiPolygon"))
    return Around(
        inside=shapely.union_all(given.frame("boundary").geometry.to_numpy()),
        kept_clear=tuple(given.frame("keep_out").geometry),
        buildings=(
            *drawn.loc[drawn["kind"] == BUILDING].geometry,
            *surfaces.loc[surfaces["cover"] == "roof"].geometry,
        ),
        pipes=tuple(given.frame("drawn_pipes").geometry),
        water_lines=(
            *elements.loc[kinds.isin(_WATER_LINES)].geometry,
            *given.frame("drawn_overflows").geometry,
        ),
        water_areas=tuple(elements.loc[areas].geometry),
        line_clear_m=params.line_clear_m,
        pipe_clear_m=params.pipe_clear_m,
    )


def on_banks(given: Given) -> NDArray[np.bool_]:
    """Tell which cells lie on the bank of a pond: near it, and heaped up."""
    elements: GeoDataFrame = given.frame("elements")
    ponds = elements.loc[elements["kind"] == "pond"].geometry.buffer(_BANK_M)
    heaped = given.raster("design_surface") - given.raster("elevation") > _HEAPED_M
    found: NDArray[np.bool_] = cells_inside(ponds, given.grid) & heaped
    return found


def wet_limits(
    index: NDArray[np.float32], site: NDArray[np.bool_], params: PlantingPlan
) -> tuple[float, float]:
    """Wetness index up to which the ground of a site ranks as dry, and from which as wet."""
    known = np.isfinite(index)
    inside = site & known
    dry, wet = np.quantile(
        index[inside if inside.any() else known], (params.dry_share, 1 - params.wet_share)
    )
    return float(dry), float(wet)


def wetness_classes(given: Given, params: PlantingPlan) -> NDArray[np.uint8]:
    """Class of each cell among `planting.WETNESS` by its rank on the site, 255 unknown."""
    index = given.raster("soil_wetness")
    site = cells_inside(given.frame("boundary").geometry, given.grid)
    dry, wet = wet_limits(index, site, params)
    found = np.where(index >= wet, 2, np.where(index <= dry, 0, 1))
    return np.where(np.isfinite(index), found, 255).astype(np.uint8)


def zone_shapes(given: Given) -> dict[str, BaseGeometry]:
    """Ground of each planting zone by name."""
    parts: dict[str, list[BaseGeometry]] = {}
    for number, row in enumerate(given.frame("planting_zones").itertuples(index=False), start=1):
        parts.setdefault(text_of(row, "name") or f"zone {number}", []).append(row.geometry)
    return {name: shapely.union_all(shapes) for name, shapes in parts.items()}
