"""How large a store pays: reliability against size, and the smallest that is enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from brimline.balance.simulate import USE_COLUMNS, ZONE_COLUMNS, columns, simulate_sizes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.balance.collectors import Collector
    from brimline.balance.rules import YearRules
    from brimline.balance.system import System

By = Literal["volume", "days"]

_YEAR_D: Final = 365.25
# sizes that are tried, over the size as drawn: first near it, then further where the goal is not
# met or a larger store would still pay
_NEAR: Final = np.linspace(0.0, 3.0, 40)
_FAR: Final = np.concatenate([np.linspace(0.0, 2.0, 21), np.geomspace(2.2, 12.0, 19)])
_SIZED: Final = ("tank", "pond")


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

    def columns(self) -> dict[str, Sequence[object] | NDArray[np.float64]]:
        """Return a row for each size."""
        return {
            "element_id": [self.store_id] * self.capacity_m3.size,
            "capacity_m3": self.capacity_m3,
            "share_without_mains": self.share_of_volume.clip(0, 1),
            "share_of_days": self.share_of_days,
            "met_m3_per_y": self.met_m3_per_y,
            "mains_m3_per_y": self.mains_m3_per_y,
        }


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


@dataclass(frozen=True, slots=True)
class SizeAnswer:
    """What a store's size does, which is enough, and where a larger one stops paying.

    Parameters
    ----------
    share_without_mains, share_of_days : reached with the capacity as drawn.
    smallest_m3 : least size that reaches the goal; None where none that was tried does.
    """

    element_id: str
    kind: str
    serves: str
    capacity_m3: float
    share_without_mains: float
    share_of_days: float
    goal_share: float
    goal_by: By
    smallest_m3: float | None
    pays_until_m3: float
    worth_m3_per_y: float
    tried_to_m3: float
    text: str


def curves_of(system: System, elements: Sequence[Collector], rules: YearRules) -> list[SizeCurve]:
    """Curves of the tanks and ponds that something draws on."""
    return [
        _curve(system, element, rules)
        for element in elements
        if element.kind in _SIZED
        and element.capacity_m3 > 0
        and served_by(system, element.element_id)
    ]


def _curve(system: System, element: Collector, rules: YearRules) -> SizeCurve:
    """Try sizes, and larger ones where those do not show where it ends."""
    for factors in (_NEAR, _FAR):
        sizes = factors * element.capacity_m3
        curve = size_curve(system, element.element_id, sizes.tolist())
        worth = rules.worth_m3_per_y(element.kind)
        short = smallest_capacity(curve, rules.goal_share, rules.goal_by) is None
        if not short and pays_until(curve, worth_m3=worth) < sizes[-1]:
            break
    return curve


def size_answer(curve: SizeCurve, system: System, kind: str, rules: YearRules) -> SizeAnswer:
    """Read a curve, for a tank or a pond."""
    capacity = system.stores[system.store_index(curve.store_id)].capacity_m3
    share = float(np.interp(capacity, curve.capacity_m3, curve.share_of_volume))
    smallest = smallest_capacity(curve, rules.goal_share, rules.goal_by)
    worth = rules.worth_m3_per_y(kind)
    pays = pays_until(curve, worth_m3=worth)
    tried = float(curve.capacity_m3[-1])
    serves = ", ".join(curve.served)
    goal = f"{100 * rules.goal_share:g} %" + (" of days" if rules.goal_by == "days" else "")
    enough = (
        f"{goal} need {_told(smallest)} m³"
        if smallest is not None
        else f"{goal} are not reached with up to {_told(tried)} m³"
    )
    if pays <= 0:
        stops = f"no size meets {worth:g} m³ a year for each m³ of it"
    elif pays >= tried:
        stops = f"up to {_told(tried)} m³ a further m³ still meets {worth:g} m³ a year"
    else:
        stops = f"beyond {_told(pays)} m³ a further m³ meets less than {worth:g} m³ a year"
    return SizeAnswer(
        curve.store_id,
        kind,
        serves,
        capacity,
        min(share, 1.0),
        float(np.interp(capacity, curve.capacity_m3, curve.share_of_days)),
        rules.goal_share,
        rules.goal_by,
        smallest,
        pays,
        worth,
        tried,
        f"{curve.store_id}: with {_told(capacity)} m³, {100 * share:.0f} % of the demand of"
        f" {serves} is met without mains; {enough}; {stops}.",
    )


def _told(volume_m3: float) -> str:
    """Return a volume as sizes are known: to three digits."""
    digits = 2 - math.floor(math.log10(volume_m3)) if volume_m3 > 0 else 0
    return f"{round(volume_m3, digits):.{min(max(digits, 0), 1)}f}"
