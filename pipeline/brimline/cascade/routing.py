"""Routing a storm through a cascade, and what comes of it for each element and each way out.

All elements are stepped together, so that a level below can drown the sill above (see the
kernels for the method). After the storm the routing goes on without inflow, so that drawdown
can be seen. Evaporation is neglected.

Water that rises above an element's crest runs over its brim as over a broad sill as long as the
brim. It is counted as running to where the element's lowest sill leads, and flagged. An outlet
that is drawn uphill passes nothing until the water stands over the level that it leads to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.cascade import _kernels as kernels
from brimline.cascade.network import NOWHERE, Link, Network
from brimline.cascade.pack import pack
from brimline.cascade.reaches import cut, deepest, gathered, together
from brimline.elements import Sill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.cascade.inflow import StormInflow
    from brimline.elements.storage import FloatArray

_BRIEF_H: Final = 6.0  # drawdown is not asked for by then


@dataclass(frozen=True, slots=True)
class Pace:
    """How finely, and for how long, to route.

    Parameters
    ----------
    tolerance_m : error of level allowed in one step [m].
    halvings : how often a step may be halved to reach it.
    sweeps : how often drowned elements are solved in turn, where solving them together stalls,
        before the step is halved.
    after_h : how long to go on after the storm [h].
    after_step_s : step after the storm [s].
    """

    tolerance_m: float = 0.001
    halvings: int = 7
    sweeps: int = 100
    after_h: float = 96.0
    after_step_s: float = 600.0

    def __post_init__(self) -> None:
        if not (self.tolerance_m > 0 and 0 <= self.halvings <= 20 and self.sweeps >= 2):
            raise ValueError(
                "routing needs a tolerance above 0 m, 0 to 20 halvings and 2 sweeps or more, got "
                f"{self.tolerance_m} m, {self.halvings} and {self.sweeps}"
            )
        if not (self.after_step_s > 0 and self.after_h >= 0):
            raise ValueError(
                f"after the storm, routing needs a step above 0 s and 0 h or more, got "
                f"{self.after_step_s} s and {self.after_h} h"
            )

    def brief(self) -> Pace:
        """Return the same for faults and greater storms, which show themselves within 6 h."""
        return replace(self, after_h=min(self.after_h, _BRIEF_H))


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Levels and flows by time; columns as the elements and ways out of the result.

    Parameters
    ----------
    edges_s : float64 (steps + 1,), edges of the steps [s].
    level_m, storage_m3, soaked_m3 : float64 (steps + 1, elements), at the edges; `soaked_m3` is
        what has soaked away so far.
    inflow_m3_s : float64 (steps, elements), mean of each step, from outside and from above.
    flow_m3_s : float64 (steps, links), mean of each step; below 0 where water runs back.
    """

    edges_s: FloatArray
    level_m: FloatArray
    storage_m3: FloatArray
    soaked_m3: FloatArray
    inflow_m3_s: FloatArray
    flow_m3_s: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ElementSums:
    """What a storm does to each element; arrays in the network's order.

    Parameters
    ----------
    outside_m3 : inflow from outside the cascade.
    received_m3 : from elements above, and back from those below.
    inflow_peak_m3_s, inflow_peak_s : highest inflow and its time.
    peak_level_m, peak_s, peak_storage_m3 : highest level, its time, what is held then.
    start_m3, end_m3 : held before and at the end.
    soaked_m3 : soaked away.
    spilled_m3 : left by its own ways out.
    overtopped_m3 : left over its brim.
    residual_m3 : what does not add up.
    drawdown_h : from the end of the rain until only the residual depth stands; infinite where
        that is not reached, NaN where no series was kept.
    """

    outside_m3: FloatArray
    received_m3: FloatArray
    inflow_peak_m3_s: FloatArray
    inflow_peak_s: FloatArray
    peak_level_m: FloatArray
    peak_s: FloatArray
    peak_storage_m3: FloatArray
    start_m3: FloatArray
    end_m3: FloatArray
    soaked_m3: FloatArray
    spilled_m3: FloatArray
    overtopped_m3: FloatArray
    residual_m3: FloatArray
    drawdown_h: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LinkSums:
    """What runs through each way out; arrays in the order of `Routed.ways`.

    Parameters
    ----------
    forward_m3, back_m3 : volume forwards and backwards.
    peak_m3_s, peak_s : highest flow and its time.
    tail_m : highest stand of the level beyond over the outlet while the outlet ran; negative
        where it always ran free.
    """

    forward_m3: FloatArray
    back_m3: FloatArray
    peak_m3_s: FloatArray
    peak_s: FloatArray
    tail_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Routed:
    """What a storm does to a cascade.

    Parameters
    ----------
    ways : the network's links, then every element's brim.
    broken : places in `ways` of links inside rings, routed as leading nowhere.
    steps, missed : small steps taken, and those that did not meet the tolerance.
    series : levels and flows by time; None where they were not kept.
    """

    network: Network
    inflow: StormInflow
    ways: tuple[Link, ...]
    broken: frozenset[int]
    elements: ElementSums
    links: LinkSums
    steps: int
    missed: int
    series: Series | None

    def at(self, element_id: str) -> int:
        """Place of an element in the arrays."""
        return self.network.index[element_id]

    def way(self, link: Link) -> int:
        """Place of a link in the arrays; raises StopIteration where it is not one of the ways."""
        return next(place for place, way in enumerate(self.ways) if way is link)

    @property
    def left_m3(self) -> float:
        """Volume that left the cascade by any way [m³]."""
        leaving = [
            place in self.broken or way.to_id not in self.network.index
            for place, way in enumerate(self.ways)
        ]
        return float((self.links.forward_m3 - self.links.back_m3)[leaving].sum())

    @property
    def residual_m3(self) -> float:
        """What does not add up for the whole cascade [m³]."""
        sums = self.elements
        put_in = sums.start_m3.sum() + sums.outside_m3.sum()
        return float(put_in - self.left_m3 - sums.soaked_m3.sum() - sums.end_m3.sum())


def route(
    network: Network,
    inflow: StormInflow,
    pace: Pace | None = None,
    *,
    residual_m: float = 0.01,
    keep_series: bool = True,
) -> Routed:
    """Route a storm through a cascade.

    Elements that spill in a ring are routed with the ring's links leading nowhere; `check`
    flags them and all that they reach.

    Parameters
    ----------
    residual_m : depth over the floor that counts as drained [m].
    keep_series : whether to keep levels and flows by time; drawdown needs them.

    Raises
    ------
    ValueError
        If inflow is given for an element that is not there, or there is no element.
    """
    pace = pace or Pace()
    strangers = sorted(set(inflow.mean_m3_s) - set(network.index))
    if strangers or not network.elements:
        raise ValueError(
            f"a cascade needs elements, and all that inflow is given for; it lacks {strangers}"
        )
    ways = (*network.links, *(_brim(network, name) for name in network.index))
    broken = _ring_links(network, ways)
    edges, mean = _steps(network, inflow, pace)
    reaches, count = cut(network, ways), len(network.elements)
    packed = pack(reaches.network, reaches.ways, broken, reaches.brim_of)
    further = np.zeros((mean.shape[0], len(reaches.network.elements) - count))
    levels, soaked, through, elements, links, steps, missed = kernels.route(
        edges,
        np.concatenate([mean, further], axis=1),
        np.array(reaches.network.order, dtype=np.int64),
        packed.elements,
        packed.links,
        packed.table,
        packed.heads,
        packed.flows,
        packed.lists,
        float(pace.tolerance_m),
        pace.halvings,
        pace.sweeps,
        keep_series,
    )
    stored = gathered(_stored(reaches.network, elements["peak_level"]), reaches, count)
    storage = _stored(reaches.network, levels) if keep_series else levels
    start = gathered(packed.elements["volume"], reaches, count)
    if not reaches.whole:
        elements, links, through = together(reaches, count, len(ways), elements, links, through)
        levels, soaked = deepest(levels, reaches, count), gathered(soaked, reaches, count)
        storage = gathered(storage, reaches, count)
    drawdown = np.full(count, math.nan)
    series = None
    if keep_series:
        arriving = _arriving(links["target"], mean, through)
        series = Series(edges, levels, storage, soaked, arriving, through)
        drawdown = _drawdown_h(network, inflow.rain_ends_s, edges, levels, residual_m)
    outside = np.diff(edges) @ mean
    sums = _element_sums(network, start, stored, outside, elements, links, drawdown)
    return Routed(
        network, inflow, ways, broken, sums, _link_sums(links), int(steps), int(missed), series
    )


def _ring_links(network: Network, ways: tuple[Link, ...]) -> frozenset[int]:
    """Places of the ways, brims included, that lead from a ring into the same ring."""
    ring_of = {name: at for at, ring in enumerate(network.rings) for name in ring}
    return frozenset(
        place
        for place, way in enumerate(ways)
        if way.from_id in ring_of and ring_of[way.from_id] == ring_of.get(way.to_id)
    )


def _brim(network: Network, element_id: str) -> Link:
    """Give what runs over the brim: to where the lowest sill leads, if that lies lower."""
    element = network.element(element_id)
    brim = Link(
        element_id,
        network.spills_to(element_id),
        Sill(element.crest_level_m, element.brim_length_m),
    )
    drop = network.drop_m(brim)
    return brim if drop is None or drop > 0 else replace(brim, to_id=NOWHERE)


def _steps(network: Network, inflow: StormInflow, pace: Pace) -> tuple[FloatArray, FloatArray]:
    """Lay out the steps of the storm and those after it, and the mean inflow of each."""
    edges = np.asarray(inflow.edges_s, dtype=np.float64)
    after = math.ceil(pace.after_h * 3600 / pace.after_step_s)
    mean = np.zeros((edges.size - 1 + after, len(network.elements)))
    for name, flows in inflow.mean_m3_s.items():
        mean[: edges.size - 1, network.index[name]] = flows
    later = edges[-1] + pace.after_step_s * np.arange(1, after + 1)
    return np.concatenate([edges, later]), mean


def _element_sums(
    network: Network,
    start_m3: FloatArray,
    stored_m3: FloatArray,
    outside_m3: FloatArray,
    elements: NDArray[Any],
    links: NDArray[Any],
    drawdown_h: FloatArray,
) -> ElementSums:
    forward, back = links["sum_forward"], links["sum_back"]
    origin, target = links["origin"], links["target"]
    inside = target >= 0
    received, sent = np.zeros_like(start_m3), np.zeros_like(start_m3)
    np.add.at(sent, origin, forward)
    np.add.at(received, origin, back)
    np.add.at(received, target[inside], forward[inside])
    np.add.at(sent, target[inside], back[inside])
    overtopped = forward[len(network.links) :].copy()
    end, soaked = elements["volume"].copy(), elements["sum_soaked"].copy()
    return ElementSums(
        outside_m3,
        received,
        elements["peak_inflow"].copy(),
        elements["peak_inflow_time"].copy(),
        elements["peak_level"].copy(),
        elements["peak_time"].copy(),
        stored_m3,
        start_m3.copy(),
        end,
        soaked,
        sent - overtopped,
        overtopped,
        start_m3 + outside_m3 + received - sent - soaked - end,
        drawdown_h,
    )


def _link_sums(links: NDArray[Any]) -> LinkSums:
    return LinkSums(
        links["sum_forward"].copy(),
        links["sum_back"].copy(),
        links["peak"].copy(),
        links["peak_time"].copy(),
        links["peak_tail"].copy(),
    )


def _stored(network: Network, levels: FloatArray) -> FloatArray:
    """Volume of each element at its levels (…, elements)."""
    storage = np.empty(levels.shape)
    for place, element in enumerate(network.elements):
        storage[..., place] = element.stages.storage_at(levels[..., place])
    return storage


def _arriving(targets: NDArray[np.int64], mean: FloatArray, through: FloatArray) -> FloatArray:
    """Add what comes from above to what comes from outside."""
    arriving = mean.copy()
    for way, target in enumerate(targets):
        if target >= 0:
            arriving[:, target] += np.maximum(through[:, way], 0.0)
    return arriving


def _drawdown_h(
    network: Network, from_s: float, edges: FloatArray, levels: FloatArray, residual_m: float
) -> FloatArray:
    """Hours from the end of the rain until each element stands at the residual depth for good."""
    return np.array(
        [
            _last_above_h(edges, levels[:, place], element.floor_m + residual_m, from_s)
            for place, element in enumerate(network.elements)
        ]
    )


def _last_above_h(time: FloatArray, level: FloatArray, limit_m: float, from_s: float) -> float:
    above = np.flatnonzero(level > limit_m)
    if above.size == 0:
        return 0.0
    last = int(above[-1])
    if last == level.size - 1:
        return math.inf
    share = (level[last] - limit_m) / (level[last] - level[last + 1])
    gone_s = time[last] + share * (time[last + 1] - time[last])
    return max(float(gone_s - from_s) / 3600, 0.0)
