"""Level-pool routing against textbook examples and an independent integrator."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from brimline.cascade import Discharge, Link, Network, Pace, StormInflow, route
from brimline.elements import Element, Kind, Rating, Sill, vertical
from brimline.units import ACRE_M2, FOOT_M

CFS = FOOT_M**3
AS_GIVEN = Pace(tolerance_m=1.0, halvings=0, after_h=0.0)  # the book's own steps, none smaller


def one_pool(area_m2, outlet, start_level_m=0.0):
    pool = Element(
        "pool", Kind.POND, vertical(0.0, 12.0, area_m2), 1.0, 12.0, 1.0, start_level_m=start_level_m
    )
    return Network((pool,), (Link("pool", "end", outlet),), (Discharge("end", "End", -50.0),))


@pytest.mark.interpreted
def test_chow_maidment_and_mays_example_8_2_1():
    # Chow, Maidment & Mays (1988), Applied Hydrology, Example 8.2.1: a vertical-walled basin of
    # one acre with a 5-ft pipe, table 8.2.1 of outflow by head, inflow of table 8.2.2 (values
    # from memory)
    outflow_cfs = [0, 3, 8, 17, 30, 43, 60, 78, 97, 117, 137, 156, 173, 190, 205, 218, 231, 242,
                   253, 264, 275]  # fmt: skip
    inflow_cfs = [0, 60, 120, 180, 240, 300, 360, 320, 280, 240, 200, 160, 120, 80, 40, 0]
    expected_cfs = [0.0, 2.4, 17.1, 61.1, 123.2, 182.2, 230.3, 259.3, 270.0, 267.4, 254.9]
    heads = 0.5 * FOOT_M * np.arange(21)
    flows = CFS * np.array(outflow_cfs, dtype=float)
    inflow = CFS * np.array(inflow_cfs, dtype=float)
    mean = (inflow[1:] + inflow[:-1]) / 2
    storm = StormInflow(600.0 * np.arange(16), {"pool": mean})
    routed = route(one_pool(ACRE_M2, Rating(0.0, heads, flows)), storm, AS_GIVEN)
    assert routed.series is not None
    found_cfs = np.interp(routed.series.level_m[:, 0], heads, flows) / CFS
    assert found_cfs[: len(expected_cfs)] == pytest.approx(expected_cfs, abs=0.06)
    assert np.argmax(found_cfs) == 8  # the peak comes at 80 min


@pytest.mark.interpreted
def test_linear_reservoir_of_the_storage_indication_method():
    # Ponce, San Diego State University, onlinerouting02 (storage-indication reservoir routing,
    # linear), example: K 2 h, steps of 1 h, the outflows as printed there
    inflow = [100, 150, 250, 400, 800, 1000, 900, 700, 550, 400, 300, 250, 200, 150, 120, 100]
    printed = [100, 110, 146, 217.6, 370.56, 582.336, 729.402, 757.641, 704.585, 612.751, 507.65,
               414.59, 332.754, 269.652, 215.791, 173.475]  # fmt: skip
    mean = (np.array(inflow[1:]) + np.array(inflow[:-1])) / 2
    storm = StormInflow(3600.0 * np.arange(16), {"pool": mean})
    linear = Rating(0.0, np.array([0.0, 10.0]), np.array([0.0, 1000.0]))
    network = one_pool(2 * 3600 * 100.0, linear, start_level_m=1.0)
    routed = route(network, storm, AS_GIVEN)
    assert routed.series is not None
    assert 100.0 * routed.series.level_m[:12, 0] == pytest.approx(printed[:12], abs=6e-4)


def test_two_pools_and_a_drowned_sill_against_an_adaptive_integrator():
    # the same equations by scipy's Radau to 1e-9, written out here by hand
    areas, widths, crests = (120.0, 60.0), (1.5, 0.6), (1.0, 0.95)

    def weir(high, low, crest, width):
        head, tail = high - crest, low - crest
        if head <= 0 or low >= high:
            return 0.0
        free = (2 / 3) ** 1.5 * 9.81**0.5 * 0.85 * width * head**1.5
        ratio = max(tail / head, 0.0)
        if ratio > 0.99:
            near = (1 - 0.99**1.5) ** 0.385
            return free * near * (1 - ratio) / 0.01
        return free * (1 - ratio**1.5) ** 0.385

    def rates(t, levels):
        inflow = 0.15 if t < 3600 else 0.0
        between = weir(levels[0], levels[1], crests[0], widths[0])
        between -= weir(levels[1], levels[0], crests[0], widths[0])
        out = weir(levels[1], -9.0, crests[1], widths[1])
        return [(inflow - between) / areas[0], (between - out) / areas[1]]

    times = 60.0 * np.arange(121)
    # the inflow's jump lies between the two integrations
    first = solve_ivp(rates, (0, 3600), [0.5, 0.5], "Radau", times[:61], rtol=1e-9, atol=1e-9)
    second = solve_ivp(
        rates, (3600, 7200), first.y[:, -1], "Radau", times[60:], rtol=1e-9, atol=1e-9
    )
    expected = np.concatenate([first.y[:, :-1], second.y], axis=1).T

    elements = tuple(
        Element(name, Kind.BASIN, vertical(0.0, 3.0, area), crest, 3.0, 1.0, start_level_m=0.5)
        for name, area, crest in zip("ab", areas, crests, strict=True)
    )
    links = (
        Link("a", "b", Sill(crests[0], widths[0])),
        Link("b", "end", Sill(crests[1], widths[1])),
    )
    network = Network(elements, links, (Discharge("end", "End", -9.0),))
    mean = np.where(times[:-1] < 3600, 0.15, 0.0)
    routed = route(network, StormInflow(times, {"a": mean}), Pace(after_h=0.0))
    assert routed.series is not None
    assert expected[:, 1].max() > crests[0] + 0.05  # the sill between does drown
    assert np.abs(routed.series.level_m - expected).max() < 4e-3  # while it rises 75 mm a minute
    assert routed.elements.peak_level_m == pytest.approx(expected.max(axis=0), abs=5e-4)
    fine = route(network, StormInflow(times, {"a": mean}), Pace(1e-5, 14, after_h=0.0))
    assert fine.series is not None
    assert np.abs(fine.series.level_m - expected).max() < 3e-4
