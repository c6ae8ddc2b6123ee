"""The parts of the year's water: zones that drink, stores that hold, and how they are joined."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.surface import SoilSurface

SHAPE_POINTS = 17  # of a store's area against its volume, equally spaced in volume


@dataclass(frozen=True, slots=True)
class Zone:
    """Ground with one planting on one soil.

    Parameters
    ----------
    zone_id : text that names it.
    area_m2 : ground that is planted [m²].
    available_mm : water between field capacity and wilting point over the root zone [mm].
    depletion : share of it that is drawn without stress at a demand of 5 mm/d.
    kc : (days,) crop coefficient; the basal one where there is a `surface`.
    runoff_mm : (days,) rain that runs off the zone or falls into stores on it [mm/d], at most the
        rain.
    draws_on : stores that irrigate it, in the order in which they are asked.
    irrigated : ask for water when the soil is drawn down to `start_at`.
    start_at : share of the readily available water that is gone when irrigation starts.
    efficiency : share of the water given that reaches the root zone.
    most_mm : most that is brought to the root zone in a day [mm/d].
    start_full : share of `available_mm` that the soil holds on the first day.
    surface : soil that dries by evaporation, for dual crop coefficients; None for a single one.
    drains_to : store to share of what drains below the roots that it takes, on the next day:
        reservoirs beneath beds; together at most 1.
    """

    zone_id: str
    area_m2: float
    available_mm: float
    depletion: float
    kc: NDArray[np.float64]
    runoff_mm: NDArray[np.float64]
    draws_on: tuple[str, ...] = ()
    irrigated: bool = True
    start_at: float = 1.0
    efficiency: float = 0.9
    most_mm: float = np.inf
    start_full: float = 1.0
    surface: SoilSurface | None = None
    drains_to: dict[str, float] = field(default_factory=dict)

    def first_days(self, days: int) -> Zone:
        """Return the zone with the beginning of its record only."""
        return replace(
            self,
            kc=self.kc[:days],
            runoff_mm=self.runoff_mm[:days],
            surface=self.surface and self.surface.first_days(days),
        )


@dataclass(frozen=True, slots=True)
class WaterStore:
    """A tank, pond, basin or swale.

    Parameters
    ----------
    store_id : text that names it.
    capacity_m3 : volume to the spill level [m³].
    inflow_m3 : (days,) runoff that reaches it from its own ground and roofs [m³/d].
    open_m2 : area in plan whose rain falls into it [m²].
    area_m2 : (SHAPE_POINTS,) water surface at equal steps of volume from empty to full [m²]; zero
        for a closed tank.
    soak_area_m2 : (SHAPE_POINTS,) ground that water soaks into at the same steps [m²]; the water
        surface where left out.
    seep_mm : soakage over that ground [mm/d].
    evaporates : factor on reference evapotranspiration over the water surface; 0 for covered.
    spills_to : the store that takes its overflow; empty where that leaves the site.
    feeds : zone to share of the soakage that reaches its root zone; together at most 1.
    reserve_share : share of `capacity_m3` that is not drawn.
    start_full : share of `capacity_m3` that is held on the first day.
    """

    store_id: str
    capacity_m3: float
    inflow_m3: NDArray[np.float64]
    area_m2: NDArray[np.float64] = field(default_factory=lambda: np.zeros(SHAPE_POINTS))
    soak_area_m2: NDArray[np.float64] | None = None
    open_m2: float = 0.0
    seep_mm: float = 0.0
    evaporates: float = 0.0
    spills_to: str = ""
    feeds: dict[str, float] = field(default_factory=dict)
    reserve_share: float = 0.0
    start_full: float = 0.0

    @property
    def soaks_over_m2(self) -> NDArray[np.float64]:
        """Ground that water soaks into, (SHAPE_POINTS,) [m²]."""
        return self.area_m2 if self.soak_area_m2 is None else self.soak_area_m2


@dataclass(frozen=True, slots=True)
class Use:
    """Water drawn at a given rate: stock, washing, flushing."""

    use_id: str
    demand_m3: NDArray[np.float64]  # (days,)
    draws_on: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Feed:
    """A pump, or filling by hand, that keeps a store from running dry.

    Parameters
    ----------
    from_id : store that it draws from; empty is water from outside, which is no harvest.
    to_id : store that it fills.
    most_m3 : most that it brings in a day [m³].
    below_share : it runs while the store holds less than this share of its capacity.
    """

    feed_id: str
    to_id: str
    most_m3: float
    below_share: float
    from_id: str = ""


@dataclass(frozen=True, slots=True)
class System:
    """Zones, stores and uses of a site, checked against each other.

    Parameters
    ----------
    rain_mm, et0_mm : (days,) [mm/d].
    mains_limit_m3 : most that the mains give in a day [m³/d]; infinite where they are not limited,
        0 where there are none.

    Raises
    ------
    ValueError
        If names repeat or are unknown, overflow runs in a ring, an array has another length, or a
        number is out of range; the message names the part.
    """

    rain_mm: NDArray[np.float64]
    et0_mm: NDArray[np.float64]
    zones: tuple[Zone, ...]
    stores: tuple[WaterStore, ...]
    uses: tuple[Use, ...] = ()
    mains_limit_m3: float = np.inf
    feeds: tuple[Feed, ...] = ()

    def __post_init__(self) -> None:
        served = [zone.zone_id for zone in self.zones] + [use.use_id for use in self.uses]
        for kind, names in (
            ("zone and use", served),
            ("store", [store.store_id for store in self.stores]),
        ):
            if len(set(names)) != len(names):
                raise ValueError(f"{kind} names must differ: {', '.join(names)}")
        if self.mains_limit_m3 < 0:
            raise ValueError(f"mains_limit_m3 must not be negative, got {self.mains_limit_m3}")
        for zone in self.zones:
            self._check_zone(zone)
        for store in self.stores:
            self._check_store(store)
        for use in self.uses:
            self._check_days(f"use {use.use_id}", use.demand_m3)
            self._check_names(f"use {use.use_id}", use.draws_on)
        for feed in self.feeds:
            what = f"feed {feed.feed_id}"
            self._check_names(what, (feed.to_id, *((feed.from_id,) if feed.from_id else ())))
            _check_range(what, "most_m3", feed.most_m3, 0, np.inf)
            _check_range(what, "below_share", feed.below_share, 0, 1)
        self.spill_order()

    @property
    def days(self) -> int:
        """Number of days."""
        return int(self.rain_mm.size)

    def first_days(self, days: int) -> System:
        """Return the system with the beginning of its record only."""
        cut = slice(0, days)
        return replace(
            self,
            rain_mm=self.rain_mm[cut],
            et0_mm=self.et0_mm[cut],
            zones=tuple(zone.first_days(days) for zone in self.zones),
            stores=tuple(replace(store, inflow_m3=store.inflow_m3[cut]) for store in self.stores),
            uses=tuple(replace(use, demand_m3=use.demand_m3[cut]) for use in self.uses),
        )

    def without_stores(self) -> System:
        """Return the same planting and uses with nothing that harvests water."""
        return replace(
            self,
            zones=tuple(replace(zone, draws_on=(), drains_to={}) for zone in self.zones),
            stores=(),
            feeds=(),
            uses=tuple(replace(use, draws_on=()) for use in self.uses),
        )

    def store_index(self, store_id: str) -> int:
        """Place of a store among `stores`; raises ValueError where there is none."""
        for place, store in enumerate(self.stores):
            if store.store_id == store_id:
                return place
        raise ValueError(f"there is no store {store_id}")

    def spill_order(self) -> list[int]:
        """Places of the stores so that each comes before the one that takes its overflow."""
        remaining = dict(enumerate(self.stores))
        order: list[int] = []
        while remaining:
            targets = {store.spills_to for store in remaining.values()}
            free = [place for place, store in remaining.items() if store.store_id not in targets]
            if not free:
                ring = ", ".join(store.store_id for store in remaining.values())
                raise ValueError(f"stores spill into each other in a ring: {ring}")
            for place in free:
                del remaining[place]
            order += free
        return order

    def _check_zone(self, zone: Zone) -> None:
        what = f"zone {zone.zone_id}"
        self._check_days(what, zone.kc)
        self._check_days(what, zone.runoff_mm)
        self._check_names(what, zone.draws_on)
        self._check_names(what, tuple(zone.drains_to))
        _check_shares(what, "drainage", zone.drains_to)
        if (zone.runoff_mm > self.rain_mm + 1e-9).any():
            raise ValueError(f"{what}: more runs off than rains")
        _check_range(what, "area_m2", zone.area_m2, 1e-6, np.inf)
        _check_range(what, "available_mm", zone.available_mm, 1e-6, np.inf)
        _check_range(what, "depletion", zone.depletion, 0.1, 0.8)
        _check_range(what, "start_at", zone.start_at, 0, 1)
        _check_range(what, "efficiency", zone.efficiency, 0.1, 1)
        _check_range(what, "most_mm", zone.most_mm, 0, np.inf)
        _check_range(what, "start_full", zone.start_full, 0, 1)
        if zone.surface is not None:
            self._check_days(what, zone.surface.kc_most)
            self._check_days(what, zone.surface.cover)
            if (zone.surface.kc_most < zone.kc).any():
                raise ValueError(f"{what}: kc_most lies below the basal coefficient")

    def _check_store(self, store: WaterStore) -> None:
        what = f"store {store.store_id}"
        self._check_days(what, store.inflow_m3)
        for areas in (store.area_m2, store.soaks_over_m2):
            if areas.shape != (SHAPE_POINTS,) or not (areas >= 0).all():
                raise ValueError(f"{what}: needs {SHAPE_POINTS} areas [m²] from empty to full")
        _check_range(what, "capacity_m3", store.capacity_m3, 0, np.inf)
        _check_range(what, "open_m2", store.open_m2, 0, np.inf)
        _check_range(what, "seep_mm", store.seep_mm, 0, np.inf)
        _check_range(what, "evaporates", store.evaporates, 0, 2)
        _check_range(what, "reserve_share", store.reserve_share, 0, 1)
        _check_range(what, "start_full", store.start_full, 0, 1)
        if store.spills_to:
            self._check_names(what, (store.spills_to,))
        zones = {zone.zone_id for zone in self.zones}
        unknown = set(store.feeds) - zones
        if unknown:
            raise ValueError(f"{what} feeds unknown zones: {', '.join(sorted(unknown))}")
        _check_shares(what, "soakage", store.feeds)

    def _check_days(self, what: str, values: NDArray[np.float64]) -> None:
        if values.shape != (self.days,) or not np.isfinite(values).all() or (values < 0).any():
            raise ValueError(
                f"{what}: needs one number, not negative, for each of {self.days} days"
            )

    def _check_names(self, what: str, names: Sequence[str]) -> None:
        known = {store.store_id for store in self.stores}
        unknown = [name for name in names if name not in known]
        if unknown:
            raise ValueError(f"{what} names unknown stores: {', '.join(unknown)}")


def _check_shares(what: str, of: str, shares: Mapping[str, float]) -> None:
    if min(shares.values(), default=0) < 0 or sum(shares.values()) > 1 + 1e-9:
        raise ValueError(f"{what}: shares of the {of} must add up to at most 1")


def _check_range(what: str, name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError(f"{what}: {name} must lie between {low} and {high}, got {value}")
