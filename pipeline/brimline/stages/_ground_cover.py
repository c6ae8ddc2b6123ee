"""What covers the ground of labelled cells, on which soil, and the curve number of each label."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.rainfall import SOIL_GROUPS, GroundClass, cover
from brimline.rainfall import ground_of as ground_classes_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.grid import Grid


@dataclass(frozen=True, slots=True)
class UsualGround:
    """What is taken for ground that the inputs leave open.

    Parameters
    ----------
    cover : name of a ground cover.
    condition : hydrologic condition of every cover that has one.
    soil_group : A to D.
    """

    cover: str
    condition: str
    soil_group: str

    def plain(self) -> dict[str, str]:
        """Return the values as a fact can hold them."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class LabelGround:
    """Area and composite curve number of the cells of one label."""

    area_m2: float
    curve_number: float


def ground_by_label(
    labels: NDArray[np.int32],
    layers: Mapping[str, GeoDataFrame],
    grid: Grid,
    usual: UsualGround,
) -> tuple[dict[int, LabelGround], float]:
    """Count covers and soils under each label.

    Parameters
    ----------
    labels : int32 (rows, cols), from 1; 0 is none.
    layers : surfaces (column cover) and soils (column group).

    Returns
    -------
    Ground by label, and the share of labelled ground without a cover drawn [%].
    """
    classes = [GroundClass(usual.cover, _condition(usual.cover, usual))]
    covers = np.ones(grid.shape, dtype=np.int32)
    for name, rows in layers["surfaces"].groupby("cover"):
        classes.append(GroundClass(str(name), _condition(str(name), usual)))
        covers[cells_inside(rows.geometry, grid)] = len(classes)
    drawn: Any = np.zeros(grid.shape, dtype=np.bool_)
    if len(layers["surfaces"]):
        drawn = cells_inside(layers["surfaces"].geometry, grid)
    soils = np.full(grid.shape, 1 + SOIL_GROUPS.index(usual.soil_group), dtype=np.int32)
    for group, rows in layers["soils"].groupby("group"):
        soils[cells_inside(rows.geometry, grid)] = 1 + SOIL_GROUPS.index(str(group))
    inside = labels > 0
    open_pct = 100 * float((inside & ~drawn).sum()) / max(int(inside.sum()), 1)
    counted = ground_classes_of(labels, covers, soils, classes, cell_area_m2=grid.cell_area_m2)
    curves = counted.composite_curve_number
    found = {
        int(label): LabelGround(float(counted.total_m2[place]), float(curves[place]))
        for place, label in enumerate(counted.labels)
        if label > 0 and math.isfinite(curves[place])
    }
    return found, open_pct


def _condition(name: str, usual: UsualGround) -> str:
    return usual.condition if usual.condition in cover(name).conditions else ""
