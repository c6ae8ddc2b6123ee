"""What could mend each flag, the change that a crew would like best first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.cascade import changes
from brimline.cascade.network import NOWHERE
from brimline.elements import Drain

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.cascade.changes import Option
    from brimline.cascade.findings import Finding
    from brimline.cascade.limits import CascadeLimits
    from brimline.cascade.network import Link, Network
    from brimline.cascade.routing import Routed


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A finding with what is needed to mend it.

    Parameters
    ----------
    targets : element to where water that leaves it would run on the ground, where it is known.
    """

    routed: Routed
    finding: Finding
    limits: CascadeLimits
    targets: Mapping[str, str]

    @property
    def network(self) -> Network:
        """The cascade."""
        return self.routed.network

    @property
    def name(self) -> str:
        """The element that is flagged."""
        return self.finding.element_id


def options_for(case: Case) -> list[Option]:
    """List what could mend a finding; nothing where no single change does."""
    makers = {
        "cycle": _for_cycle,
        "no-safe-outlet": _for_no_outlet,
        "pipe-only": _for_pipe_only,
        "uphill": _for_drop,
        "small-drop": _for_drop,
        "drowned": _for_drop,
        "overtopped": _for_level,
        "freeboard": _for_level,
        "small-outlet": _for_outlet,
        "slow-drawdown": _for_drawdown,
        "fast-flow": _for_speed,
        "shape-limit": _for_shape,
    }
    maker = makers.get(case.finding.flag)
    return maker(case) if maker else []


def _for_cycle(case: Case) -> list[Option]:
    """Lead the ring's link that falls least somewhere else."""
    network = case.network
    ring = next(ring for ring in network.rings if case.name in ring)
    inside = [link for link in network.links if link.from_id in ring and link.to_id in ring]
    worst = min(inside, key=lambda link: network.drop_m(link) or 0.0)
    target = _target(case, worst.from_id, banned=set(ring))
    return [changes.redirect(worst, target)] if target else []


def _for_no_outlet(case: Case) -> list[Option]:
    link = case.finding.link
    if link is not None and link.to_id != NOWHERE:
        return [changes.name_discharge(case.network, link.to_id)]
    target = _target(case, case.name, banned={case.name})
    if not target:
        return []
    return [changes.redirect(link, target)] if link else _new_sill(case, target)


def _new_sill(case: Case, target: str) -> list[Option]:
    return changes.new_sill(case.routed, case.name, target)


def _for_pipe_only(case: Case) -> list[Option]:
    target = case.network.spills_to(case.name)
    if target == NOWHERE:
        target = _target(case, case.name, banned={case.name})
    return _new_sill(case, target) if target else []


def _for_drop(case: Case) -> list[Option]:
    """Raise the sill, with the crest if need be, or let the next level stand lower."""
    link = case.finding.link
    if link is None:
        return []
    needed_m = case.limits.min_drop_m - (case.network.drop_m(link) or 0.0)
    if case.finding.flag == "drowned":
        tail_m = float(case.routed.links.tail_m[case.routed.way(link)])
        needed_m = tail_m - case.limits.drowned_m
    found = [
        option
        for crest in (False, True)
        for option in changes.raise_outlet(case.network, link, case.limits, needed_m, crest=crest)
    ]
    inside = link.to_id in case.network.index
    below = case.network.main_way_out(link.to_id) if inside else None
    if below is not None and not below.outlet.is_pipe:
        if case.finding.flag == "drowned":
            found += changes.widen(below, case.limits)
        found += changes.lower_outlet(case.network, below, needed_m)
    return found


def _for_level(case: Case) -> list[Option]:
    """Let more out, raise the crest, start lower, or hold more."""
    way = case.network.main_way_out(case.name)
    if way is None:
        return _for_no_outlet(case)
    if isinstance(case.network.element(case.name).shape, Drain):
        return _for_drain(case, way)
    found = changes.widen(way, case.limits) + changes.larger_pipe(way)
    found.append(changes.raise_crest(case.routed, case.name, case.limits))
    if not way.outlet.is_pipe:
        found += changes.lower_outlet(case.network, way)
    return found + changes.deepen(case.network, case.name)


def _for_outlet(case: Case) -> list[Option]:
    link = case.finding.link
    if link is None:
        return []
    if isinstance(case.network.element(case.name).shape, Drain):
        return _for_drain(case, link)
    peak = float(case.routed.links.peak_m3_s[case.routed.way(link)])
    if peak > link.capacity_m3_s:
        return [changes.stronger_path(link, peak)]
    raise_crest = changes.raise_crest(case.routed, case.name, case.limits)
    return [*changes.larger_pipe(link), raise_crest]


def _for_drawdown(case: Case) -> list[Option]:
    """Hold less, or let the rest out slowly."""
    way = case.network.main_way_out(case.name)
    found = []
    if way is not None and not way.outlet.is_pipe:
        found += changes.lower_outlet(case.network, way)
    target = case.network.spills_to(case.name)
    if target != NOWHERE:
        found.append(changes.low_outlet(case.network, case.name, target))
    return found


def _for_speed(case: Case) -> list[Option]:
    link = case.finding.link
    if link is None:
        return []
    return [
        *changes.widen_bottom(case.network, link, case.limits),
        *changes.sow_grass(case.network, link),
    ]


def _for_drain(case: Case, link: Link) -> list[Option]:
    """Carry more in a drain: wider, deeper, or between higher banks."""
    return [
        *changes.widen_bottom(case.network, link, case.limits),
        *changes.deepen_drain(case.network, link),
        changes.raise_crest(case.routed, case.name, case.limits),
    ]


def _for_shape(case: Case) -> list[Option]:
    return [
        *changes.shallower(case.network, case.name),
        *changes.steeper_sides(case.network, case.name),
    ]


def _target(case: Case, element_id: str, banned: set[str]) -> str:
    """Find where water from an element should go: as traced, or the nearest level below it."""
    network = case.network
    traced = case.targets.get(element_id, NOWHERE)
    if traced and traced not in banned:
        return traced
    highest = network.spill_level_m(element_id) - case.limits.min_drop_m
    upstream = {name for name in network.index if element_id in network.below({name})}
    reachable = [
        (network.spill_level_m(name), name)
        for name in network.index
        if name not in banned | upstream and network.spill_level_m(name) <= highest
    ]
    if reachable:
        return max(reachable)[1]
    ends = [
        discharge.discharge_id
        for discharge in network.discharges
        if discharge.name.strip() and (discharge.level_m is None or discharge.level_m <= highest)
    ]
    return ends[0] if ends else NOWHERE
