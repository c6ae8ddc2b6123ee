"""Trying a change: first on the element and what it spills to, then on the whole cascade."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from brimline.cascade.inflow import StormInflow
from brimline.cascade.judge import assess
from brimline.cascade.network import NOWHERE, Discharge, Network
from brimline.cascade.routing import Pace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from brimline.cascade.findings import Finding
    from brimline.cascade.limits import Limits
    from brimline.cascade.routing import Routed


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What a change is tried on.

    Parameters
    ----------
    network, inflow : cascade, or part of one, and the water that reaches it.
    marks : element and flag of everything that is wrong before the change.
    """

    network: Network
    inflow: StormInflow
    marks: frozenset[tuple[str, str]]
    limits: Limits
    pace: Pace | None

    def mends(self, change: Callable[[Network], Network], element_id: str, flag: str) -> bool:
        """Tell whether a change takes a flag away without bringing another.

        A change that cannot be made, such as a sill below a floor, mends nothing.
        """
        try:
            changed = change(self.network)
        except ValueError:
            return False
        _, findings = assess(changed, self.inflow, self.limits, self.pace)
        left = marks_of(findings)
        return (element_id, flag) not in left and left <= self.marks


def marks_of(findings: Iterable[Finding]) -> frozenset[tuple[str, str]]:
    """Element and flag of each finding."""
    return frozenset((finding.element_id, finding.flag) for finding in findings)


def whole_bench(
    routed: Routed, findings: Iterable[Finding], limits: Limits, pace: Pace | None
) -> Bench:
    """Make the bench of a whole routed cascade."""
    return Bench(routed.network, routed.inflow, marks_of(findings), limits, pace)


def cut_bench(
    routed: Routed, element_id: str, limits: Limits, pace: Pace | None, target: str = NOWHERE
) -> Bench:
    """Make the bench of one element and those that it spills to.

    The water that reached them in the whole cascade is their inflow; what they spill further
    down is let go. So many trials cost little; what is found is proved on the whole afterwards.

    Parameters
    ----------
    target : another element to cut out with them, because a change may lead water there.

    Raises
    ------
    ValueError
        If the series of the routing were not kept.
    """
    if routed.series is None:
        raise ValueError("changes can only be tried on a routing that kept its series")
    network, series = routed.network, routed.series
    reached = {target, *(link.to_id for link in network.ways_out(element_id))}
    nexts = reached & set(network.index)
    kept = {element_id, *nexts}
    means = {name: series.inflow_m3_s[:, routed.at(name)].copy() for name in kept}
    for place, way in enumerate(routed.ways):
        if way.from_id == element_id and way.to_id in nexts and place not in routed.broken:
            means[way.to_id] -= np.maximum(series.flow_m3_s[:, place], 0.0)
    means = {name: np.maximum(mean, 0.0) for name, mean in means.items()}
    links = tuple(link for link in network.links if link.from_id in kept)
    beyond = sorted({link.to_id for link in links if link.to_id in network.index} - kept)
    small = Network(
        tuple(element for element in network.elements if element.element_id in kept),
        links,
        (*network.discharges, *(Discharge(name, "further down") for name in beyond)),
    )
    inflow = StormInflow(series.edges_s, means, routed.inflow.rain_ends_s, routed.inflow.name)
    _, findings = assess(small, inflow, limits, _no_longer(pace))
    return Bench(small, inflow, marks_of(findings), limits, _no_longer(pace))


def _no_longer(pace: Pace | None) -> Pace:
    """Route no further: the series already reach beyond the storm."""
    return replace(pace or Pace(), after_h=0.0)
