"""Every day of a record through the site's stores and soils."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline._jit import side_by_side, thread_count
from brimline.balance import _kernels
from brimline.balance.system import SHAPE_POINTS

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.system import System, Zone

# Names of the columns of the results, in the kernel's order; zones in mm where not said otherwise.
# Evaporated and surface_dry are 0 in zones without dual coefficients.
ZONE_COLUMNS: Final = (
    "et_mm", "demand_mm", "et_harvested_mm", "et_mains_mm", "drained_mm", "fed_mm",
    "irrigation_harvested_m3", "irrigation_mains_m3", "soil_water_mm", "evaporated_mm",
    "surface_dry_mm",
)  # fmt: skip
STORE_COLUMNS: Final = (
    "runoff_in_m3", "overflow_in_m3", "spilled_m3", "evaporated_m3", "soaked_m3", "drawn_m3",
    "brought_m3", "held_m3",
)  # fmt: skip
USE_COLUMNS: Final = ("asked_m3", "harvested_m3", "mains_m3")

# A day is met where the mains and what stays unmet are at most this share of the day's demand
# (ours): mains water once given stays in the soil for weeks, so none at all would be too strict,
# and none given on that day too lenient.
SHORT_SHARE: Final = _kernels.SHORT
_YEAR_D: Final = 365

# what the kernel is given of each part; first and last are places of its links
_LINK: Final = np.dtype([("place", "i8"), ("share", "f8")])
_FEED: Final = np.dtype([("source", "i8"), ("place", "i8"), ("most_m3", "f8"), ("below", "f8")])
_USE: Final = np.dtype([("first", "i8"), ("last", "i8"), ("watched", "?")], align=True)
_ZONE: Final = np.dtype(
    [(name, "i8") for name in ("first", "last", "drains_first", "drains_last")]
    + [("irrigated", "?"), ("watched", "?"), ("layered", "?")]
    + [
        (name, "f8")
        for name in (
            "area_m2", "available_mm", "depletion", "start_at", "efficiency", "most_mm", "full",
            "evaporable_mm", "readily_mm", "wetted", "unmulched", "start_dry_mm",
        )
    ],
    align=True,
)  # fmt: skip
_STORE: Final = np.dtype(
    [("order", "i8"), ("spills_to", "i8"), ("first", "i8"), ("last", "i8")]
    + [(name, "f8") for name in ("open_m2", "seep_mm", "evaporates", "reserve", "full")]
)


@dataclass(frozen=True, slots=True)
class DailySeries:
    """Daily results; the last axis runs over the column names of this module."""

    zones: NDArray[np.float64]  # (days, zones, 11)
    stores: NDArray[np.float64]  # (days, stores, 8)
    uses: NDArray[np.float64]  # (days, uses, 3)


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over the record for each variant; soil_water_mm, surface_dry_mm, held_m3 at its end."""

    zones: NDArray[np.float64]  # (zones, variants, 11)
    stores: NDArray[np.float64]  # (stores, variants, 8)
    uses: NDArray[np.float64]  # (uses, variants, 3)
    days_met: NDArray[np.float64]  # (variants,): of the zones and uses that were watched


def simulate(system: System) -> DailySeries:
    """Run the system as it is, keeping every day.

    A day goes as follows. Each store, uppermost first, takes its runoff and the overflow of those
    above, spills what exceeds its capacity, then loses evaporation and soakage. Feeds bring water
    into stores that are low, which can be drawn from the next day on; what comes from outside mixes
    with what the store holds and counts as mains wherever it is drawn or soaks in. Uses, then zones
    in their order, draw what stood in their stores that morning (yield after spillage: Fewkes &
    Butler 2000, doi:10.1177/014362440002100201), then the mains. A zone's soil takes rain less
    runoff and the soakage fed to it, gives up evapotranspiration reduced by stress, drains what is
    above field capacity (FAO-56, chapter 8, equations 84 to 88) and is filled up again in the
    evening if it is drawn down far enough. Where a zone has a `surface`, evaporation from it comes
    on top of what roots take (FAO-56, chapter 7, equations 69 to 77). What drains from a zone over
    a store reaches it on the next day. In the soil, water of all
    origins is well mixed, so what roots take is counted once, in proportion.
    """
    return DailySeries(*_run(system, *_base(system), keep=True)[4:])


def warmed(system: System) -> System:
    """Return the system with the contents that its first year leaves behind.

    So nobody has to guess how full soils and stores are on the first day: the record's first year
    runs once before it, uncounted.
    """
    series = simulate(system.first_days(min(_YEAR_D, system.days)))
    water = series.zones[-1, :, ZONE_COLUMNS.index("soil_water_mm")]
    dry = series.zones[-1, :, ZONE_COLUMNS.index("surface_dry_mm")]
    held = series.stores[-1, :, STORE_COLUMNS.index("held_m3")]
    return replace(
        system,
        zones=tuple(
            replace(
                zone,
                start_full=_share(float(left), zone.available_mm),
                surface=zone.surface and replace(zone.surface, start_dry_mm=float(top)),
            )
            for zone, left, top in zip(system.zones, water, dry, strict=True)
        ),
        stores=tuple(
            replace(store, start_full=_share(float(left), store.capacity_m3))
            for store, left in zip(system.stores, held, strict=True)
        ),
    )


def _share(part: float, whole: float) -> float:
    return min(max(part / whole, 0.0), 1.0) if whole > 0 else 0.0


def simulate_sizes(
    system: System,
    store_id: str,
    capacities_m3: Sequence[float],
    *,
    watched: Collection[str] | None = None,
) -> Totals:
    """Run the system with one store in several sizes, in one pass over the weather.

    The water surface, the soaking ground and the rain that falls into the store grow in proportion
    to its capacity (same depth, larger plan).

    Parameters
    ----------
    store_id : the store whose size changes.
    capacities_m3 : its sizes [m³], not negative.
    watched : names of the zones and uses whose days met are counted; all where left out.

    Raises
    ------
    ValueError
        If there is no such store or a size is negative.
    """
    place = system.store_index(store_id)
    sizes = np.asarray(capacities_m3, dtype=np.float64)
    if sizes.ndim != 1 or sizes.size == 0 or not (sizes >= 0).all():
        raise ValueError("capacities_m3 must hold at least one size, none negative")
    capacity, scale = _base(system)
    capacity = np.repeat(capacity, sizes.size, axis=1)
    scale = np.repeat(scale, sizes.size, axis=1)
    if capacity[place, 0] > 0:
        scale[place] = sizes / capacity[place, 0]
    capacity[place] = sizes
    parts = np.array_split(np.arange(sizes.size), min(thread_count(), sizes.size))
    calls = [_call(system, capacity[:, part], scale[:, part], watched) for part in parts]
    results = side_by_side(calls)
    zones, stores, uses = (
        np.concatenate([result[i] for result in results], axis=1) for i in range(3)
    )
    return Totals(zones, stores, uses, np.concatenate([result[3] for result in results]))


def _call(
    system: System,
    capacity: NDArray[np.float64],
    scale: NDArray[np.float64],
    watched: Collection[str] | None,
) -> Any:  # noqa: ANN401 - a call that runs some of the sizes
    return lambda: _run(system, capacity, scale, keep=False, watched=watched)


def _base(system: System) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    capacity = np.array([[store.capacity_m3] for store in system.stores]).reshape(-1, 1)
    return capacity.astype(np.float64), np.ones_like(capacity, dtype=np.float64)


def _run(
    system: System,
    capacity: NDArray[np.float64],
    scale: NDArray[np.float64],
    *,
    keep: bool,
    watched: Collection[str] | None = None,
) -> tuple[NDArray[np.float64], ...]:
    zones, stores, uses = system.zones, system.stores, system.uses
    places = {store.store_id: place for place, store in enumerate(stores)}
    zone_places = {zone.zone_id: place for place, zone in enumerate(zones)}
    links = _Links()
    zone_records = [_zone_record(zone, places, watched, links) for zone in zones]
    use_records = [
        (*links.to(places, use.draws_on), watched is None or use.use_id in watched) for use in uses
    ]
    store_records = [
        (order, places.get(store.spills_to, -1), *links.to(zone_places, store.feeds),
         store.open_m2, store.seep_mm, store.evaporates, store.reserve_share, store.start_full)
        for order, store in zip(system.spill_order(), stores, strict=True)
    ]  # fmt: skip
    feed_records = [
        (places.get(feed.from_id, -1), places[feed.to_id], feed.most_m3, feed.below_share)
        for feed in system.feeds
    ]
    shapes = [[store.area_m2 for store in stores], [store.soaks_over_m2 for store in stores]]
    result: tuple[NDArray[np.float64], ...] = _kernels.simulate(
        np.array([system.rain_mm, system.et0_mm], dtype=np.float64),
        float(system.mains_limit_m3),
        _records(zone_records, _ZONE),
        _zone_days(zones, system.days),
        _records(store_records, _STORE),
        _rows([store.inflow_m3 for store in stores], system.days),
        np.array(shapes, dtype=np.float64).reshape(2, len(stores), SHAPE_POINTS),
        np.array([capacity, scale]),
        _records(use_records, _USE),
        _rows([use.demand_m3 for use in uses], system.days),
        _records(feed_records, _FEED),
        _records(links.found, _LINK),
        keep,
    )
    return result


def _records(rows: Sequence[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
    """Return rows as records; interpreted kernels read fields by name as compiled ones do."""
    array = np.array(rows, dtype=dtype)
    compiled = hasattr(_kernels.simulate, "py_func")
    return array if compiled else array.view(np.recarray)


class _Links:
    """All links in one list; each part of the system knows where its own begin and end."""

    def __init__(self) -> None:
        self.found: list[tuple[int, float]] = []

    def to(
        self, places: Mapping[str, int], names: Sequence[str] | Mapping[str, float]
    ) -> tuple[int, int]:
        """Add links to names, with their shares where they have any; return first and last."""
        first = len(self.found)
        shares = names if isinstance(names, dict) else dict.fromkeys(names, 1.0)
        self.found += [(places[name], share) for name, share in shares.items()]
        return first, len(self.found)


def _zone_record(
    zone: Zone, places: Mapping[str, int], watched: Collection[str] | None, links: _Links
) -> tuple[float, ...]:
    top = zone.surface
    surface = (0.0,) * 5 if top is None else (
        top.evaporable_mm, top.readily_mm, top.wetted_share, top.unmulched, top.start_dry_mm,
    )  # fmt: skip
    return (
        *links.to(places, zone.draws_on), *links.to(places, zone.drains_to), zone.irrigated,
        watched is None or zone.zone_id in watched, top is not None,
        zone.area_m2, zone.available_mm, zone.depletion, zone.start_at, zone.efficiency,
        zone.most_mm, zone.start_full, *surface,
    )  # fmt: skip


def _zone_days(zones: Sequence[Zone], days: int) -> NDArray[np.float64]:
    """Daily values of the zones (2 or 4, zones, days); four where a zone has a surface."""
    layered = any(zone.surface is not None for zone in zones)
    found = np.zeros((4 if layered else 2, len(zones), days))
    for place, zone in enumerate(zones):
        found[:2, place] = zone.kc, zone.runoff_mm
        if zone.surface is not None:
            found[2:, place] = zone.surface.kc_most, zone.surface.cover
    return found


def _rows(arrays: Sequence[NDArray[np.float64]], width: int) -> NDArray[np.float64]:
    return np.array(arrays, dtype=np.float64).reshape(len(arrays), width)


def columns(values: NDArray[np.float64], names: Sequence[str]) -> Mapping[str, NDArray[np.float64]]:
    """Name the last axis of a result."""
    return {name: values[..., place] for place, name in enumerate(names)}
