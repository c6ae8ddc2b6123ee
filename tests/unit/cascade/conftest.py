"""A small hillside: lane water by a drain to a pond, three swales in turn, shed roofs by a tank."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.cascade import Discharge, Link, Network, StormInflow
from brimline.elements import (
    Drain,
    Element,
    Kind,
    Pipe,
    Pond,
    Sill,
    Soak,
    Swale,
    Tank,
    rain_garden,
    vertical,
)

DAY_S = 60.0 * np.arange(1441)


def _bell(peak_m3_s, middle_s=43_200.0, spread_s=2_500.0, edges_s=DAY_S):
    """A smooth hydrograph: mean flow of each step."""
    middles = (edges_s[1:] + edges_s[:-1]) / 2
    return peak_m3_s * np.exp(-0.5 * ((middles - middle_s) / spread_s) ** 2)


def _box(name, *, floor=0.0, spill=1.0, crest=1.5, area=100.0, **changes):
    """An element with vertical walls."""
    stages = vertical(floor, crest + 0.5, area)
    values = {"brim_length_m": 10.0, "freeboard_m": 0.15} | changes
    return Element(name, Kind.BASIN, stages, spill, crest, **values)


@pytest.fixture
def box():
    return _box


@pytest.fixture
def bell():
    return _bell


@pytest.fixture
def hillside():
    soak = Soak(20.0, 2.0)
    drain = Drain("drain", 120.0, 119.2, 200.0)
    pond = Pond(
        "pond", shapely.box(0, 0, 30, 20), 118.5, 2.0, 2.0, soak=Soak(0.2, 1.0), start_level_m=118.2
    )
    swales = [
        Swale(f"swale-{at}", 116.0 - 1.5 * at, 90.0, 10.0, depth_m=0.4, bottom_m=0.8, soak=soak)
        for at in range(3)
    ]
    tank = Tank("tank", 118.0, 20.0)
    garden = replace(
        rain_garden("garden", shapely.box(0, 0, 8, 5), 115.0, soak), void_assumed=False
    )
    links = (
        Link("drain", "pond", drain.outlet()),
        Link("pond", "swale-0", Sill(118.5, 2.5)),
        Link("pond", "swale-0", Pipe(118.2, 117.0, 0.1, 20.0)),
        Link("swale-0", "swale-1", Sill(116.0, 2.0)),
        Link("swale-1", "swale-2", Sill(114.5, 2.0)),
        Link("swale-2", "stream", Sill(113.0, 2.0)),
        Link("tank", "garden", tank.overflow()),
        Link("garden", "swale-2", Sill(115.0, 1.0)),
    )
    elements = tuple(shape.element() for shape in (drain, pond, *swales, tank, garden))
    return Network(elements, links, (Discharge("stream", "Mill stream", 112.0),))


@pytest.fixture
def storm():
    peaks = {
        "drain": 0.06,
        "pond": 0.01,
        "swale-0": 0.01,
        "swale-1": 0.008,
        "swale-2": 0.008,
        "tank": 0.008,
        "garden": 0.001,
    }
    means = {name: _bell(peak) for name, peak in peaks.items()}
    return StormInflow(DAY_S, means, ends_s=60_000.0, name="design storm")
