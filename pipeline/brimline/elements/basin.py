"""Infiltration basins: open, filled with gravel or mulch, and rain gardens.

A basin has vertical steps of fill: what a layer holds is its pores only, so a filled basin holds
its void ratio times its volume. Water soaks through the floor's plan area.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.pond import Pond
from brimline.elements.storage import StageTable

if TYPE_CHECKING:
    from shapely import Polygon

    from brimline.elements.soak import Soak
    from brimline.elements.storage import FloatArray


@dataclass(frozen=True, slots=True)
class FillKind:
    """What is put into a basin.

    Parameters
    ----------
    void : pores that fill and drain, over the volume of the settled fill.
    settles : share of its depth that it loses.
    """

    void: float
    settles: float


# Gravel: porosity 0.25 to 0.40 (Freeze & Cherry 1979, Groundwater, table 2.4; value from memory).
# Woodchips: porosity when saturated 0.66 to 0.78 (Christianson et al. 2010, Applied Engineering in
# Agriculture 26, 849-854); a part of it is held, not drained, and is lost as they settle, so 0.40
# counts, and a quarter of the depth (common practice, no source).
FILLS: Final = {"gravel": FillKind(0.35, 0.0), "woodchips": FillKind(0.40, 0.25)}


@dataclass(frozen=True, slots=True)
class FillLayer:
    """A layer of fill, from the floor upwards.

    Parameters
    ----------
    thickness_m : thickness [m].
    void : volume of pores over volume of fill, above 0 to 1.
    settles : share of the depth placed that it loses until it is as thick as said.
    """

    thickness_m: float
    void: float
    settles: float = 0.0

    def __post_init__(self) -> None:
        if not (self.thickness_m > 0 and 0 < self.void <= 1 and 0 <= self.settles < 1):
            raise ValueError(
                f"a layer needs a thickness above 0 m, voids above 0 to 1 and settling from 0 to "
                f"below 1, got {self.thickness_m} m, {self.void} and {self.settles}"
            )


@dataclass(frozen=True)
class Basin:
    """An infiltration basin's dimensions.

    Parameters
    ----------
    outline : polygon of the waterline when full, in metres.
    spill_level_m : level of its sill [m].
    depth_m : from the spill level down to the floor of the dig, fill included [m]; small planted
        basins are dug about 0.3 m deep (common practice, no source).
    side : batter of the sides, run per rise.
    fill : layers from the floor upwards; empty is an open basin. Above the fill is open water.
    freeboard_m : height that must stay dry below the crest [m].
    crest_over_spill_m : settled crest over the spill level; freeboard and 0.10 m where None [m].
    form : infiltration basin, mulch basin or rain garden.
    sunken : dug into the ground without a bank; it then spills where its rim is lowest, and its
        crest is only how high water may stand over the rim.
    void_assumed : whether the void ratio was assumed, not measured; then it is said.
    ground_levels_m, toe_level_m : as of a pond; not asked of a sunken basin, which has no bank.
    """

    element_id: str
    outline: Polygon
    spill_level_m: float
    soak: Soak
    depth_m: float = 0.3
    side: float = 2.0
    fill: tuple[FillLayer, ...] = ()
    freeboard_m: float = 0.10
    crest_over_spill_m: float | None = None
    ground_slope_pct: float = 0.0
    form: str = "infiltration basin"
    void_assumed: bool = False
    sunken: bool = False
    ground_levels_m: tuple[float, ...] = ()
    toe_level_m: float = math.nan

    @property
    def fill_m3(self) -> float:
        """Fill to be placed, up to the spill level, before it settles [m³]."""
        open_m3, floor_m = self._dug.stages.storage_at, self._dug.stages.floor_m
        total, below_m = 0.0, floor_m
        for layer in self.fill:
            top_m = min(below_m + layer.thickness_m, self.spill_level_m)
            total += float(open_m3(top_m) - open_m3(below_m)) / (1 - layer.settles)
            below_m = top_m
        return total

    @property
    def _dug(self) -> Pond:
        """The dig itself, as a pond that empties."""
        over = self.crest_over_spill_m
        return Pond(
            self.element_id,
            self.outline,
            self.spill_level_m,
            self.depth_m,
            self.side,
            freeboard_m=self.freeboard_m,
            crest_over_spill_m=self.freeboard_m + 0.10 if over is None else over,
            soak=self.soak,
            holds_water=False,
            ground_levels_m=() if self.sunken else self.ground_levels_m,
            toe_level_m=self.toe_level_m,
            ground_slope_pct=self.ground_slope_pct,
        )

    def element(self) -> Element:
        """Work out storage and levels."""
        dug = self._dug.element()
        stages = filled(dug.stages, self.fill)
        return Element(
            self.element_id,
            Kind.BASIN,
            stages,
            dug.spill_level_m,
            dug.crest_level_m,
            dug.brim_length_m,
            dug.freeboard_m,
            dug.footprint_m2,
            self.soak,
            -math.inf,
            embankment_height_m=dug.embankment_height_m,
            held_above_ground_m3=dug.held_above_ground_m3,
            ground_slope_pct=self.ground_slope_pct,
            form=self.form,
            cautions=dug.cautions + self._cautions(),
            shape=self,
        )

    def _cautions(self) -> tuple[Caution, ...]:
        found = []
        if self.soak.design_mm_per_h == 0:
            found.append(Caution("not-computable", "no soakage rate is given: it never empties"))
        if self.fill and self.void_assumed:
            voids = ", ".join(f"{layer.void:g}" for layer in self.fill)
            found.append(Caution("assumed", f"void ratio of the fill taken as {voids}"))
        for layer in self.fill:
            if layer.settles > 0:
                text = (
                    f"place the fill {layer.thickness_m / (1 - layer.settles):.2f} m deep: it"
                    f" settles to {layer.thickness_m:.2f} m, and is topped up as it rots"
                )
                found.append(Caution("settles", text))
        return tuple(found)


def filled(stages: StageTable, fill: tuple[FillLayer, ...]) -> StageTable:
    """Return what an open dig holds once layers of fill lie in it.

    Parameters
    ----------
    stages : table of the open dig.
    fill : layers from the floor upwards; what stands above the table's top is left out.
    """
    if not fill:
        return stages
    tops = stages.floor_m + np.cumsum([layer.thickness_m for layer in fill])
    inside = tops[(tops > stages.floor_m) & (tops < stages.top_m)]
    levels = np.unique(np.concatenate([stages.level_m, inside]))
    levels = levels[np.concatenate([[True], np.diff(levels) > 1e-6])]
    voids = _voids(levels, tops, fill)
    open_m3 = stages.storage_at(levels)
    storage = np.concatenate([[0.0], np.cumsum(np.diff(open_m3) * voids)])
    soak_area = np.asarray(stages.soak_area_at(levels))
    area = np.asarray(stages.area_at(levels)) * np.append(voids, voids[-1])
    return StageTable(levels, storage, area, soak_area)


def _voids(levels: FloatArray, tops: FloatArray, fill: tuple[FillLayer, ...]) -> FloatArray:
    """Share of each slice between levels that water can take."""
    middles = (levels[:-1] + levels[1:]) / 2
    voids = np.append([layer.void for layer in fill], 1.0)
    return np.asarray(voids[np.searchsorted(tops, middles, side="right")])


def rain_garden(
    element_id: str,
    outline: Polygon,
    spill_level_m: float,
    soak: Soak,
    *,
    ponding_m: float = 0.15,
    soil_m: float = 0.45,
    soil_void: float = 0.25,
) -> Basin:
    """Make a rain garden: a shallow hollow over a bed of planting soil.

    Parameters
    ----------
    ponding_m : open water over the soil when full; 0.15 m is usual (common practice) [m].
    soil_m : depth of planting soil [m].
    soil_void : pores of the soil that drain, over its volume (common practice).
    """
    return Basin(
        element_id,
        outline,
        spill_level_m,
        soak,
        depth_m=ponding_m + soil_m,
        fill=(FillLayer(soil_m, soil_void),),
        form="rain garden",
        void_assumed=True,
    )
