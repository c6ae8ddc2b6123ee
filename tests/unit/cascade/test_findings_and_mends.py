"""Breaking a sound cascade on purpose gives the right flag, and its mends take it away."""

from dataclasses import replace

import pytest
import shapely

from brimline.cascade import (
    CascadeLimits,
    Discharge,
    Network,
    StormInflow,
    assess,
    check,
    flags_of,
    mends_for,
)
from brimline.elements import Drain, Orifice, Pond, Sill, Soak, Swale, Trapezoid
from brimline.layers import FLAGS


def link(network, from_id, place=0):
    return [one for one in network.links if one.from_id == from_id][place]


def with_outlet(network, from_id, outlet):
    old = link(network, from_id)
    return network.with_link(old, replace(old, outlet=outlet))


def with_swale(network, name, **changes):
    return network.with_element(replace(network.element(name).shape, **changes).element())


def with_lowest_swale_at(network, level_m, width_m=2.0):
    """Move the lowest swale and its sill together."""
    swale = replace(network.element("swale-2").shape, line_level_m=level_m).element()
    old = link(network, "swale-2")
    sill = replace(old, outlet=Sill(level_m, width_m))
    return replace(
        network,
        elements=tuple(swale if one.element_id == "swale-2" else one for one in network.elements),
        links=tuple(sill if one is old else one for one in network.links),
    )


def sill_too_high(network):
    return with_outlet(network, "swale-1", Sill(114.92, 2.0))


def next_sill_higher(network):
    return with_lowest_swale_at(network, 114.6)


def next_sill_hardly_lower(network):
    return with_lowest_swale_at(network, 114.45)


def missing_link(network):
    kept = tuple(one for one in network.links if one.from_id != "swale-1")
    return replace(network, links=kept)


def unnamed_end(network):
    return replace(network, discharges=(Discharge("stream", "", 112.0),))


def dangling_link(network):
    old = link(network, "swale-2")
    return network.with_link(old, replace(old, to_id=""))


def ring(network):
    old = link(network, "swale-2")
    return network.with_link(old, replace(old, to_id="swale-0"))


def undersized_pipe(network):
    tank = replace(network.element("tank").shape, overflow_diameter_m=0.05, rim_m=0.15)
    changed = network.with_element(tank.element())
    return with_outlet(changed, "tank", tank.overflow())


def only_a_pipe(network):
    kept = tuple(one for one in network.links if one is not link(network, "pond"))
    return replace(network, links=kept)


def narrow_sill(network):
    return with_outlet(network, "swale-2", Sill(113.0, 0.05))


def weak_path(network):
    old = link(network, "swale-0")
    return network.with_link(old, replace(old, capacity_m3_s=0.02))


def tight_soil(network):
    return with_swale(network, "swale-2", soak=Soak(4.0, 2.0))


def drowned_sill(network):
    return with_lowest_swale_at(network, 114.38, 0.35)


def undersized_drain(network):
    drain = replace(network.element("drain").shape, section=Trapezoid(0.1, 1.0), depth_m=0.25)
    changed = network.with_element(drain.element())
    return with_outlet(changed, "drain", drain.outlet())


def steep_drain(network):
    drain = Drain("drain", 120.0, 119.0, 30.0)
    return with_outlet(network.with_element(drain.element()), "drain", drain.outlet())


def impossible_depth(network):
    pond = Pond("pond", shapely.box(0, 0, 30, 10), 118.5, 3.0, 2.0, start_level_m=118.2)
    return network.with_element(pond.element())


BROKEN = {
    sill_too_high: ("swale-1", "freeboard"),
    next_sill_higher: ("swale-1", "uphill"),
    next_sill_hardly_lower: ("swale-1", "small-drop"),
    missing_link: ("swale-1", "no-safe-outlet"),
    dangling_link: ("swale-2", "no-safe-outlet"),
    unnamed_end: ("swale-2", "no-safe-outlet"),
    ring: ("swale-2", "cycle"),
    undersized_pipe: ("tank", "small-outlet"),
    only_a_pipe: ("pond", "pipe-only"),
    narrow_sill: ("swale-2", "freeboard"),
    weak_path: ("swale-0", "small-outlet"),
    tight_soil: ("swale-2", "slow-drawdown"),
    drowned_sill: ("swale-1", "drowned"),
    steep_drain: ("drain", "fast-flow"),
    undersized_drain: ("drain", "small-outlet"),
    impossible_depth: ("pond", "shape-limit"),
}


def marks(findings):
    return {(finding.element_id, finding.flag) for finding in findings}


def test_the_hillside_is_sound(hillside, storm):
    _, findings = assess(hillside, storm)
    assert findings == ()


@pytest.mark.parametrize("broken", BROKEN, ids=lambda one: one.__name__)
def test_break_is_flagged_and_each_mend_takes_the_flag_away(broken, hillside, storm):
    element_id, flag = BROKEN[broken]
    routed, findings = assess(broken(hillside), storm)
    assert flag in flags_of(findings, element_id)
    mends = [
        mend
        for mend in mends_for(routed, findings)
        if (mend.element_id, mend.flag) == (element_id, flag)
    ]
    assert mends
    for mend in mends:
        _, after = assess(mend.network, storm)
        assert (element_id, flag) not in marks(after), mend.text
        assert marks(after) <= marks(findings), mend.text


def mend_of(hillside, storm, broken, dimension):
    routed, findings = assess(broken(hillside), storm)
    element_id, flag = BROKEN[broken]
    return next(
        mend
        for mend in mends_for(routed, findings)
        if (mend.element_id, mend.flag, mend.dimension) == (element_id, flag, dimension)
    )


def test_a_sill_set_too_high_is_lowered(hillside, storm):
    mend = mend_of(hillside, storm, sill_too_high, "sill level")
    assert mend.text.startswith("lower the sill of swale-1 by 0.1")
    assert -0.20 <= mend.to <= -0.10


def test_a_narrow_sill_is_widened_just_enough(hillside, storm):
    mend = mend_of(hillside, storm, narrow_sill, "sill width")
    narrower = with_outlet(hillside, "swale-2", Sill(113.0, mend.to - 0.1))
    _, findings = assess(narrower, storm)
    assert "freeboard" in flags_of(findings, "swale-2")


def test_a_small_drop_is_raised_to_the_stated_drop(hillside, storm):
    mend = mend_of(hillside, storm, next_sill_hardly_lower, "sill level")
    assert mend.to == pytest.approx(0.05)
    assert mend.network.drop_m(link(mend.network, "swale-1")) == pytest.approx(0.10)


def test_an_undersized_pipe_gets_the_next_size_that_does(hillside, storm):
    mend = mend_of(hillside, storm, undersized_pipe, "pipe size")
    assert "DN 125" in mend.text
    smaller = replace(link(undersized_pipe(hillside), "tank").outlet, diameter_m=0.100)
    _, findings = assess(with_outlet(undersized_pipe(hillside), "tank", smaller), storm)
    assert "overtopped" in flags_of(findings, "tank")


def test_an_undersized_drain_is_widened_to_carry_the_peak_by_manning(hillside, storm):
    mend = mend_of(hillside, storm, undersized_drain, "bottom width")
    drain = mend.network.element("drain").shape
    routed, _ = assess(mend.network, storm)
    peak = routed.links.peak_m3_s[routed.way(link(mend.network, "drain"))]
    assert drain.depth_for_m(peak) <= drain.depth_m - drain.freeboard_m + 1e-4
    narrower = replace(drain, section=replace(drain.section, bottom_m=mend.to - 0.2))
    assert narrower.capacity_m3_s() < peak


def test_a_drain_that_runs_too_fast_may_be_sown(hillside, storm):
    mend = mend_of(hillside, storm, steep_drain, "permissible speed")
    drain = mend.network.element("drain").shape
    assert drain.roughness == "C"
    assert "sow drain with a grass mixture" in mend.text


def test_a_missing_link_is_led_to_the_level_below_or_as_traced(hillside, storm):
    routed, findings = assess(missing_link(hillside), storm)
    nearest = mends_for(routed, findings)
    assert {mend.network.spills_to("swale-1") for mend in nearest} == {"swale-2"}
    traced = mends_for(routed, findings, targets={"swale-1": "stream"})
    assert {mend.network.spills_to("swale-1") for mend in traced} == {"stream"}


def test_a_ring_is_opened_where_it_climbs(hillside, storm):
    mend = mend_of(hillside, storm, ring, "overflow")
    assert mend.text == "lead the overflow of swale-2 to stream"


def test_all_below_a_ring_cannot_be_computed(hillside):
    old = link(hillside, "swale-1")
    broken = hillside.with_link(None, replace(old, to_id="swale-0", outlet=Sill(114.6, 1.0)))
    findings = check(broken)
    assert "cycle" in flags_of(findings, "swale-0")
    assert "not-computable" in flags_of(findings, "swale-2")
    assert flags_of(findings, "garden") == set()


def test_high_banks_and_large_volumes_ask_for_an_engineer(hillside):
    pond = replace(hillside.element("pond").shape, ground_levels_m=(118.4, 116.6))
    findings = check(hillside.with_element(pond.element()), CascadeLimits(engineer_volume_m3=100.0))
    texts = [one.text for one in findings if one.element_id == "pond"]
    assert flags_of(findings, "pond") == {"engineer"}
    assert len(texts) == 2


def test_a_drain_longer_than_its_routing_follows_is_flagged(hillside):
    def found(length_m):
        drain = Drain("drain", 120.0, 120.0 - 0.01 * length_m, length_m)
        elements = tuple(
            drain.element() if one.element_id == "drain" else one for one in hillside.elements
        )
        return {f.element_id for f in check(replace(hillside, elements=elements)) if
                f.flag == "coarse-drain"}  # fmt: skip

    reach_m = Drain("drain", 120.0, 118.0, 200.0).reach_m()
    assert found(30 * reach_m) == set()
    assert found(34 * reach_m) == {"drain"}


def test_water_over_the_brim_is_flagged_even_with_nowhere_to_go():
    swale = Swale("s", 10.0, 5.0, 8.0).element()
    inflow = StormInflow([0.0, 3600.0], {"s": [0.02]})
    routed, findings = assess(Network((swale,), ()), inflow)
    assert {"overtopped", "no-safe-outlet"} <= flags_of(findings, "s")
    assert routed.elements.overtopped_m3[0] > 0


def test_what_no_single_change_mends_gets_no_mend():
    swale = Swale("s", 10.0, 5.0, 8.0).element()
    routed, findings = assess(Network((swale,), ()), StormInflow([0.0, 3600.0], {"s": [0.02]}))
    assert mends_for(routed, findings) == ()


def test_mends_need_the_series(hillside, storm):
    from brimline.cascade import judge, route

    bare = route(narrow_sill(hillside), storm, keep_series=False)
    with pytest.raises(ValueError, match="kept its series"):
        mends_for(bare, judge(bare))


def test_a_pipe_that_ends_under_water_is_no_concern_unless_it_runs_back(hillside, storm):
    low = replace(link(hillside, "pond", 1).outlet, outlet_m=115.9)
    network = hillside.with_link(
        link(hillside, "pond", 1), replace(link(hillside, "pond", 1), outlet=low)
    )
    _, findings = assess(network, storm)
    assert flags_of(findings, "pond") == set()


def test_low_outlet_drains_a_slow_swale(hillside, storm):
    mend = mend_of(hillside, storm, tight_soil, "low outlet")
    added = [one for one in mend.network.links if isinstance(one.outlet, Orifice)]
    assert added[-1].outlet.crest_m == pytest.approx(112.6)
    routed, _ = assess(mend.network, storm)
    assert routed.elements.drawdown_h[routed.at("swale-2")] <= 72.0


def test_every_flag_is_in_the_catalogue(hillside, storm):
    for broken in BROKEN:
        _, findings = assess(broken(hillside), storm)
        assert {finding.flag for finding in findings} <= set(FLAGS)
