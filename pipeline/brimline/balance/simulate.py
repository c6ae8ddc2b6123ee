"""Every day of a record through the site's stores and soils."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.balance import _kernels
from brimline.balance.system import SHAPE_POINTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.system import System

# Names of the columns of the results, in the kernel's order; zones in mm where not said otherwise.
ZONE_COLUMNS: Final = (
    "et_mm", "demand_mm", "et_harvested_mm", "et_mains_mm", "drained_mm", "fed_mm",
    "irrigation_harvested_m3", "irrigation_mains_m3", "soil_water_mm",
)  # fmt: skip
STORE_COLUMNS: Final = (
    "runoff_in_m3", "overflow_in_m3", "spilled_m3", "evaporated_m3", "soaked_m3", "drawn_m3",
    "held_m3",
)  # fmt: skip
USE_COLUMNS: Final = ("asked_m3", "harvested_m3", "mains_m3")


@dataclass(frozen=True, slots=True)
class Series:
    """Daily results; the last axis runs over the column names of this module."""

    zones: NDArray[np.float64]  # (days, zones, 9)
    stores: NDArray[np.float64]  # (days, stores, 7)
    uses: NDArray[np.float64]  # (days, uses, 3)


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over the record for each variant; contents (soil_water_mm, held_m3) at its end."""

    zones: NDArray[np.float64]  # (zones, variants, 9)
    stores: NDArray[np.float64]  # (stores, variants, 7)
    uses: NDArray[np.float64]  # (uses, variants, 3)
    zone_days_met: NDArray[np.float64]  # (zones, variants): neither mains nor stress
    site_days_met: NDArray[np.float64]  # (variants,): all zones and uses met


def simulate(system: System) -> Series:
    """Run the system as it is, keeping every day.

    A day goes as follows. Each store, uppermost first, takes its runoff and the overflow of those
    above, spills what exceeds its capacity, then loses evaporation and soakage. Uses, then zones
    in their order, draw what stood in their stores that morning (yield after spillage: Fewkes &
    Butler 2000, doi:10.1177/014362440002100201), then the mains. A zone's soil takes rain less
    runoff and the soakage fed to it, gives up evapotranspiration reduced by stress, drains what is
    above field capacity (FAO-56, chapter 8, equations 84 to 88) and is filled up again in the
    evening if it is drawn down far enough. In the soil, water of all origins is well mixed, so
    what roots take is counted once, in proportion.
    """
    result = _run(system, *_base(system), keep=True)
    return Series(*result[5:])


def simulate_sizes(
    system: System, store_id: str, capacities_m3: Sequence[float], *, threads: int = 2
) -> Totals:
    """Run the system with one store in several sizes, in one pass over the weather.

    The water surface of the store grows in proportion to its capacity (same depth, larger plan).

    Parameters
    ----------
    store_id : the store whose size changes.
    capacities_m3 : its sizes [m³], not negative.
    threads : how many threads share the sizes; results do not depend on it.

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
    parts = np.array_split(np.arange(sizes.size), min(threads, sizes.size))

    def part(columns: NDArray[np.int64]) -> tuple[NDArray[np.float64], ...]:
        return _run(system, capacity[:, columns], scale[:, columns], keep=False)

    with ThreadPoolExecutor(max_workers=len(parts)) as pool:
        results = list(pool.map(part, parts))
    zones, stores, uses, zone_days = (
        np.concatenate([result[i] for result in results], axis=1) for i in range(4)
    )
    site_days = np.concatenate([result[4] for result in results])
    return Totals(zones, stores, uses, zone_days, site_days)


def _base(system: System) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    capacity = np.array([[store.capacity_m3] for store in system.stores]).reshape(-1, 1)
    return capacity.astype(np.float64), np.ones_like(capacity, dtype=np.float64)


def _run(
    system: System, capacity: NDArray[np.float64], scale: NDArray[np.float64], *, keep: bool
) -> tuple[NDArray[np.float64], ...]:
    zones, stores, uses = system.zones, system.stores, system.uses
    places = {store.store_id: place for place, store in enumerate(stores)}
    zone_places = {zone.zone_id: place for place, zone in enumerate(zones)}
    zone_first, zone_draws = _links([[places[name] for name in zone.draws_on] for zone in zones])
    use_first, use_draws = _links([[places[name] for name in use.draws_on] for use in uses])
    feed_first, feed_zone = _links([[zone_places[z] for z in store.feeds] for store in stores])
    spills_to = [places.get(store.spills_to, -1) for store in stores]
    # a reserve above a variant's capacity leaves nothing to draw, which is what it means
    result: tuple[NDArray[np.float64], ...] = _kernels.simulate(
        _floats(system.rain_mm), _floats(system.et0_mm), float(system.mains_limit_m3),
        _floats([zone.area_m2 for zone in zones]),
        _floats([zone.available_mm for zone in zones]),
        _floats([zone.depletion for zone in zones]),
        _rows([zone.kc for zone in zones], system.days),
        _rows([zone.runoff_mm for zone in zones], system.days),
        _floats([zone.start_at for zone in zones]),
        _floats([zone.efficiency for zone in zones]),
        np.array([zone.irrigated for zone in zones], dtype=np.bool_),
        _floats([zone.start_full for zone in zones]),
        zone_first, zone_draws,
        _rows([store.inflow_m3 for store in stores], system.days),
        np.ascontiguousarray(capacity),
        _rows([store.area_m2 for store in stores], SHAPE_POINTS),
        np.ascontiguousarray(scale),
        _floats([store.seep_mm for store in stores]),
        _floats([store.evaporates for store in stores]),
        np.array(spills_to, dtype=np.int64),
        _floats([store.reserve_m3 for store in stores]),
        _floats([store.start_full for store in stores]),
        np.array(system.spill_order(), dtype=np.int64),
        feed_first, feed_zone,
        _floats([share for store in stores for share in store.feeds.values()]),
        _rows([use.demand_m3 for use in uses], system.days), use_first, use_draws,
        keep,
    )  # fmt: skip
    return result


def _floats(values: Any) -> NDArray[np.float64]:  # noqa: ANN401 - anything numpy takes
    return np.ascontiguousarray(values, dtype=np.float64)


def _rows(arrays: Sequence[NDArray[np.float64]], width: int) -> NDArray[np.float64]:
    return _floats(arrays).reshape(len(arrays), width)


def _links(targets: Sequence[Sequence[int]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Flatten lists of places into one list and where each part of it begins."""
    first = np.array([0, *accumulate(len(part) for part in targets)], dtype=np.int64)
    flat = np.array([place for part in targets for place in part], dtype=np.int64)
    return first, flat


def columns(values: NDArray[np.float64], names: Sequence[str]) -> Mapping[str, NDArray[np.float64]]:
    """Name the last axis of a result."""
    return {name: values[..., place] for place, name in enumerate(names)}
