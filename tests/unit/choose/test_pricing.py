"""What an element costs by its dimensions, against the earth of plain shapes."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from brimline.cascade import Free, Link, Network
from brimline.choose.pricing import Prices, cost_of, element_cost
from brimline.elements import Pond, Sill, Swale
from brimline.elements.building import Building
from brimline.grid import Grid
from brimline.terrain.earthwork import Soil

GRID = Grid(80, 80, 1.0, 0.0, 80.0)
FLAT = np.full(GRID.shape, 10.0, dtype=np.float32)
# nothing is stripped or spread, so that only what is dug is paid for
BARE = Soil(1.25, 0.90, 0.0, 0.0)


def prices(rates, **more) -> Prices:
    return Prices(FLAT, GRID, Building(), 30.0, BARE, rates, **more)


def designed(shape, drawn, *, width_m=0.0):
    element = shape.element()
    links = (Link(element.element_id, "", Sill(element.spill_level_m, width_m)),) if width_m else ()
    lines = (shapely.LineString([drawn.coords[0], (5.0, 5.0)]),) if width_m else ()
    network = Network((element,), links)
    return SimpleNamespace(network=network, links=links, lines=lines, shape_of=lambda _: drawn)


def test_a_trench_costs_its_prism():
    """On flat ground a swale's ditch is a prism of (bottom + side × depth) × depth."""
    line = shapely.LineString([(20.0, 40.0), (60.0, 40.0)])
    swale = Swale("s", 10.0, line.length, 0.0, 0.4, bottom_m=0.6, side=2.0)
    design = designed(swale, line)
    for depth in (0.4, 0.6):
        found = element_cost(design, "s", {"depth_m": depth}, prices({"cut": 5.0}))
        assert found == pytest.approx(5 * 40 * (0.6 + 2 * depth) * depth, rel=0.05)
    form = element_cost(design, "s", {}, prices({"form": 1.5}))
    assert form == pytest.approx(60.0)


def test_what_lies_between_the_sizes_that_were_dug():
    square = shapely.box(20, 20, 50, 50)
    pond = Pond("p", square, 10.0, 1.5, 2.0, sunken=True)
    design = SimpleNamespace(
        network=Network((pond.element(),), ()), links=(), lines=(), shape_of=lambda _: square
    )
    free = (Free("p", "depth_m", 0.8, 2.4, 0.1),)
    asked = prices({"cut": 5.0, "fill": 4.0})
    cost = cost_of(design, free, asked, [100.0])
    for depth in (0.9, 1.5, 2.3):
        exact = element_cost(design, "p", {"depth_m": depth}, asked) + 100 * depth
        assert cost((depth,)) == pytest.approx(exact, rel=0.005)
    assert cost((2.0,)) > cost((1.0,))


def test_a_wider_sill_costs_its_stone():
    """3 m more of a level sill, 2 m of apron and 1 m of bank top, 0.3 m thick: 2.7 m³."""
    line = shapely.LineString([(20.0, 40.0), (60.0, 40.0)])
    swale = Swale("s", 10.0, line.length, 0.0, 0.4, crest_over_line_m=0.0)
    design = designed(swale, line, width_m=2.0)
    asked = prices({"sill_stone": 65.0}, stone_m=0.3, apron_m=2.0)
    narrow, wide = (element_cost(design, "s", {"sill_width_m": w}, asked) for w in (2.0, 5.0))
    assert wide - narrow == pytest.approx(65 * 3 * 3 * 0.3)
