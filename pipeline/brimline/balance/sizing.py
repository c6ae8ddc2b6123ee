"""How large a store pays: reliability against size, and the smallest that is enough."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from brimline.balance.simulate import USE_COLUMNS, ZONE_COLUMNS, columns, simulate_sizes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.balance.system import System

By = Literal["volume", "days"]

_YEAR_D: Final = 365.25


@dataclass(frozen=True, slots=True)
class SizeCurve:
    """What one store's capacity does for what draws on it; arrays (sizes,).

    Parameters
    ----------
    served : zones and uses that draw on the store; all of them where none does.
    capacity_m3 : sizes, rising [m³].
    share_of_volume : share of their demand that is met without mains and without deficit.
    share_of_days : share of days on which it is (`simulate.SHORT_SHARE`).
    met_m3_per_y : that demand, of the whole site [m³ a year].
    mains_m3_per_y : water drawn from the mains by the whole site [m³ a year].
    """

    store_id: str
    served: tuple[str, ...]
    capacity_m3: NDArray[np.float64]
    share_of_volume: NDArray[np.float64]
    share_of_days: NDArray[np.float64]
    met_m3_per_y: NDArray[np.float64]
    mains_m3_per_y: NDArray[np.float64]

    def share(self, by: By = "volume") -> NDArray[np.float64]:
        """Reliability (sizes,) by volume or by days."""
        return self.share_of_days if by == "days" else self.share_of_volume


def served_by(system: System, store_id: str) -> tuple[str, ...]:
    """Names of the zones and uses that draw on a store."""
    return tuple(
        [zone.zone_id for zone in system.zones if store_id in zone.draws_on and zone.irrigated]
        + [use.use_id for use in system.uses if store_id in use.draws_on]
    )


def size_curve(system: System, store_id: str, capacities_m3: Sequence[float]) -> SizeCurve:
    """Reliability for each size of a store.

    Raises
    ------
    ValueError
        If there is no such store or a size is negative.
    """
    served = served_by(system, store_id)
    every = tuple([zone.zone_id for zone in system.zones] + [use.use_id for use in system.uses])
    served = served or every
    sizes = np.sort(np.asarray(capacities_m3, dtype=np.float64))
    totals = simulate_sizes(system, store_id, sizes.tolist(), watched=set(served))
    area = np.array([zone.area_m2 for zone in system.zones])[:, None] / 1000
    zones, uses = columns(totals.zones, ZONE_COLUMNS), columns(totals.uses, USE_COLUMNS)
    demand = np.concatenate([zones["demand_mm"] * area, uses["asked_m3"]])
    met = np.concatenate([(zones["et_mm"] - zones["et_mains_mm"]) * area, uses["harvested_m3"]])
    mains = zones["irrigation_mains_m3"].sum(axis=0) + uses["mains_m3"].sum(axis=0)
    mine = np.array([name in served for name in every], dtype=np.bool_)
    asked = demand[mine].sum(axis=0)
    share = np.divide(met[mine].sum(axis=0), asked, out=np.ones_like(asked), where=asked > 0)
    years = system.days / _YEAR_D
    return SizeCurve(
        store_id=store_id,
        served=served,
        capacity_m3=sizes,
        share_of_volume=share,
        share_of_days=totals.days_met / system.days,
        met_m3_per_y=met.sum(axis=0) / years,
        mains_m3_per_y=mains / years,
    )


def smallest_capacity(curve: SizeCurve, goal: float, by: By = "volume") -> float | None:
    """Smallest capacity that reaches a goal without mains, between sizes linearly.

    Parameters
    ----------
    goal : share of the demand's volume, or of the days on which it is met.

    Returns
    -------
    Capacity [m³], or None where no size of the curve is enough.

    Raises
    ------
    ValueError
        If the share is not between 0 and 1.
    """
    if not 0 <= goal <= 1:
        raise ValueError(f"the goal must lie between 0 and 1, got {goal}")
    size, share = curve.capacity_m3, curve.share(by)
    enough = np.flatnonzero(share >= goal)
    if enough.size == 0:
        return None
    first = int(enough[0])
    if first == 0:
        return float(size[0])
    below = slice(first - 1, first + 1)
    return float(np.interp(goal, share[below], size[below]))


def pays_until(curve: SizeCurve, *, worth_m3: float) -> float:
    """Capacity beyond which a further m³ meets less demand in a year than makes it worth while.

    Gains are taken from the least curve without dents that lies nowhere below the real one, so
    that a small size that happens to gain little does not hide a larger one that gains much.

    Parameters
    ----------
    worth_m3 : demand that a further m³ of capacity must meet in a year [m³].

    Raises
    ------
    ValueError
        If the curve holds fewer than two sizes.
    """
    size, met = curve.capacity_m3, curve.met_m3_per_y
    if size.size < 2:
        raise ValueError("a curve needs at least two sizes")
    # the size where the demand met less what the size must be worth is greatest: on the hull
    return float(size[int(np.argmax(met - worth_m3 * size))])
