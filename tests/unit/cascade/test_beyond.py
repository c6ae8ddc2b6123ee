"""Beyond the design storm: what fails first, blocked pipes, failed banks, and what clears each."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.cascade import Discharge, Link, Network, Pace, StormInflow, route
from brimline.cascade.beyond import (
    _below,
    beyond_findings,
    blocked_pipes,
    breach_peak_m3_s,
    failed_banks,
    feeds_left_on,
    frozen,
    headline,
    storm_case,
)
from brimline.elements import Pipe, Sill, Soak
from brimline.units import ACRE_M2, FOOT_M

PACE = Pace(after_h=6.0)
EDGES = 60.0 * np.arange(361)


@pytest.fixture
def make(box):
    def made(*, sill_m=3.0, below_crest_m=6.5, bank_m=1.0, pipe=False):
        """An upper box with a bank that spills to a lower one, which spills to the creek."""
        upper = box(
            "upper", floor=10.0, spill=11.0, crest=11.5, area=500.0,
            embankment_height_m=bank_m, held_above_ground_m3=500.0 * bank_m,
        )  # fmt: skip
        lower = box("lower", floor=5.0, spill=6.0, crest=below_crest_m)
        links = [Link("lower", "creek", Sill(6.0, 3.0))]
        if sill_m:
            links.append(Link("upper", "lower", Sill(11.0, sill_m)))
        if pipe:
            links.append(Link("upper", "lower", Pipe(10.8, 9.0, 0.4, 10.0)))
        return Network((upper, lower), tuple(links), (Discharge("creek", "Creek", 4.0),))

    return made


@pytest.fixture
def storm(bell):
    return StormInflow(EDGES, {"upper": bell(0.25, 7200.0, 2500.0, EDGES)}, 14400.0, "10-year")


def test_a_breach_lets_go_what_froehlich_has_for_jamestown_dam():
    # Wahl (2001), uncertainty of breach predictions, table of Froehlich's (1995) relation for
    # Jamestown Dam, invert 1390 ft: 93 800 ft³/s at 37 000 acre-feet and 1432.67 ft
    flow = breach_peak_m3_s(37_000 * ACRE_M2 * FOOT_M, (1432.67 - 1390) * FOOT_M)
    assert flow / FOOT_M**3 == pytest.approx(93_800, rel=0.005)
    with pytest.raises(ValueError, match="volume and a depth above 0"):
        breach_peak_m3_s(0.0, 1.0)


def test_the_first_to_go_is_told_with_what_follows(make, storm):
    network = make()
    cases = [
        storm_case(route(network, replace(storm.scaled(factor), name=f"{factor:g} times"), PACE))
        for factor in (1.0, 4.0, 16.0)
    ]
    assert [one.failure for one in cases] == ["none", "freeboard", "overtopped"]
    last = cases[-1]
    assert {last.first_id, *last.follows} == {"upper", "lower"}
    routed = route(network, storm.scaled(16.0), PACE)
    at = routed.at(last.first_id)
    element = network.elements[at]
    assert last.over_m == pytest.approx(routed.elements.peak_level_m[at] - element.crest_level_m)
    # it is over from the first edge at which its level stands over the crest
    over = routed.series.level_m[:, at] > element.crest_level_m
    assert last.first_h == pytest.approx(routed.series.edges_s[np.argmax(over)] / 3600)
    assert "overtopped first, in the 16 times storm" in headline(cases)
    assert {one.flag for one in beyond_findings(cases)} == {"fails-beyond"}
    assert "nothing is overtopped up to the 4 times storm" in headline(cases[:2])


def test_a_blocked_pipe_overtops_what_has_no_way_over_ground_and_a_sill_clears_it(make, storm):
    base = route(make(sill_m=0.0, pipe=True), storm, PACE)
    assert not storm_case(base).fails
    (case,) = blocked_pipes(base, PACE)
    assert (case.element_id, case.first_id, case.failure) == ("upper", "upper", "overtopped")
    assert "no other way out is drawn" in case.text
    assert [one.flag for one in beyond_findings([case])] == ["blocked-pipe"]
    (mended,) = blocked_pipes(route(make(sill_m=6.0, pipe=True), storm, PACE), PACE)
    assert mended.failure == "none"
    assert list(beyond_findings([mended])) == []


def test_a_feed_left_on_overtops_what_cannot_pass_it_on(make, storm):
    base = route(make(), storm, PACE)
    (case,) = feeds_left_on(base, {"lower": 6.0}, PACE)
    assert (case.element_id, case.first_id, case.failure) == ("lower", "lower", "overtopped")
    assert [one.flag for one in beyond_findings([case])] == ["feed-left-on"]
    (small,) = feeds_left_on(base, {"lower": 1e-5}, PACE)
    assert small.failure == "none"
    assert list(feeds_left_on(base, {}, PACE)) == []


def test_a_failed_bank_takes_the_next_along_unless_it_stands_high_enough(make, storm):
    (case,) = failed_banks(route(make(), storm, PACE), PACE)
    # 500 m³ and 1 m: 0.607 × 500^0.295 = 3.8 m³/s, into a box of 100 m²
    assert (case.element_id, case.first_id, case.failure) == ("upper", "lower", "overtopped")
    assert "about 3.8 m³/s" in case.text
    assert [one.flag for one in beyond_findings([case])] == ["takes-next"]
    (high,) = failed_banks(route(make(below_crest_m=7.5), storm, PACE), PACE)
    assert not high.fails
    assert list(failed_banks(route(make(bank_m=0.0), storm, PACE), PACE)) == []


def test_what_a_failed_bank_lets_go_arrives_to_the_last_litre(make, storm):
    from brimline.cascade.beyond import _below, _with_release

    base = route(make(), storm, PACE)
    part, inflow = _below(base, "lower")
    released = _with_release(inflow, "lower", 3.8, 500.0, 9000.0)
    assert [one.element_id for one in part.elements] == ["lower"]
    assert released.volume_m3 == pytest.approx(inflow.volume_m3 + 500.0, rel=1e-6)


def test_frozen_ground_soaks_nothing_and_its_overtopping_is_told_apart(make, storm):
    soaking = make()
    soaking = replace(
        soaking, elements=tuple(replace(one, soak=Soak(20.0, 1.0)) for one in soaking.elements)
    )
    icy = frozen(soaking)
    base, cold = route(soaking, storm, PACE), route(icy, storm, PACE)
    assert base.elements.soaked_m3.sum() > 0
    assert cold.elements.soaked_m3.sum() == 0
    much = replace(storm.scaled(16.0), name="10-year")
    case = storm_case(route(icy, much, PACE), case="frozen ground", beside=base)
    assert case.fails
    assert {one.flag for one in beyond_findings([case])} == {"fails-frozen"}
    assert "on frozen ground" in headline([case])
    # what the storm itself overtops is not told again
    again = storm_case(route(icy, much, PACE), case="frozen ground", beside=route(icy, much, PACE))
    assert not again.fails


def test_the_part_below_a_bank_gets_what_the_storm_sends_it_anyway(make, storm):
    base = route(make(), storm, PACE)
    part, inflow = _below(base, "lower")
    assert [one.element_id for one in part.elements] == ["lower"]
    way = next(k for k, one in enumerate(base.ways) if one.from_id == "upper")
    assert base.links.forward_m3[way] > 1000
    assert inflow.volume_m3 == pytest.approx(float(base.links.forward_m3[way]), rel=0.01)
