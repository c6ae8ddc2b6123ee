"""A place for a pond with what is known of it: what it fills with, and why a person must look."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.choose.ponds.around import fills_pct
from brimline.grid.shapes import outlines

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from brimline.choose.ponds.around import Surroundings
    from brimline.choose.ponds.sites import PondSite
    from brimline.grid import Grid

_SELDOM_PCT: Final = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class PondPlace:
    """A place for a pond, and what lies around it.

    Parameters
    ----------
    yearly_mm : float64 (years,), runoff of each whole year [mm]; empty where no weather tells.
    soil : texture of most of the ground under water; empty unknown.
    engineer_height_m, engineer_volume_m3 : from which a bank or a store asks for an engineer.
    """

    site_id: str
    site: PondSite
    around: Surroundings
    yearly_mm: NDArray[np.float64]
    soil: str
    engineer_height_m: float
    engineer_volume_m3: float

    @property
    def yearly_m3(self) -> float:
        """What runs to it in the average year [m³]; NaN unknown."""
        if not self.yearly_mm.size:
            return math.nan
        return self.site.catchment_m2 * float(self.yearly_mm.mean()) / 1000

    @property
    def fills_pct(self) -> float:
        """Share of years that fill it [%]; NaN unknown."""
        if not self.yearly_mm.size:
            return math.nan
        return fills_pct(self.site.best.storage_m3, self.site.catchment_m2, self.yearly_mm)

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        best = self.site.best
        high = best.height_m > self.engineer_height_m
        told = {
            "engineer": high or best.storage_m3 > self.engineer_volume_m3,
            "no-spill-way": not self.around.spill_side,
            "building-below": math.isfinite(self.around.building_m),
            "fills-seldom": self.fills_pct < _SELDOM_PCT,
        }
        return tuple(code for code, holds in told.items() if holds)


def outline_of(site: PondSite, grid: Grid) -> shapely.MultiPolygon:
    """Return the outline of a place's water when full."""
    rows, cols = site.wet
    top, left = int(rows.min()), int(cols.min())
    labels = np.zeros((int(rows.max()) - top + 1, int(cols.max()) - left + 1), dtype=np.int32)
    labels[rows - top, cols - left] = 1
    return outlines(labels, grid, origin=(top, left))[1]
