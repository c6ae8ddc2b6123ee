"""Sizing the sills that a person left to be designed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.cascade.routing import route
from brimline.elements import Sill, width_for_m

if TYPE_CHECKING:
    from collections.abc import Collection

    from brimline.cascade.inflow import StormInflow
    from brimline.cascade.network import Link, Network
    from brimline.cascade.routing import Pace, Routed

_PASSES: Final = 6
_ROUNDING_M: Final = 0.1


def size_sills(
    network: Network,
    inflow: StormInflow,
    links: Collection[Link],
    *,
    head_m: float = 0.15,
    least_m: float = 0.5,
    pace: Pace | None = None,
) -> tuple[Network, Routed]:
    """Give sills the width that passes the peak that arrives, by the broad-crested relation.

    The peak taken is that of the inflow, which the outflow never exceeds, so the width is on the
    safe side. Wider sills above let more through to those below, so the widths are found again
    until none changes.

    Parameters
    ----------
    links : links of the network whose sills are to be sized; those that are not sills, or have
        no room between crest and freeboard, are left as they are and will be flagged.
    head_m : head to size for; less where the freeboard leaves less [m].
    least_m : narrowest sill that is built [m].

    Returns
    -------
    The network with the sills sized, and its routing.

    Raises
    ------
    ValueError
        If the head is not positive, or a link is not one of the network's.
    """
    if not head_m > 0:
        raise ValueError(f"a sill is sized for a head above 0 m, got {head_m} m")
    places = [
        place for place, link in enumerate(network.links) if any(link is one for one in links)
    ]
    if len(places) < len(links):
        raise ValueError(f"{len(links) - len(places)} of the links are not the network's own")
    routed = route(network, inflow, pace)
    for _ in range(_PASSES):
        sized = _sized(network, routed, places, head_m, least_m)
        same = all(
            new.outlet == old.outlet for new, old in zip(sized.links, network.links, strict=True)
        )
        if same:
            break
        network = sized
        routed = route(network, inflow, pace)
    return network, routed


def _sized(
    network: Network, routed: Routed, places: list[int], head_m: float, least_m: float
) -> Network:
    links = list(network.links)
    for place in places:
        link, sill = links[place], links[place].outlet
        element = network.element(link.from_id)
        room_m = min(head_m, element.highest_safe_m - sill.crest_m)
        if not isinstance(sill, Sill) or sill.form == "notch" or room_m <= 0:
            continue
        peak = float(routed.elements.inflow_peak_m3_s[routed.at(link.from_id)])
        needed_m = width_for_m(
            peak,
            room_m,
            form=sill.form,
            side=sill.side,
            discharge_coefficient=sill.discharge_coefficient,
        )
        steps = math.ceil(max(needed_m, least_m) / _ROUNDING_M - 1e-9)
        links[place] = replace(link, outlet=replace(sill, width_m=round(steps * _ROUNDING_M, 6)))
    return replace(network, links=tuple(links))
