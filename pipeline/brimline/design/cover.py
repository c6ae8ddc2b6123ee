"""What covers the ground of labelled cells, on which soil, and the curve number of each label."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside, painted
from brimline.rainfall import SOIL_GROUPS, GroundClass, cover, curve_number, ground_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Grid
    from brimline.rainfall import MixedGround


@dataclass(frozen=True, slots=True)
class CoverArea:
    """An area with one cover.

    Parameters
    ----------
    cover : name of a ground cover.
    runoff_coefficient : of a hard surface; NaN where its curve number counts.
    """

    shape: BaseGeometry
    cover: str
    runoff_coefficient: float = math.nan
    name: str = ""


@dataclass(frozen=True, slots=True)
class SoilArea:
    """An area with one soil; what is not known is empty or NaN."""

    shape: BaseGeometry
    group: str = ""
    texture: str = ""
    soak_mm_per_h: float = math.nan


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

    def ground_class(self, name: str) -> GroundClass:
        """Return a cover in the usual condition, where it has conditions at all."""
        return GroundClass(name, self.condition if self.condition in cover(name).conditions else "")

    @property
    def curve_number(self) -> float:
        """Curve number of ground of which nothing is known."""
        condition = self.ground_class(self.cover).condition
        return float(curve_number(self.cover, condition, self.soil_group))


@dataclass(frozen=True, slots=True, eq=False)
class CoveredGround:
    """Cover and soil of every cell.

    Parameters
    ----------
    classes : what the cover codes 1, 2 ... stand for.
    cover_codes, soil_codes : int32 (rows, cols), from 1.
    drawn : bool (rows, cols); False where the usual cover was taken.
    """

    grid: Grid
    classes: tuple[GroundClass, ...]
    cover_codes: NDArray[np.int32]
    soil_codes: NDArray[np.int32]
    drawn: NDArray[np.bool_]

    def by_label(self, labels: NDArray[np.int32]) -> dict[int, MixedGround]:
        """Return what sheds water under each label that occurs.

        Parameters
        ----------
        labels : int32 (rows, cols), from 1; 0 is none.
        """
        counted = ground_of(
            labels, self.cover_codes, self.soil_codes, self.classes,
            cell_area_m2=self.grid.cell_area_m2,
        )  # fmt: skip
        mixed = {int(label): counted.mixed(int(label)) for label in counted.labels}
        return {label: ground for label, ground in mixed.items() if ground is not None}

    def by_shapes(
        self, shapes: Sequence[BaseGeometry]
    ) -> tuple[NDArray[np.int32], list[MixedGround]]:
        """Return the shape of each cell, from 1, and what of each shape sheds water.

        Later shapes lie over earlier ones.
        """
        labels = np.zeros(self.grid.shape, dtype=np.int32)
        for number, shape in enumerate(shapes, start=1):
            labels[cells_inside([shape], self.grid)] = number
        found = self.by_label(labels)
        for number, shape in enumerate(shapes, start=1):
            if number not in found:  # smaller than a cell, or beneath another
                alone = cells_inside([shape], self.grid, all_touched=True).astype(np.int32)
                found[number] = self.by_label(alone)[1]
        return labels, [found[number] for number in range(1, len(shapes) + 1)]

    def open_pct(self, labels: NDArray[np.int32]) -> float:
        """Share of labelled ground without a cover drawn [%]."""
        inside = labels > 0
        return 100 * float((inside & ~self.drawn).sum()) / max(int(inside.sum()), 1)

    def sheet_n(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float64]:
        """Manning's n for sheet flow at cells, float64 (cells,)."""
        of_class = np.array([cover(one.cover_name).sheet_n for one in self.classes])
        return of_class[self.cover_codes[rows, cols] - 1]


def covered_ground(
    covers: Sequence[CoverArea], soils: Sequence[SoilArea], grid: Grid, usual: UsualGround
) -> CoveredGround:
    """Lay covers and soils on the grid, and the usual ones where none is drawn.

    Parameters
    ----------
    covers, soils : where areas overlap, the later one counts.
    """
    names = sorted({area.cover for area in covers if area.cover})
    classes = [usual.ground_class(name) for name in (usual.cover, *names)]
    code = {name: number for number, name in enumerate(names, start=2)}
    said = [(area.shape, code[area.cover]) for area in covers if area.cover]
    cover_of = painted(np.ones(grid.shape, dtype=np.int32), said, grid)
    drawn = np.zeros(grid.shape, dtype=np.bool_)
    if covers:
        drawn = cells_inside([area.shape for area in covers], grid)
    group_of = np.full(grid.shape, 1 + SOIL_GROUPS.index(usual.soil_group), dtype=np.int32)
    groups = [(area.shape, 1 + SOIL_GROUPS.index(area.group)) for area in soils if area.group]
    soil_of = painted(group_of, groups, grid)
    return CoveredGround(grid, tuple(classes), cover_of, soil_of, drawn)
