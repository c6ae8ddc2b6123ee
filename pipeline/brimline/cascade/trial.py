"""Trying a change: first on the element and what it spills to, then on all that it can reach.

Changes are tried on a coarser routing: steps between which the inflow hardly changes are joined,
and each step is still halved as the tolerance on level asks. What a change cannot reach is not
routed again: the water that came from there in the first routing is its inflow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade.findings import check
from brimline.cascade.inflow import StormInflow
from brimline.cascade.judge import judge
from brimline.cascade.network import Discharge, Network
from brimline.cascade.routing import Pace, route

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from brimline.cascade.findings import Finding
    from brimline.cascade.limits import CascadeLimits
    from brimline.cascade.routing import Routed

Marks = frozenset[tuple[str, str, int]]
_AFTER_STEP_S: Final = 1800.0  # between the rain and the last drop, a coarser step does
_CLEAR_M: Final = 0.002  # by which a coarse routing must keep its limits, to be within them in all
_SHOWN_BY_A_STORM: Final = frozenset(
    {"overtopped", "freeboard", "small-outlet", "drowned", "slow-drawdown", "fast-flow"}
)
_NEAR_M: Final = 0.1  # water this far under an outlet may rise to it once something is changed


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What a change is tried on.

    Parameters
    ----------
    network, inflow : cascade, or part of one, and the water that reaches it.
    marks : element and flag of everything that is wrong before the change, by each of the limits.
    limits : the limits to keep, and those that a coarse routing is judged by besides.
    """

    network: Network
    inflow: StormInflow
    marks: Marks
    limits: tuple[CascadeLimits, ...]
    pace: Pace

    def mends(self, change: Callable[[Network], Network], element_id: str, flag: str) -> bool:
        """Tell whether a change takes a flag away without bringing another.

        A change that cannot be made, such as a sill below a floor, mends nothing. What a storm
        shows of elements that a ring kept from being worked out is not brought by the change.
        """
        try:
            changed = change(self.network)
        except ValueError:
            return False
        unknown = self._unknown
        left = {
            mark
            for mark in _marks(changed, self.inflow, self.limits, self.pace)[1]
            if not (mark[0] in unknown and mark[1] in _SHOWN_BY_A_STORM)
        }
        cleared = all((element_id, flag, place) not in left for place in range(len(self.limits)))
        return cleared and left <= self.marks

    def routed(self, change: Callable[[Network], Network] | None = None) -> Routed:
        """Route it, with a change or as it is."""
        network = self.network if change is None else change(self.network)
        return route(network, self.inflow, self.pace, residual_m=self.limits[0].residual_m)

    @property
    def _unknown(self) -> set[str]:
        rings = self.network.rings
        return self.network.below({name for ring in rings for name in ring}) if rings else set()


def _marks(
    network: Network, inflow: StormInflow, limits: tuple[CascadeLimits, ...], pace: Pace
) -> tuple[Routed, Marks]:
    """Route, and list element, flag and place of the limits of each finding."""
    routed = route(network, inflow, pace, residual_m=limits[0].residual_m)
    marks = {
        (finding.element_id, finding.flag, place)
        for place, one in enumerate(limits)
        for finding in (*check(network, one), *judge(routed, one))
    }
    return routed, frozenset(marks)


@dataclass(frozen=True, slots=True, eq=False)
class Workshop:
    """A routed cascade to try changes on.

    Parameters
    ----------
    routed : its routing, with series.
    marks, limits : as for a bench.
    pace : how it was routed.
    """

    routed: Routed
    marks: Marks
    limits: tuple[CascadeLimits, ...]
    pace: Pace

    def flags_of(self, element_id: str) -> set[str]:
        """Return the flags of an element."""
        return {flag for name, flag, place in self.marks if name == element_id and place == 0}

    def near(self, kept: Iterable[str]) -> Bench:
        """Return a bench of a few elements; what they spill further down is let go."""
        small, inflow = self._cut(set(kept))
        _, marks = _marks(small, inflow, self.limits, self._no_longer)
        return Bench(small, inflow, marks, self.limits, self._no_longer)

    def reached_by(self, change: Callable[[Network], Network]) -> Bench | None:
        """Return a bench of all that a change can reach; None where it cannot be made."""
        network = self.routed.network
        try:
            changed = change(network)
        except ValueError:
            return None
        if network.rings or changed.rings:
            kept = set(network.index)
        else:
            kept = _reach(network, changed, self.routed)
        if len(kept) == len(network.elements):
            return Bench(network, self.routed.inflow, self.marks, self.limits, self.pace)
        small, inflow = self._cut(kept)
        return Bench(small, inflow, self.marks, self.limits, self._no_longer)

    @property
    def _no_longer(self) -> Pace:
        """Route no further: the series already reach beyond the storm."""
        return replace(self.pace, after_h=0.0)

    def _cut(self, kept: set[str]) -> tuple[Network, StormInflow]:
        """Take elements out, with the water that reached them from the others."""
        routed = self.routed
        network, series = routed.network, routed.series
        if series is None:
            raise ValueError("changes can only be tried on a routing that kept its series")
        means = {name: series.inflow_m3_s[:, routed.at(name)].copy() for name in kept}
        for place, way in enumerate(routed.ways):
            if way.from_id in kept and way.to_id in kept and place not in routed.broken:
                means[way.to_id] -= np.maximum(series.flow_m3_s[:, place], 0.0)
        means = {name: np.maximum(mean, 0.0) for name, mean in means.items()}
        links = tuple(link for link in network.links if link.from_id in kept)
        beyond = sorted({link.to_id for link in links if link.to_id in network.index} - kept)
        small = Network(
            tuple(element for element in network.elements if element.element_id in kept),
            links,
            (*network.discharges, *(Discharge(name, "further down") for name in beyond)),
        )
        inflow = routed.inflow
        return small, StormInflow(series.edges_s, means, inflow.rain_ends_s, inflow.name)


def workshop(network: Network, inflow: StormInflow, limits: CascadeLimits, pace: Pace) -> Workshop:
    """Make ready to try changes on a coarse routing."""
    pace = replace(pace, after_step_s=max(pace.after_step_s, _AFTER_STEP_S))
    both = (limits, limits.stricter(_CLEAR_M))
    routed, marks = _marks(network, inflow.thinned(), both, pace)
    return Workshop(routed, marks, both, pace)


def fine_workshop(
    routed: Routed, findings: Iterable[Finding], limits: CascadeLimits, pace: Pace
) -> Workshop:
    """Make ready to try changes on a routing as it is; `findings` are all of them."""
    marks = frozenset((finding.element_id, finding.flag, 0) for finding in findings)
    return Workshop(routed, marks, (limits,), pace)


def _reach(before: Network, after: Network, routed: Routed) -> set[str]:
    """Elements that a change can reach: downstream, and upstream as far as water may back up."""
    reached = _changed(before, after)
    links = (*before.links, *after.links)
    highest: dict[str, float] = {}
    for network in (before, after):
        for element in network.elements:
            peak_m = float(routed.elements.peak_level_m[routed.at(element.element_id)])
            level_m = max(element.crest_level_m, peak_m) + _NEAR_M
            name = element.element_id
            highest[name] = max(level_m, highest.get(name, level_m))
    backed = [
        link
        for link in links
        if link.to_id in highest
        and highest[link.to_id] >= min(link.outlet.crest_m, link.outlet.leaves_at_m)
    ]
    size = -1
    while len(reached) > size:
        size = len(reached)
        reached |= before.below(reached) | after.below(reached)
        reached |= {link.from_id for link in backed if link.to_id in reached}
    return reached


def _changed(before: Network, after: Network) -> set[str]:
    """Elements that differ, or whose ways out do."""
    pairs = zip(before.elements, after.elements, strict=True)
    changed = {old.element_id for old, new in pairs if old is not new}
    old_links, new_links = set(map(id, before.links)), set(map(id, after.links))
    changed |= {link.from_id for link in before.links if id(link) not in new_links}
    changed |= {link.from_id for link in after.links if id(link) not in old_links}
    ends = {d.discharge_id for d in (*before.discharges, *after.discharges)}
    same = {d.discharge_id for d in before.discharges if after.discharge(d.discharge_id) is d}
    return changed | {link.from_id for link in after.links if link.to_id in ends - same}
