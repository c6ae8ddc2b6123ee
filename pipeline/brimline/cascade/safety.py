"""What people must know of water that is held: ways out in need, emptying, depth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.cascade.findings import Finding
from brimline.elements import Kind
from brimline.elements.building import filling_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brimline.cascade.limits import CascadeLimits
    from brimline.cascade.network import Network
    from brimline.elements import Element

_LOW_SHARE: Final = 0.25  # of the depth: a pipe as low as that empties a pond (common practice)


def water_on_bank_m(element: Element) -> float:
    """Depth of water against the highest part of a bank when it is full to its sill [m]."""
    dry_m = element.crest_level_m - element.spill_level_m
    return max(element.embankment_height_m - dry_m, 0.0)


def unsafe(network: Network, limits: CascadeLimits) -> Iterator[Finding]:
    """Find banked ponds and basins without a way out in need or a way to empty them, deep water.

    A basin soaks away by itself, so that it asks for no low pipe.
    """
    for element in network.elements:
        if element.kind in (Kind.TANK, Kind.DRAIN):
            continue
        if element.kind in (Kind.POND, Kind.BASIN) and element.embankment_height_m > 0:
            yield from _ways_out(network, element, limits)
        deep_m = element.spill_level_m - element.floor_m - filling_m(element)
        if deep_m > limits.fence_depth_m:
            text = (
                f"water stands up to {deep_m:.2f} m deep, {limits.fence_depth_m:g} m is the limit"
            )
            yield Finding("deep-water", element.element_id, text)


def _ways_out(network: Network, element: Element, limits: CascadeLimits) -> Iterator[Finding]:
    outlets = [link.outlet for link in network.ways_out(element.element_id)]
    if all(outlet.is_pipe for outlet in outlets):
        text = "no way over ground leads out of it: what no pipe takes runs over its bank"
        yield Finding("no-emergency-way", element.element_id, text)
    low_m = element.floor_m + _LOW_SHARE * (element.spill_level_m - element.floor_m)
    against_m = water_on_bank_m(element)
    if element.kind is Kind.BASIN:
        return
    if against_m >= limits.embankment_water_m and not any(
        outlet.is_pipe and outlet.crest_m <= low_m for outlet in outlets
    ):
        text = f"{against_m:.2f} m of water stand against its bank, and no low pipe empties it"
        yield Finding("no-drawdown", element.element_id, text)
