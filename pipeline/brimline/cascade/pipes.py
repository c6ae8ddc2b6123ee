"""Sizing the pipes that a person left to be designed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade.routing import route
from brimline.elements import Orifice, Pipe, flow_m3_s
from brimline.elements.pipe import NOMINAL_MM

if TYPE_CHECKING:
    from collections.abc import Collection

    from brimline.cascade.inflow import StormInflow
    from brimline.cascade.network import Link, Network
    from brimline.cascade.routing import Pace
    from brimline.elements import Element, Outlet

# A soakaway is to be half empty within 24 h, ready for the next storm (BRE Digest 365; value from
# memory); taken here for low outlets.
HALF_EMPTY_H: Final = 24.0
_LEAST_MM: Final = 100  # a smaller pipe blocks (common practice, no source)
_SLICES: Final = 48


def size_pipes(
    network: Network,
    inflow: StormInflow,
    links: Collection[Link],
    *,
    half_empty_h: float = HALF_EMPTY_H,
    pace: Pace | None = None,
) -> Network:
    """Give pipes the smallest stocked size that does what each is for.

    A pipe beside a sill is a low outlet: it lets half of what stands between it and the sill go
    in `half_empty_h`. Where pipes are the only way out, they pass the peak that arrives before
    the water reaches the freeboard.

    Parameters
    ----------
    links : links of the network whose pipes are to be sized; others than pipes are left alone.

    Raises
    ------
    ValueError
        If the time is not positive.
    """
    if not half_empty_h > 0:
        raise ValueError(f"a low outlet is sized for a time above 0 h, got {half_empty_h} h")
    wanted = {id(link) for link in links if isinstance(link.outlet, Pipe | Orifice)}
    if not wanted:
        return network
    peaks = route(network, inflow, pace, keep_series=False).elements.inflow_peak_m3_s
    sized = []
    for link in network.links:
        if id(link) not in wanted:
            sized.append(link)
            continue
        element = network.element(link.from_id)
        sills = [way for way in network.ways_out(link.from_id) if not way.outlet.is_pipe]
        size_m = (
            _low_outlet_m(link, element, sills[0].outlet.crest_m, half_empty_h)
            if sills
            else _whole_outlet_m(link, element, float(peaks[network.index[link.from_id]]))
        )
        sized.append(replace(link, outlet=replace(link.outlet, diameter_m=size_m)))  # type: ignore[type-var]
    return replace(network, links=tuple(sized))


def _sizes_m() -> list[float]:
    return [size / 1000 for size in NOMINAL_MM if size >= _LEAST_MM]


def _low_outlet_m(link: Link, element: Element, full_m: float, half_empty_h: float) -> float:
    for size_m in _sizes_m():
        outlet = replace(link.outlet, diameter_m=size_m)  # type: ignore[type-var]
        if half_empty_time_h(element, outlet, full_m) <= half_empty_h:
            return size_m
    return _sizes_m()[-1]


def _whole_outlet_m(link: Link, element: Element, peak_m3_s: float) -> float:
    for size_m in _sizes_m():
        outlet = replace(link.outlet, diameter_m=size_m)  # type: ignore[type-var]
        if flow_m3_s(outlet, element.highest_safe_m) >= peak_m3_s:
            return size_m
    return _sizes_m()[-1]


def half_empty_time_h(element: Element, outlet: Outlet, full_m: float) -> float:
    """Time in which half of what stands between an outlet and a level runs out through it [h].

    Nothing arrives, nothing soaks away, and nothing drowns the outlet; 0 where there is nothing.
    """
    top = float(element.stages.storage_at(full_m))
    bottom = float(element.stages.storage_at(max(outlet.crest_m, element.floor_m)))
    if top <= bottom:
        return 0.0
    volumes = np.linspace(top, 0.5 * (top + bottom), _SLICES + 1)
    middles = element.stages.level_at(0.5 * (volumes[1:] + volumes[:-1]))
    flows = np.array([flow_m3_s(outlet, float(level)) for level in middles])
    if not (flows > 0).all():
        return math.inf
    return float((-np.diff(volumes) / flows).sum()) / 3600
