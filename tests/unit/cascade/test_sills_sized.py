"""Sills that were left to be designed."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.cascade import (
    Link,
    Network,
    Pace,
    StormInflow,
    assess,
    flags_of,
    judge,
    size_sills,
)
from brimline.elements import Pipe, Sill, width_for_m


def narrowed(network):
    """All sills 1 cm wide, as a placeholder for sills to be designed."""
    links = tuple(
        replace(link, outlet=replace(link.outlet, width_m=0.01))
        if isinstance(link.outlet, Sill)
        else link
        for link in network.links
    )
    return replace(network, links=links)


def test_sized_sills_keep_the_freeboard_everywhere(hillside, storm):
    start = narrowed(hillside)
    _, before = assess(start, storm)
    assert {"freeboard", "overtopped"} & {finding.flag for finding in before}
    sized, routed = size_sills(start, storm, start.links)
    assert judge(routed) == ()
    assert routed.network is sized


def test_each_width_is_that_of_its_inflow_peak(hillside, storm):
    start = narrowed(hillside)
    sized, routed = size_sills(start, storm, start.links, head_m=0.1, least_m=0.2)
    for link in sized.links:
        if isinstance(link.outlet, Sill):
            peak = routed.elements.inflow_peak_m3_s[routed.at(link.from_id)]
            needed = max(width_for_m(float(peak), 0.1), 0.2)
            assert needed - 1e-9 <= link.outlet.width_m < needed + 0.1
        else:
            assert isinstance(link.outlet, Pipe) or link.from_id in ("drain", "tank")


def test_sill_without_room_is_left_and_flagged(hillside, storm):
    old = next(link for link in hillside.links if link.from_id == "swale-1")
    high = replace(old, outlet=Sill(115.0, 1.0))
    network = hillside.with_link(old, high)
    sized, routed = size_sills(network, storm, [high])
    assert sized.links == network.links
    assert flags_of(judge(routed), "swale-1") & {"freeboard", "overtopped"}


def test_links_of_another_network_are_refused(hillside, storm):
    with pytest.raises(ValueError, match="not the network's own"):
        size_sills(hillside, storm, narrowed(hillside).links)


def test_a_head_of_nothing_is_refused(hillside, storm):
    with pytest.raises(ValueError, match="head above 0"):
        size_sills(hillside, storm, (), head_m=0.0)


def test_where_every_sill_changes_all_are_sized(box, bell):
    """In a network of sills alone none keeps its width in the first pass."""
    edges = 60.0 * np.arange(361)
    upper, lower = box("upper", floor=5.0, spill=6.0, crest=6.5), box("lower")
    links = (Link("upper", "lower", Sill(6.0, 0.01)), Link("lower", "", Sill(1.0, 0.01)))
    inflow = StormInflow(edges, {"upper": bell(0.3, 7200.0, 1800.0, edges)}, 14400.0)
    network = Network((upper, lower), links)
    sized, routed = size_sills(network, inflow, links, head_m=0.2, pace=Pace(after_h=4.0))
    for link in sized.links:
        peak = float(routed.elements.inflow_peak_m3_s[routed.at(link.from_id)])
        needed = max(width_for_m(peak, 0.2), 0.5)
        assert needed - 1e-9 <= link.outlet.width_m < needed + 0.1
    assert sized.links[0].outlet.width_m > 1.0
