"""How large a store pays: reliability against size, and the smallest that is enough."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.simulate import USE_COLUMNS, ZONE_COLUMNS, columns, simulate_sizes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.balance.system import System


@dataclass(frozen=True, slots=True)
class SizeCurve:
    """Reliability of the whole site against one store's capacity; arrays (sizes,)."""

    store_id: str
    capacity_m3: NDArray[np.float64]
    share_of_volume: NDArray[np.float64]  # demand met without mains and without deficit
    share_of_days: NDArray[np.float64]
    mains_m3_per_year: NDArray[np.float64]


def size_curve(system: System, store_id: str, capacities_m3: Sequence[float]) -> SizeCurve:
    """Reliability for each size of a store.

    Raises
    ------
    ValueError
        If there is no such store or a size is negative.
    """
    totals = simulate_sizes(system, store_id, capacities_m3)
    area = np.array([zone.area_m2 for zone in system.zones])[:, None] / 1000
    zones, uses = columns(totals.zones, ZONE_COLUMNS), columns(totals.uses, USE_COLUMNS)
    demand = (zones["demand_mm"] * area).sum(axis=0) + uses["asked_m3"].sum(axis=0)
    free = ((zones["et_mm"] - zones["et_mains_mm"]) * area).sum(axis=0)
    free = free + uses["harvested_m3"].sum(axis=0)
    mains = zones["irrigation_mains_m3"].sum(axis=0) + uses["mains_m3"].sum(axis=0)
    with np.errstate(invalid="ignore"):
        volume = np.where(demand > 0, free / demand, 1.0)
    return SizeCurve(
        store_id=store_id,
        capacity_m3=np.asarray(capacities_m3, dtype=np.float64),
        share_of_volume=volume,
        share_of_days=totals.site_days_met / system.days,
        mains_m3_per_year=mains / system.days * 365.25,
    )


def smallest_capacity(curve: SizeCurve, share_of_volume: float) -> float | None:
    """Smallest capacity that meets a share of the demand without mains, between sizes linearly.

    Returns
    -------
    Capacity [m³], or None where no size of the curve is enough.

    Raises
    ------
    ValueError
        If the share is not between 0 and 1.
    """
    if not 0 <= share_of_volume <= 1:
        raise ValueError(f"share_of_volume must lie between 0 and 1, got {share_of_volume}")
    order = np.argsort(curve.capacity_m3)
    size, share = curve.capacity_m3[order], curve.share_of_volume[order]
    enough = np.flatnonzero(share >= share_of_volume)
    if enough.size == 0:
        return None
    first = int(enough[0])
    if first == 0:
        return float(size[0])
    below = slice(first - 1, first + 1)
    return float(np.interp(share_of_volume, share[below], size[below]))


def pays_until(curve: SizeCurve, *, gain_per_m3: float) -> float:
    """Capacity beyond which a further m³ saves less mains water than a stated amount.

    Parameters
    ----------
    gain_per_m3 : mains water saved in a year for each m³ of capacity [m³/m³].

    Raises
    ------
    ValueError
        If the curve holds fewer than two sizes.
    """
    order = np.argsort(curve.capacity_m3)
    size, mains = curve.capacity_m3[order], curve.mains_m3_per_year[order]
    if size.size < 2:
        raise ValueError("a curve needs at least two sizes")
    gain = -np.diff(mains) / np.diff(size)
    below = np.flatnonzero(gain < gain_per_m3)
    return float(size[below[0]]) if below.size else float(size[-1])
