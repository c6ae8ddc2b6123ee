"""What must hold for every cascade and every storm, each in one sentence."""

from dataclasses import replace

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.cascade import Discharge, Link, Network, Pace, StormInflow, flags_of, judge, route
from brimline.elements import (
    Element,
    Kind,
    Orifice,
    Pipe,
    Pond,
    Rating,
    Sill,
    Soak,
    Swale,
    flow_m3_s,
    sampled,
)

EDGES_S = 120.0 * np.arange(91)
PACE = Pace(after_h=6.0)
FINE = Pace(1e-5, 10, after_h=6.0)


def numbers(low, high):
    """Numbers in steps of a thousandth, so that no case hinges on rounding."""
    return st.integers(round(1000 * low), round(1000 * high)).map(lambda n: n / 1000)


@st.composite
def soaks(draw):
    if draw(st.booleans()):
        return Soak(draw(numbers(0, 200)), 2.0)
    return Soak(draw(numbers(1, 50)), 1.0, draw(numbers(10, 300)), draw(numbers(0.05, 0.4)))


@st.composite
def elements(draw, name, base):
    """An element with sides that slope, its floor at `base`."""
    bottom, flare = draw(numbers(2, 200)), draw(numbers(0, 60))
    depth = draw(numbers(0.2, 1.5))
    rim = draw(numbers(0.05, 0.5))
    stages = sampled(
        base,
        base + depth + rim + 0.3,
        lambda level: bottom * (level - base) + flare * (level - base) ** 2,
        lambda level: bottom + 2 * flare * (level - base),
        also_at_m=(base + depth,),
    )
    return Element(
        name,
        Kind.BASIN,
        stages,
        base + depth,
        base + depth + rim,
        draw(numbers(1, 60)),
        soak=draw(soaks()),
        start_level_m=base + depth * draw(numbers(0, 1)),
    )


@st.composite
def outlets(draw, element):
    level = element.spill_level_m
    kind = draw(st.sampled_from(["sill", "sharp", "notch", "pipe", "orifice", "rating"]))
    if kind in ("sill", "sharp"):
        form = "broad" if kind == "sill" else "sharp"
        return Sill(level, draw(numbers(0.1, 8)), form)
    if kind == "notch":
        return Sill(level, 0.0, "notch", side=draw(numbers(0.3, 2)))
    low = element.floor_m + draw(numbers(0, 1)) * (level - element.floor_m)
    if kind == "pipe":
        return Pipe(low, low - 0.1, draw(numbers(0.05, 0.5)), 12.0)
    if kind == "orifice":
        return Orifice(low, draw(numbers(0.03, 0.3)))
    return Rating(level, np.array([0.0, 0.2, 1.0]), np.array([0.0, 0.05, 0.4]))


@st.composite
def cascades(draw, *, apart=False, most=5):
    """Elements that spill to later ones or to the end; with `apart`, none can drown another."""
    count = draw(st.integers(1, most))
    made, links = [], []
    for place in range(count):
        fall = 4.0 if apart else draw(numbers(0.0, 1.2))
        base = 0.0 if place == 0 else made[-1].floor_m - fall
        made.append(draw(elements(f"e{place}", base)))
    for place, element in enumerate(made):
        for _ in range(draw(st.integers(0 if not apart else 1, 2))):
            to = draw(st.integers(place + 1, count))
            target = f"e{to}" if to < count else "end"
            links.append(Link(element.element_id, target, draw(outlets(element))))
    return Network(tuple(made), tuple(links), (Discharge("end", "End", -100.0),))


@st.composite
def storms(draw, network):
    means = {}
    for element in network.elements:
        start, length = draw(st.integers(0, 40)), draw(st.integers(1, 50))
        mean = np.zeros(EDGES_S.size - 1)
        mean[start : start + length] = draw(numbers(0, 0.3))
        means[element.element_id] = mean
    return StormInflow(EDGES_S, means)


@st.composite
def cases(draw, *, apart=False):
    network = draw(cascades(apart=apart))
    return network, draw(storms(network))


@settings(deadline=None, max_examples=40)
@given(cases())
def test_water_is_neither_made_nor_lost(case):
    """For each element and the whole, what comes in is what goes out and what is held."""
    network, storm = case
    routed = route(network, storm, PACE)
    sums = routed.elements
    through = sums.start_m3 + sums.outside_m3 + sums.received_m3
    assert (np.abs(sums.residual_m3) <= 1e-9 * np.maximum(through, 1.0)).all()
    assert abs(routed.residual_m3) <= 1e-9 * max(float(through.sum()), 1.0)


@settings(deadline=None, max_examples=40)
@given(cases())
def test_nothing_stands_above_its_brim_unflagged(case):
    """An element holds more than its brim does only where it is flagged as overtopped."""
    network, storm = case
    routed = route(network, storm, PACE)
    findings = judge(routed)
    for at, element in enumerate(network.elements):
        above = routed.elements.peak_storage_m3[at] > element.brim_storage_m3 * (1 + 1e-6)
        assert not above or "overtopped" in flags_of(findings, element.element_id)
        assert (routed.elements.overtopped_m3[at] > 1e-9) <= (
            routed.elements.peak_level_m[at] > element.crest_level_m
        )


@settings(deadline=None, max_examples=40)
@given(cases())
def test_no_volume_is_negative(case):
    """Volumes held, soaked, spilled and run back are 0 or more at all times."""
    network, storm = case
    routed = route(network, storm, PACE)
    sums, series = routed.elements, routed.series
    for array in (series.storage_m3, series.soaked_m3, sums.end_m3, sums.soaked_m3):
        assert (array >= 0).all()
    assert (routed.links.forward_m3 >= 0).all()
    assert (routed.links.back_m3 >= 0).all()
    assert (np.diff(series.soaked_m3, axis=0) >= 0).all()
    assert (series.level_m >= [element.floor_m for element in network.elements]).all()


@settings(deadline=None, max_examples=25)
@given(cases(), numbers(1.05, 3.0))
def test_more_rain_never_lowers_a_peak_level(case, factor):
    """With more inflow everywhere, no element's highest level is lower."""
    network, storm = case
    less, more = route(network, storm, FINE), route(network, storm.scaled(factor), FINE)
    assert (more.elements.peak_level_m >= less.elements.peak_level_m - 1e-3).all()


@settings(deadline=None, max_examples=25)
@given(cases(apart=True), numbers(1.05, 3.0))
def test_more_rain_never_lessens_what_is_spilled(case, factor):
    """Where no level drowns another, more inflow sends no less out of any element."""
    network, storm = case
    less, more = route(network, storm, FINE), route(network, storm.scaled(factor), FINE)
    out_less = less.elements.spilled_m3 + less.elements.overtopped_m3
    out_more = more.elements.spilled_m3 + more.elements.overtopped_m3
    assert (out_more >= out_less - 1e-3 * (1 + out_less)).all()
    assert less.links.back_m3.max(initial=0.0) == 0.0


@settings(deadline=None, max_examples=20)
@given(cases())
def test_finer_steps_change_little(case):
    """Peak levels at the usual pace lie within a centimetre of those at a fine one.

    The cases are harsh: up to 300 L/s into a pool of 2 m².
    """
    network, storm = case
    usual, fine = route(network, storm, PACE), route(network, storm, FINE)
    assert np.abs(usual.elements.peak_level_m - fine.elements.peak_level_m).max() < 0.01


@settings(deadline=None, max_examples=40)
@given(
    numbers(0.1, 5),
    numbers(0, 3),
    st.lists(numbers(-0.5, 1.5), min_size=2, max_size=2),
)
def test_a_sill_is_the_same_from_both_sides(width, side, levels):
    """What runs one way over a sill runs the other way when the levels change places."""
    sill = Sill(0.0, width, side=side)
    there, back = flow_m3_s(sill, *levels), flow_m3_s(sill, *levels[::-1])
    assert there == -back


@settings(deadline=None, max_examples=40)
@given(
    st.sampled_from(["trapezoid", "parabola", "vee"]),
    numbers(0.15, 0.8),
    numbers(0, 2),
    numbers(1, 3),
    numbers(1, 2.4),
    numbers(0, 25),
)
def test_a_swale_moves_as_much_earth_as_it_digs(form, depth, bottom, side, upper, slope):
    """The mound's area is the cut's, and deeper digging stores more and raises the crest."""
    swale = Swale(
        "s",
        10.0,
        30.0,
        slope,
        depth_m=depth,
        form=form,
        bottom_m=bottom,
        side=side,
        upper_side=upper,
        top_m=4 * depth + 1,
    )
    fill = swale.mound.area_m2(swale.mound_height_m, max(slope / 100, 0.002))
    assert abs(fill - swale.cut_m2) < 1e-9 or swale.mound_height_m == 0
    assert swale.cut_m2 * 30.0 >= swale.element().storage_m3 - 1e-9
    if form != "parabola":
        deeper = replace(swale, depth_m=depth + 0.1)
        assert deeper.element().storage_m3 > swale.element().storage_m3
        assert deeper.crest_level_m >= swale.crest_level_m


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(numbers(0, 40), numbers(0, 40)), min_size=4, max_size=9),
    numbers(0.3, 3),
    numbers(0, 4),
)
def test_a_pond_holds_less_than_its_outline_times_its_depth(corners, depth, side):
    """Sides that run inwards never hold more than vertical ones, and storage rises with level."""
    outline = shapely.MultiPoint(corners).convex_hull
    if outline.geom_type != "Polygon" or outline.area < 5.0:
        return
    pond = Pond("p", outline, 0.0, depth, side)
    assert 0 < pond.volume_m3 <= outline.area * pond.dug_depth_m * (1 + 1e-9)
    assert (np.diff(pond.stages.area_m2) >= -1e-9).all()
