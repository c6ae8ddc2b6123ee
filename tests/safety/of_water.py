"""Unsafe and safe cascades for the flags of elements, ways out, storms and banks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from brimline.cascade import (
    CascadeLimits,
    Discharge,
    Link,
    Network,
    Pace,
    StormInflow,
    assess,
    route,
)
from brimline.cascade.beyond import (
    beyond_findings,
    blocked_pipes,
    failed_banks,
    feeds_left_on,
    frozen,
    storm_case,
)
from brimline.cascade.safety import unsafe
from brimline.config import Hazard
from brimline.design.banks import BankHazard
from brimline.design.sizes import SizedDimension
from brimline.elements import (
    Basin,
    Drain,
    Element,
    FillLayer,
    Kind,
    Pipe,
    Pit,
    Pond,
    Sill,
    Soak,
    Tank,
    vertical,
)
from brimline.inputs.rules import bank_limits

PACE = Pace(after_h=6.0)
EDGES = 60.0 * np.arange(361)
SOAK, QUICK = Soak(20.0, 1.0), Soak(4000.0, 1.0)  # mm/h
SQUARE = shapely.box(0, 0, 10, 10)


def box(name, *, floor, spill, crest, area, **changes):
    """An element with vertical walls, whose water soaks away in a day or two."""
    stages = vertical(floor, crest + 0.5, area)
    values = {"brim_length_m": 10.0, "freeboard_m": 0.15, "soak": SOAK} | changes
    return Element(name, Kind.BASIN, stages, spill, crest, **values)


def cascade(*, sill_m=3.0, below_m=6.0, below_sill_m=3.0, below_crest_m=None, pipe=False, links=(),
            carries_m3_s=np.inf, drop=(), soak=SOAK, **upper):  # fmt: skip
    """An upper box that spills to a lower one, which spills to a creek."""
    above = box("upper", floor=10.0, spill=11.0, crest=11.5, area=500.0, soak=soak, **upper)
    crest = below_m + 0.5 if below_crest_m is None else below_crest_m
    lower = box("lower", floor=below_m - 1, spill=below_m, crest=crest, area=100.0, soak=soak)
    ways = [Link("lower", "creek", Sill(below_m, below_sill_m))]
    if sill_m:
        ways.append(Link("upper", "lower", Sill(11.0, sill_m), capacity_m3_s=carries_m3_s))
    if pipe:
        ways.append(Link("upper", "lower", Pipe(10.8, 9.0, 0.4, 10.0)))
    ways = [one for one in ways if one.from_id not in drop]
    return Network((above, lower), (*ways, *links), (Discharge("creek", "Creek", 4.0),))


def storm(factor=1.0):
    middles = (EDGES[1:] + EDGES[:-1]) / 2
    flow = 0.25 * factor * np.exp(-0.5 * ((middles - 7200.0) / 2500.0) ** 2)
    return StormInflow(EDGES, {"upper": flow}, 14400.0, "10-year")


def by_flag(findings):
    return {one.flag: one.text for one in findings}


def routed(factor=1.0, limits=None, **changes):
    """What is wrong with the cascade as drawn, and in a storm."""
    return by_flag(assess(cascade(**changes), storm(factor), limits, PACE)[1])


def drain(fall=0.005, length_m=200.0, flow=0.06):
    """A drain of one fall that leads to the creek."""
    one = Drain("drain", 120.0, 120.0 - fall * length_m, length_m)
    network = Network(
        (one.element(),),
        (Link("drain", "creek", one.outlet()),),
        (Discharge("creek", "Creek", 90.0),),
    )
    inflow = StormInflow(EDGES, {"drain": np.full(360, flow)}, 14400.0)
    return by_flag(assess(network, inflow, None, PACE)[1])


def own(element):
    return {one.flag: one.text for one in element.element().cautions}


def pond(depth_m):
    return own(Pond("pond", shapely.box(0, 0, 20, 10), 118.5, depth_m, 2.0))


def basin(soak=SOAK, fill=(), *, assumed=False):
    made = Basin("basin", SQUARE, 10.0, soak, 0.5, 0.0, fill, void_assumed=assumed)
    return own(made)


def tank(depth_m=None):
    return own(Tank("tank", 8.5, 4.0, 1.0, pit=depth_m and Pit(depth_m, 0.1, 1.0)))


def banked(*outlets, bank_m=2.0, deep_m=2.0):
    element = replace(
        box("pond", floor=12.0 - deep_m, spill=12.0, crest=12.5, area=100.0,
            embankment_height_m=bank_m),
        kind=Kind.POND,
    )  # fmt: skip
    links = tuple(Link("pond", "creek", outlet) for outlet in outlets)
    network = Network((element,), links, (Discharge("creek", "Creek", 4.0),))
    return by_flag(unsafe(network, CascadeLimits()))


def beyond(factor):
    return by_flag(beyond_findings([storm_case(route(cascade(), storm(factor), PACE))]))


def on_frozen(factor):
    """The design storm on frozen ground, where it holds on ground that soaks."""
    soaking = cascade(soak=QUICK, sill_m=0.6, below_sill_m=0.6)
    base, icy = route(soaking, storm(factor), PACE), route(frozen(soaking), storm(factor), PACE)
    return by_flag(beyond_findings([storm_case(icy, case="frozen ground", beside=base)]))


def at_high_end(factor):
    base = route(cascade(), storm(), PACE)
    high = route(cascade(), storm(factor), PACE)
    return by_flag(beyond_findings([storm_case(high, case="high end", beside=base)]))


def single_faults(cases, **changes):
    return by_flag(beyond_findings(list(cases(route(cascade(**changes), storm(), PACE)))))


def fed(flow_m3_s):
    return single_faults(lambda base: feeds_left_on(base, {"lower": flow_m3_s}, PACE))


def failing(**changes):
    held = {"embankment_height_m": 1.0, "held_above_ground_m3": 500.0}
    return single_faults(lambda base: failed_banks(base, PACE), **held, **changes)


def hazard(rating_m2_s=0.2, water_m=1.0, emergency_way="natural ground", **reaches):
    one = BankHazard(
        "Pond", 1.0, water_m, 10.0, 10.0, 1.0, rating_m2_s, emergency_way, shapely.Point(0, 0),
        bank_limits(Hazard()), **reaches,
    )  # fmt: skip
    return dict.fromkeys(one.flags, one.notes)


def sized(missed):
    one = SizedDimension("10-year", "pond", "depth", "m", 1.0, 2.0, 0.5, 2.0, "high", True, missed)
    return dict.fromkeys(one.flags, one.notes)


LOW, HIGH, WAY = Pipe(10.2, 9.0, 0.1, 10.0), Pipe(11.8, 9.0, 0.3, 10.0), Sill(12.0, 2.0)
BACK = (Link("lower", "upper", Sill(6.0, 3.0)),)
CHIPS = (FillLayer(0.3, 0.4, settles=0.25),)
GRAVEL = (FillLayer(0.3, 0.35),)
HOUSE = {"building_id": "House", "building_m": 40.0}

EXAMPLES = {
    "no-safe-outlet": (lambda: routed(drop=("lower",)), routed),
    "cycle": (lambda: routed(drop=("lower",), links=BACK), routed),
    "uphill": (lambda: routed(below_m=11.2), routed),
    "small-drop": (lambda: routed(below_m=10.95), routed),
    "freeboard": (lambda: routed(4.0), routed),
    "overtopped": (lambda: routed(16.0), routed),
    "slow-drawdown": (lambda: routed(soak=Soak(0.5, 1.0)), lambda: routed(soak=QUICK)),
    "small-outlet": (lambda: routed(carries_m3_s=0.05), lambda: routed(carries_m3_s=5.0)),
    "pipe-only": (lambda: routed(sill_m=0.0, pipe=True), lambda: routed(pipe=True)),
    "drowned": (lambda: routed(below_m=10.88, below_sill_m=0.5), lambda: routed(below_m=10.0)),
    "fast-flow": (lambda: drain(0.05), lambda: drain(0.004)),
    "coarse-drain": (lambda: drain(0.01, 8000.0), lambda: drain(0.01, 200.0)),
    "shape-limit": (lambda: pond(4.0), lambda: pond(1.0)),
    "assumed": (lambda: basin(fill=GRAVEL, assumed=True), lambda: basin(fill=GRAVEL)),
    "settles": (lambda: basin(fill=CHIPS), lambda: basin(fill=GRAVEL)),
    "not-computable": (lambda: basin(Soak(0.0)), basin),
    "deep-dig": (lambda: tank(1.9), lambda: tank(1.1)),
    "floats": (lambda: tank(1.1), tank),
    "engineer": (lambda: routed(embankment_height_m=2.0), lambda: routed(embankment_height_m=1.0)),
    "deep-water": (lambda: banked(WAY, LOW), lambda: banked(WAY, deep_m=0.5, bank_m=0.4)),
    "no-emergency-way": (lambda: banked(LOW), lambda: banked(WAY, LOW)),
    "no-drawdown": (lambda: banked(WAY, HIGH), lambda: banked(WAY, LOW)),
    "fails-beyond": (lambda: beyond(16.0), lambda: beyond(1.0)),
    "fails-frozen": (lambda: on_frozen(2.0), lambda: on_frozen(0.5)),
    "fails-high-end": (lambda: at_high_end(16.0), lambda: at_high_end(1.2)),
    "blocked-pipe": (
        lambda: single_faults(lambda base: blocked_pipes(base, PACE), sill_m=0.0, pipe=True),
        lambda: single_faults(lambda base: blocked_pipes(base, PACE), sill_m=6.0, pipe=True),
    ),
    "feed-left-on": (lambda: fed(6.0), lambda: fed(1e-5)),
    "takes-next": (failing, lambda: failing(below_crest_m=7.5)),
    "harm-below": (lambda: hazard(1.2, **HOUSE), lambda: hazard(1.2)),
    "failure-way": (lambda: hazard(0.2, **HOUSE), lambda: hazard(0.2)),
    "spillway-on-fill": (lambda: hazard(emergency_way="fill"), hazard),
    "goal-missed": (lambda: sized("keeps 40 of 60 m³"), lambda: sized("")),
}  # fmt: skip
