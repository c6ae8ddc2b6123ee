"""Sizes of tanks and ponds: what they do, which is enough, and where a larger one stops paying."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.balance.sizing import pays_until, served_by, size_curve, smallest_capacity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.balance.sizing import SizeCurve
    from brimline.balance.system import System
    from brimline.config import Year
    from brimline.stages._year_system import YearInputs

# sizes that are tried, over the size as drawn: first near it, then further where the goal is not
# met or a larger store would still pay
_NEAR: Final = np.linspace(0.0, 3.0, 40)
_FAR: Final = np.concatenate([np.linspace(0.0, 2.0, 21), np.geomspace(2.2, 12.0, 19)])
_SIZED: Final = ("tank", "pond")


def curves_of(
    system: System, elements: Sequence[Mapping[str, Any]], params: Year
) -> list[SizeCurve]:
    """Curves of the tanks and ponds that something draws on."""
    return [
        _curve(system, element, params)
        for element in elements
        if element["kind"] in _SIZED
        and element["capacity_m3"] > 0
        and served_by(system, element["element_id"])
    ]


def _curve(system: System, element: Mapping[str, Any], params: Year) -> SizeCurve:
    """Try sizes, and larger ones where those do not show where it ends."""
    for factors in (_NEAR, _FAR):
        sizes = factors * element["capacity_m3"]
        curve = size_curve(system, element["element_id"], sizes.tolist())
        worth = _worth_m3(element["kind"], params)
        short = smallest_capacity(curve, params.goal_share, params.goal_by) is None
        if not short and pays_until(curve, worth_m3=worth) < sizes[-1]:
            break
    return curve


def _worth_m3(kind: str, params: Year) -> float:
    return params.pond_worth_m3_per_y if kind == "pond" else params.tank_worth_m3_per_y


def answer_row(curve: SizeCurve, system: System, inputs: YearInputs) -> dict[str, Any]:
    """Return what a curve says, in numbers and in words."""
    params = inputs.params
    capacity = system.stores[system.store_index(curve.store_id)].capacity_m3
    share = float(np.interp(capacity, curve.capacity_m3, curve.share_of_volume))
    smallest = smallest_capacity(curve, params.goal_share, params.goal_by)
    kind = next(e["kind"] for e in inputs.elements if e["element_id"] == curve.store_id)
    worth = _worth_m3(kind, params)
    pays = pays_until(curve, worth_m3=worth)
    tried = float(curve.capacity_m3[-1])
    serves = ", ".join(curve.served)
    goal = f"{100 * params.goal_share:g} %" + (" of days" if params.goal_by == "days" else "")
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
    return {
        "element_id": curve.store_id,
        "kind": kind,
        "serves": serves,
        "capacity_m3": capacity,
        "share_without_mains": min(share, 1.0),
        "share_of_days": float(np.interp(capacity, curve.capacity_m3, curve.share_of_days)),
        "goal_share": params.goal_share,
        "goal_by": params.goal_by,
        "smallest_m3": smallest,
        "pays_until_m3": pays,
        "worth_m3_per_y": worth,
        "tried_to_m3": tried,
        "text": f"{curve.store_id}: with {_told(capacity)} m³, {100 * share:.0f} % of the demand of"
        f" {serves} is met without mains; {enough}; {stops}.",
    }


def _told(volume_m3: float) -> str:
    """Return a volume as sizes are known: to three digits."""
    digits = 2 - math.floor(math.log10(volume_m3)) if volume_m3 > 0 else 0
    return f"{round(volume_m3, digits):.{min(max(digits, 0), 1)}f}"
