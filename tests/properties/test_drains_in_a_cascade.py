"""Drains that run on into each other and into pools keep every litre."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from brimline.cascade import Discharge, Link, Network, Pace, StormInflow, route
from brimline.elements import Drain, Element, Kind, Sill, Trapezoid, vertical

numbers = st.floats


@st.composite
def chains(draw):
    """A row of drains and pools, each below the one before."""
    elements, links, level = [], [], 100.0
    count = draw(st.integers(2, 5))
    for at in range(count):
        after = f"e{at + 1}" if at + 1 < count else "end"
        if draw(st.booleans()):
            length = draw(numbers(20.0, 500.0))
            foot = level - length * draw(numbers(0.002, 0.03))
            section = Trapezoid(draw(numbers(0.2, 1.0)), draw(numbers(0.5, 3.0)))
            rough = draw(st.sampled_from([0.02, 0.035, "B", "D"]))
            drain = Drain(f"e{at}", level, foot, length, section, draw(numbers(0.3, 0.8)), rough)
            elements.append(drain.element())
            links.append(Link(f"e{at}", after, drain.outlet()))
            level = foot - draw(numbers(0.0, 0.4))
        else:
            crest = level - draw(numbers(0.0, 0.5))
            pool = vertical(crest - 1.0, crest + 1.0, draw(numbers(20.0, 300.0)))
            elements.append(Element(f"e{at}", Kind.BASIN, pool, crest, crest + 0.4, 10.0))
            links.append(Link(f"e{at}", after, Sill(crest, draw(numbers(0.5, 4.0)))))
            level = crest - draw(numbers(0.0, 0.4))
    return Network(tuple(elements), tuple(links), (Discharge("end", "End", level - 1.0),))


def brimming():
    """Make a drain that runs over along its whole brim, its lower end drowned for a while."""
    drain = Drain("e0", 100.0, 99.578125, 27.0, Trapezoid(1.0, 1.0), 0.3125, "B")
    pool = vertical(98.578125, 100.578125, 20.0)
    basin = Element("e1", Kind.BASIN, pool, 99.578125, 99.978125, 10.0)
    links = (Link("e0", "e1", drain.outlet()), Link("e1", "end", Sill(99.578125, 1.0)))
    return Network((drain.element(), basin), links, (Discharge("end", "End", 98.578125),))


# parts of the brim reach their highest flows at different times here
@example(network=brimming(), peak=1.0, spread_s=300.0)
@settings(deadline=None, max_examples=40)
@given(network=chains(), peak=numbers(0.01, 1.5), spread_s=numbers(300.0, 3000.0))
def test_no_water_is_made_or_lost(network, peak, spread_s):
    """For each element and the whole, what came equals what left, soaked and stays, to 0.01 %."""
    edges = 60.0 * np.arange(181)
    middles = (edges[1:] + edges[:-1]) / 2
    flow = peak * np.exp(-0.5 * ((middles - 4000.0) / spread_s) ** 2)
    routed = route(network, StormInflow(edges, {"e0": flow}), Pace(after_h=2.0))
    sums, volume = routed.elements, float(flow.sum() * 60.0)
    assert np.abs(sums.residual_m3).max() <= 1e-4 * max(volume, 1.0)
    assert abs(routed.residual_m3) <= 1e-4 * max(volume, 1.0)
    assert (sums.end_m3 >= 0).all()
    series = routed.series
    kept = series.storage_m3[-1]
    np.testing.assert_allclose(kept, sums.end_m3, atol=1e-4 * max(volume, 1.0))
    # no drain and no pool lets out more at once than ever came in, its brim taken as a whole
    assert routed.links.peak_m3_s.max() <= 1.02 * peak + 1e-3
