"""What is wrong with a cascade, in flags and in words with numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.cascade.limits import CascadeLimits
from brimline.cascade.network import NOWHERE, Link, Network
from brimline.cascade.reaches import MOST_POOLS, pools_wanted
from brimline.elements import Drain, Kind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brimline.elements import Element


@dataclass(frozen=True, slots=True, eq=False)
class Finding:
    """One thing that a person must look at.

    Parameters
    ----------
    flag : code of the flag catalogue.
    element_id : element that it is about.
    text : what was found, with values and units.
    link : the way out that it is about, where it is about one.
    """

    flag: str
    element_id: str
    text: str
    link: Link | None = None


def check(network: Network, limits: CascadeLimits | None = None) -> tuple[Finding, ...]:
    """Find what is wrong with a cascade before any water runs.

    Checked: rings, missing and unnamed ends, drops between spill levels, elements that only a
    pipe empties, embankments and volumes that ask for an engineer, and what each element's own
    shape gives to look at.
    """
    limits = limits or CascadeLimits()
    found = [*_rings(network), *_ends(network), *_drops(network, limits)]
    for element in network.elements:
        found += _own(element, limits)
        found += _long_drain(element)
    return tuple(found)


def flags_of(findings: Iterable[Finding], element_id: str) -> set[str]:
    """Return the flags of one element."""
    return {finding.flag for finding in findings if finding.element_id == element_id}


def _rings(network: Network) -> Iterator[Finding]:
    for ring in network.rings:
        round_text = " → ".join((*ring, ring[0])) if len(ring) > 1 else f"{ring[0]} → itself"
        for element_id in ring:
            yield Finding("cycle", element_id, f"water runs in a ring: {round_text}")
        for element_id in network.below(set(ring)) - set(ring):
            text = f"receives water from a ring above ({round_text}), which is not worked out"
            yield Finding("not-computable", element_id, text)


def _ends(network: Network) -> Iterator[Finding]:
    for element in network.elements:
        ways = network.ways_out(element.element_id)
        if not ways:
            text = "has no way out: what it cannot hold runs over its brim"
            yield Finding("no-safe-outlet", element.element_id, text)
        elif all(link.outlet.is_pipe for link in ways) and element.kind is not Kind.TANK:
            text = "only a pipe leads out; blocked, it leaves water no surface path"
            yield Finding("pipe-only", element.element_id, text)
        for link in ways:
            text = _unsafe_end(network, link)
            if text:
                yield Finding("no-safe-outlet", element.element_id, text, link)


def _unsafe_end(network: Network, link: Link) -> str:
    if link.to_id == NOWHERE:
        return f"the outlet at {link.outlet.crest_m:.2f} m leads nowhere that is drawn"
    discharge = network.discharge(link.to_id)
    if discharge is not None and not discharge.name.strip():
        return f"it ends at discharge point {discharge.discharge_id}, which has no name"
    return ""


def _drops(network: Network, limits: CascadeLimits) -> Iterator[Finding]:
    ringed = {name for ring in network.rings for name in ring}
    for link in network.links:
        drop = network.drop_m(link)
        if drop is None or (link.from_id in ringed and link.to_id in ringed):
            continue
        drain = link.to_id in network.index and network.element(link.to_id).kind is Kind.DRAIN
        where = f"the bed of {link.to_id}" if drain else f"the level that {link.to_id} spills at"
        stands = f"{abs(drop):.2f} m {'over' if drop >= 0 else 'under'}"
        text = f"the outlet at {link.outlet.leaves_at_m:.2f} m stands {stands} {where}"
        if drain and drop >= 0:
            continue  # a drain may go on in another at the same bed
        if drop <= 0:
            yield Finding("uphill", link.from_id, f"{text}; water cannot run there", link)
        elif drop < limits.min_drop_m - 1e-9:
            more = f"{text}, less than {limits.min_drop_m:.2f} m"
            yield Finding("small-drop", link.from_id, more, link)


def _long_drain(element: Element) -> Iterator[Finding]:
    drain = element.shape
    wanted = pools_wanted(drain) if isinstance(drain, Drain) else 1
    if wanted > MOST_POOLS:
        text = (
            f"is routed as {MOST_POOLS} pools where its length asks for {wanted}: peaks below it "
            "may come out too low"
        )
        yield Finding("coarse-drain", element.element_id, text)


def _own(element: Element, limits: CascadeLimits) -> Iterator[Finding]:
    name = element.element_id
    for caution in element.cautions:
        yield Finding(caution.flag, name, caution.text)
    if element.embankment_height_m > limits.engineer_height_m:
        text = (
            f"fill stands {element.embankment_height_m:.2f} m over the ground, above "
            f"{limits.engineer_height_m:.2f} m"
        )
        yield Finding("engineer", name, text)
    if element.held_above_ground_m3 > limits.engineer_volume_m3:
        text = (
            f"fill holds back {element.held_above_ground_m3:.0f} m³, above "
            f"{limits.engineer_volume_m3:.0f} m³"
        )
        yield Finding("engineer", name, text)
