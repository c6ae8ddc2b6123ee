"""What cells and zones of a site offer to plants and machines, in classes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage

from brimline.grid.shapes import cells_inside
from brimline.planting.plants import WETNESS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import BoolGrid, Grid

_POINTS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_SUN: Final = ("shade", "part", "full")
_WIND: Final = ("exposed", "part", "sheltered")
_DEPTHS: Final = ("thin", "medium", "deep")
_SLOPES: Final = ("gentle", "moderate", "steep", "very steep")
_LEVEL_PCT: Final = 1.0  # ground gentler faces no way


@dataclass(frozen=True, slots=True)
class OfferLimits:
    """Values from which the next class begins; see the table growing of the configuration."""

    sun_h: tuple[float, ...]
    shelter_deg: tuple[float, ...]
    depth_m: tuple[float, ...]
    slope_pct: tuple[float, ...]
    cold_share: tuple[float, float]


@dataclass(frozen=True, slots=True)
class ZoneOffer:
    """What a zone offers; fields are named as columns of zone_reading, None is not known."""

    zone_id: str
    area_m2: float
    sun_season_h: float | None
    sun_winter_h: float | None
    sun_class: str | None
    cold_share: float | None
    cold_class: str | None
    shelter_deg: float | None
    wind_class: str | None
    depth_m: float | None
    depth_class: str | None
    dug_share: float
    wet_share: float
    dry_share: float
    slope_pct: float
    slope_class: str
    faces: str
    machine_share: float
    soil_loss_t_ha: float | None
    springs: int


@dataclass(frozen=True, slots=True, eq=False)
class OfferingGround:
    """What is read of a site, all (rows, cols); NaN is not known.

    Parameters
    ----------
    known : where there is ground.
    rises : float, of the smoothed ground eastwards and northwards [m/m].
    slope_pct : float, of that ground: a clod is no slope [%].
    season_h, winter_h : float, sun a day in the growing season and on the shortest day [h].
    wetness : uint8, place among `WETNESS`; 255 unknown.
    pools : uint8, 1 where cold air pools; above 1 unknown.
    dug : uint8, 1 where the depth of soil was told by a person who dug.
    loss_t_ha : float, soil that rain may take in a year [t/ha].
    machine : uint8, as `machine_ground` returns it.
    """

    grid: Grid
    known: BoolGrid
    rises: tuple[NDArray[Any], NDArray[Any]]
    slope_pct: NDArray[np.floating]
    season_h: NDArray[np.floating]
    winter_h: NDArray[np.floating]
    shelter_deg: NDArray[np.floating]
    depth_m: NDArray[np.floating]
    dug: NDArray[np.uint8]
    wetness: NDArray[np.uint8]
    pools: NDArray[np.uint8]
    loss_t_ha: NDArray[np.floating]
    machine: NDArray[np.uint8]

    @property
    def aspect_deg(self) -> NDArray[np.floating]:
        """Bearing that ground falls to [°]; NaN where it is all but level."""
        east, north = self.rises
        level = 100 * np.hypot(east, north) < _LEVEL_PCT
        return np.where(level, np.nan, np.degrees(np.arctan2(-east, -north)) % 360)

    def codes(self, limits: OfferLimits) -> NDArray[np.int32]:
        """Classes of each cell from 1, a digit each; 0 is not known."""
        wet, pools = self.wetness, self.pools
        digits = [
            _digits(self.season_h, limits.sun_h),
            _digits(self.shelter_deg, limits.shelter_deg),
            _digits(self.depth_m, limits.depth_m),
            _digits(self.slope_pct, limits.slope_pct),
            np.where(wet < len(WETNESS), wet + 1, 0),
            np.where(pools <= 1, pools + 1, 0),
        ]
        code = np.zeros(self.known.shape, dtype=np.int32)
        for digit in digits:
            code = 10 * code + digit.astype(np.int32)
        return np.where(self.known, code, 0).astype(np.int32)

    def zones(
        self,
        shapes: Mapping[str, BaseGeometry],
        springs: NDArray[np.object_],
        limits: OfferLimits,
    ) -> list[ZoneOffer]:
        """Return what zones offer; those that lie off the data are left out.

        Parameters
        ----------
        springs : their places.
        """
        every = (self._zone(name, shape, springs, limits) for name, shape in shapes.items())
        return [one for one in every if one is not None]

    def _zone(
        self, name: str, shape: BaseGeometry, springs: NDArray[np.object_], limits: OfferLimits
    ) -> ZoneOffer | None:
        known = np.isfinite(self.slope_pct)
        inside = cells_inside([shape], self.grid) & known
        if not inside.any():  # smaller than a cell
            inside = cells_inside([shape], self.grid, all_touched=True) & known
        if not inside.any():
            return None
        sun_h, slope = _mean(self.season_h[inside]), float(self.slope_pct[inside].mean())
        shelter, depth = _mean(self.shelter_deg[inside]), _mean(self.depth_m[inside])
        pools, wetness = self.pools[inside], self.wetness[inside]
        cold = float((pools[pools <= 1] == 1).mean()) if (pools <= 1).any() else None
        return ZoneOffer(
            zone_id=name,
            area_m2=float(inside.sum()) * self.grid.cell_area_m2,
            sun_season_h=sun_h,
            sun_winter_h=_mean(self.winter_h[inside]),
            sun_class=_class(sun_h, limits.sun_h, _SUN),
            cold_share=cold,
            cold_class=None if cold is None else _cold(cold, limits.cold_share),
            shelter_deg=shelter,
            wind_class=_class(shelter, limits.shelter_deg, _WIND),
            depth_m=depth,
            depth_class=_class(depth, limits.depth_m, _DEPTHS),
            dug_share=float((self.dug[inside] == 1).mean()),
            wet_share=float((wetness == WETNESS.index("wet")).mean()),
            dry_share=float((wetness == WETNESS.index("dry")).mean()),
            slope_pct=slope,
            slope_class=_SLOPES[_place(slope, limits.slope_pct)],
            faces=_faces(*(_mean(each[inside]) or 0.0 for each in self.rises)),
            machine_share=float((self.machine[inside] == 1).mean()),
            soil_loss_t_ha=_mean(self.loss_t_ha[inside]),
            springs=sum(one.intersects(shape) for one in springs),
        )


def machine_ground(
    steep: BoolGrid, known: BoolGrid, *, width_m: float, cell_m: float
) -> NDArray[np.uint8]:
    """1 where a machine has its width on ground that is not too steep, 255 unknown."""
    half, free = width_m / 2 / cell_m, known & ~steep
    if half >= 1:
        # ground of a strip of its width: far enough from what is steep, or beside such a place
        inner = ndimage.distance_transform_edt(np.pad(free, 1, mode="edge"))[1:-1, 1:-1] > half
        free &= ndimage.distance_transform_edt(~inner) <= half + 0.5
    return np.where(known, free, 255).astype(np.uint8)


def _digits(values: NDArray[Any], limits: tuple[float, ...]) -> NDArray[np.int64]:
    classes: NDArray[np.int64] = np.searchsorted(limits, np.nan_to_num(values), "right") + 1
    return np.where(np.isfinite(values), classes, 0)


def _mean(values: NDArray[Any]) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else None


def _cold(share: float, limits: tuple[float, float]) -> str:
    free, hollow = limits
    return "free" if share <= free else "frost hollow" if share >= hollow else "mixed"


def _faces(east: float, north: float) -> str:
    turn = int(np.rint(np.degrees(np.arctan2(-east, -north)) / 45)) % 8
    return "level" if 100 * np.hypot(east, north) < _LEVEL_PCT else _POINTS[turn]


def _place(value: float, limits: tuple[float, ...]) -> int:
    return int(np.searchsorted(limits, value, "right"))


def _class(value: float | None, limits: tuple[float, ...], words: tuple[str, ...]) -> str | None:
    return None if value is None else words[_place(value, limits)]
