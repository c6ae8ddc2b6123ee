"""What is wrong with a cascade once a storm has run through it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from brimline.cascade.findings import Finding, check
from brimline.cascade.limits import CascadeLimits
from brimline.cascade.routing import route
from brimline.elements import Drain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brimline.cascade.inflow import StormInflow
    from brimline.cascade.network import Network
    from brimline.cascade.routing import Pace, Routed
    from brimline.elements import Element


def judge(routed: Routed, limits: CascadeLimits | None = None) -> tuple[Finding, ...]:
    """Find what a storm shows to be wrong.

    Checked: water over the brim or within the freeboard, pipes and channels too small for the
    peak, sills drowned from below, water standing too long, drains running too fast.
    """
    limits = limits or CascadeLimits()
    found: list[Finding] = []
    for element in routed.network.elements:
        found += _levels(routed, element, limits)
        found += _drawdown(routed, element, limits)
    for place in range(len(routed.network.links)):
        found += _path(routed, place)
        found += _drowned(routed, place, limits)
        found += _drain(routed, place)
    return tuple(found)


def _drain(routed: Routed, place: int) -> Iterator[Finding]:
    link = routed.ways[place]
    drain = routed.network.element(link.from_id).shape
    if not isinstance(drain, Drain) or link.outlet.is_pipe:
        return
    peak = float(routed.links.peak_m3_s[place])
    capacity = drain.capacity_m3_s()
    if peak > capacity * (1 + 1e-3):  # the rating is read between points
        text = (
            f"{peak:.3f} m³/s arrive where it carries {capacity:.3f} m³/s within its freeboard, at "
            f"a fall of {100 * drain.fall:.2f} %"
        )
        yield Finding("small-outlet", link.from_id, text, link)
    caution = drain.speed_caution(peak)
    if caution:
        yield Finding(caution.flag, link.from_id, caution.text, link)


def _levels(routed: Routed, element: Element, limits: CascadeLimits) -> Iterator[Finding]:
    at = routed.at(element.element_id)
    peak = float(routed.elements.peak_level_m[at])
    over = peak - element.crest_level_m
    short = peak - element.highest_safe_m
    name = element.element_id
    if over > limits.level_slack_m:
        text = (
            f"water peaks at {peak:.2f} m, {1000 * over:.0f} mm over the crest; "
            f"{routed.elements.overtopped_m3[at]:.1f} m³ run over the brim"
        )
        yield Finding("overtopped", name, text)
    elif limits.keeps_freeboard and short > limits.level_slack_m:
        text = (
            f"water peaks at {peak:.2f} m, {max(-over, 0.0):.2f} m under the crest where the"
            f" freeboard is {element.freeboard_m:.2f} m"
        )
        yield Finding("freeboard", name, text)
    else:
        return
    ways = routed.network.ways_out(name)
    if ways and ways[0].outlet.is_pipe and all(link.outlet.is_pipe for link in ways):
        peak_in = routed.elements.inflow_peak_m3_s[at]
        peak_out = routed.links.peak_m3_s[routed.way(ways[0])]
        text = f"the pipe passes {peak_out:.3f} m³/s while {peak_in:.3f} m³/s arrive"
        yield Finding("small-outlet", name, text, ways[0])


def _path(routed: Routed, place: int) -> Iterator[Finding]:
    link = routed.ways[place]
    peak = float(routed.links.peak_m3_s[place])
    if peak > link.capacity_m3_s * (1 + 1e-9):
        text = (
            f"{peak:.3f} m³/s run to {link.to_id or 'nowhere'} where the way carries "
            f"{link.capacity_m3_s:.3f} m³/s"
        )
        yield Finding("small-outlet", link.from_id, text, link)


def _drowned(routed: Routed, place: int, limits: CascadeLimits) -> Iterator[Finding]:
    link = routed.ways[place]
    tail = float(routed.links.tail_m[place])
    back = float(routed.links.back_m3[place])
    allowed = limits.drowned_m
    drain = routed.network.element(link.from_id).shape
    if isinstance(drain, Drain):  # water beyond as deep as its own does not hold it back
        allowed += drain.depth_for_m(float(routed.links.peak_m3_s[place]))
    # a pipe may end under water; only what runs back through it is of concern
    if back <= 1e-6 and (link.outlet.is_pipe or tail <= allowed):
        return
    text = f"water in {link.to_id} stands up to {tail:.2f} m over the outlet"
    if back > 1e-6:
        text += f", and {back:.1f} m³ run back"
    yield Finding("drowned", link.from_id, text, link)


def _drawdown(routed: Routed, element: Element, limits: CascadeLimits) -> Iterator[Finding]:
    hours = float(routed.elements.drawdown_h[routed.at(element.element_id)])
    if not element.empties or math.isnan(hours) or hours <= limits.drawdown_h:
        return
    if math.isinf(hours):
        text = "still holds water when the routing ends"
    else:
        text = f"holds water for {hours:.0f} h after the rain"
    yield Finding(
        "slow-drawdown", element.element_id, f"{text}; the limit is {limits.drawdown_h:.0f} h"
    )


def assess(
    network: Network,
    inflow: StormInflow,
    limits: CascadeLimits | None = None,
    pace: Pace | None = None,
) -> tuple[Routed, tuple[Finding, ...]]:
    """Check a cascade, route a storm through it, and judge what comes of it."""
    limits = limits or CascadeLimits()
    routed = route(network, inflow, pace, residual_m=limits.residual_m)
    return routed, (*check(network, limits), *judge(routed, limits))
