"""What must hold of the year's water, whatever the site."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline._jit import threads
from brimline.balance.answers import site_days, store_residual_m3, zone_residual_mm
from brimline.balance.generator import Normals, daily_from_normals
from brimline.balance.planting import PLANTINGS
from brimline.balance.simulate import STORE_COLUMNS, ZONE_COLUMNS, simulate, simulate_sizes
from brimline.balance.sizing import pays_until, size_curve, smallest_capacity
from brimline.balance.surface import SoilSurface
from brimline.balance.system import SHAPE_POINTS, System, Use, WaterStore, Zone

DAYS = 400


def surface(rng: np.random.Generator) -> SoilSurface:
    return SoilSurface(
        rng.uniform(1.2, 1.3, DAYS), rng.uniform(0, 0.9, DAYS), 20.0, 8.0,
        wetted_share=float(rng.uniform(0.3, 1)),
    )  # fmt: skip


def site(seed: int, *, rain_factor: float = 1.0) -> System:
    """A random site: a chain of stores, zones that draw and are fed, one use."""
    rng = np.random.default_rng(seed)
    rain = np.where(rng.random(DAYS) < 0.3, rng.gamma(0.8, 9, DAYS), 0) * rain_factor
    et0 = rng.uniform(0, 7, DAYS)
    names = [f"s{i}" for i in range(rng.integers(1, 5))]
    zones = tuple(
        Zone(
            f"z{i}",
            float(rng.uniform(20, 4000)),
            float(rng.uniform(30, 200)),
            float(rng.uniform(0.2, 0.7)),
            rng.uniform(0.2, 1.2, DAYS),
            rain * rng.uniform(0, 0.6),
            draws_on=tuple(rng.permutation(names)[: rng.integers(0, 3)].tolist()),
            irrigated=bool(rng.random() < 0.8),
            start_at=float(rng.uniform(0.3, 1)),
            efficiency=float(rng.uniform(0.5, 1)),
            most_mm=float(rng.choice([5.0, np.inf])),
            start_full=float(rng.random()),
            surface=surface(rng) if rng.random() < 0.3 else None,
            drains_to={names[0]: float(rng.random())} if rng.random() < 0.4 else {},
        )
        for i in range(rng.integers(1, 5))
    )
    stores = tuple(
        WaterStore(
            name,
            float(rng.uniform(0, 80)),
            rain * rng.uniform(0, 3),
            np.sort(rng.uniform(0, 60, SHAPE_POINTS)),
            seep_mm=float(rng.uniform(0, 30)),
            evaporates=float(rng.uniform(0, 1.2)),
            spills_to=names[i + 1] if i + 1 < len(names) and rng.random() < 0.8 else "",
            feeds={zone.zone_id: 0.9 / len(zones) for zone in zones} if rng.random() < 0.5 else {},
            reserve_share=float(rng.choice([0.0, 0.2])),
            open_m2=float(rng.choice([0.0, 40.0])),
            soak_area_m2=np.sort(rng.uniform(0, 40, SHAPE_POINTS)),
            start_full=float(rng.random()),
        )
        for i, name in enumerate(names)
    )
    use = Use("stock", rng.uniform(0, 2, DAYS), (names[-1],))
    limit = float(rng.choice([0.0, 3.0, np.inf]))
    return System(rain, et0, zones, stores, (use,), mains_limit_m3=limit)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_every_zone_and_store_closes_every_day(seed):
    """Water is neither made nor lost: each daily balance closes to 1e-9 of its throughput."""
    system = site(seed)
    series = simulate(system)
    for place, store in enumerate(system.stores):
        rained = store.open_m2 / 1000 * system.rain_mm.sum()
        through = max(store.inflow_m3.sum() + rained + store.capacity_m3, 1e-9)
        assert np.abs(store_residual_m3(system, series, place)).max() <= 1e-9 * through
    for place, zone in enumerate(system.zones):
        through = system.rain_mm.sum() + zone.available_mm
        assert np.abs(zone_residual_mm(system, series, place)).max() <= 1e-9 * through


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_the_parts_of_demand_add_up_and_none_is_negative(seed):
    """Demand is rain plus harvested plus mains plus deficit, every day."""
    system = site(seed)
    met = site_days(system, simulate(system))
    total = met.rain + met.harvested + met.mains + met.deficit
    np.testing.assert_allclose(total, met.demand, atol=1e-9)
    for part in (met.rain, met.harvested, met.mains, met.deficit):
        assert part.min() >= -1e-9


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_no_soakage_is_fed_twice(seed):
    """All that all zones are fed is each store's soakage times its stated shares, every day."""
    system = site(seed)
    series = simulate(system)
    soaked = series.stores[:, :, STORE_COLUMNS.index("soaked_m3")]
    shares = np.array([sum(store.feeds.values()) for store in system.stores])
    areas = np.array([zone.area_m2 for zone in system.zones])
    fed = series.zones[:, :, ZONE_COLUMNS.index("fed_mm")] @ (areas / 1000)
    np.testing.assert_allclose(fed, soaked @ shares, rtol=1e-9, atol=1e-12)
    assert (fed <= soaked.sum(axis=1) + 1e-9).all()


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_stores_stay_between_empty_and_full(seed):
    """No store holds less than nothing or more than its capacity."""
    system = site(seed)
    held = simulate(system).stores[:, :, -1]
    for place, store in enumerate(system.stores):
        assert held[:, place].min() >= -1e-12
        assert held[:, place].max() <= store.capacity_m3 + 1e-9


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000))
def test_the_curve_agrees_with_single_runs_and_threads(seed):
    """A size run among others gives what it gives alone, on any number of threads."""
    system = site(seed)
    name = system.stores[0].store_id
    base = system.stores[0].capacity_m3
    with threads(2):
        many = simulate_sizes(system, name, [0.0, base, 2 * base])
    with threads(1):
        one = simulate_sizes(system, name, [0.0, base, 2 * base])
    for left, right in zip(
        (many.zones, many.stores, many.uses, many.days_met),
        (one.zones, one.stores, one.uses, one.days_met),
        strict=True,
    ):
        np.testing.assert_array_equal(left, right)
    alone = simulate(system)
    np.testing.assert_allclose(many.zones[:, 1, :8], alone.zones.sum(axis=0)[:, :8])
    np.testing.assert_allclose(many.stores[:, 1, :6], alone.stores.sum(axis=0)[:, :6])
    assert abs(many.days_met[1] - site_days(system, alone).days_met.sum()) <= 1  # rounding at 5 %


def test_a_lone_tank_saves_more_mains_the_larger_it_is():
    """With one open-ended tank and no other store, reliability never falls with size."""
    rng = np.random.default_rng(5)
    rain = np.where(rng.random(DAYS) < 0.3, rng.gamma(0.8, 9, DAYS), 0)
    tank = WaterStore("tank", 5.0, rain * 0.15)
    zone = Zone("beds", 200.0, 60.0, 0.4, np.full(DAYS, 0.9), np.zeros(DAYS), ("tank",))
    system = System(rain, np.full(DAYS, 4.0), (zone,), (tank,))
    curve = size_curve(system, "tank", np.linspace(0, 60, 25))
    assert (np.diff(curve.mains_m3_per_y) <= 1e-9).all()
    assert curve.served == ("beds",)
    assert curve.share_of_volume[-1] > curve.share_of_volume[0]
    goal = float(curve.share_of_volume[0] + curve.share_of_volume[-1]) / 2
    smallest = smallest_capacity(curve, goal)
    assert smallest is not None
    assert np.interp(smallest, curve.capacity_m3, curve.share_of_volume) == pytest.approx(goal)
    assert (curve.share_of_volume[curve.capacity_m3 < smallest] < goal).all()
    assert smallest_capacity(curve, 1.0) is None
    by_days = float(curve.share_of_days.min() + curve.share_of_days.max()) / 2
    enough = smallest_capacity(curve, by_days, "days")
    assert enough is not None
    assert np.interp(enough, curve.capacity_m3, curve.share_of_days) == pytest.approx(by_days)
    assert (curve.share_of_days[curve.capacity_m3 < enough] < by_days).all()
    pays = pays_until(curve, worth_m3=1.0)
    assert 0 < pays < 60
    # beyond it no size gains as much as it must be worth, and up to it the whole did
    beyond = curve.capacity_m3 > pays
    at = int(np.flatnonzero(curve.capacity_m3 == pays)[0])
    gained = curve.met_m3_per_y - curve.met_m3_per_y[at]
    assert (gained[beyond] <= 1.0 * (curve.capacity_m3[beyond] - pays)).all()
    assert -gained[0] >= pays


def test_a_ring_of_overflows_and_unknown_names_are_refused():
    zeros = np.zeros(3)
    one, two = (
        WaterStore("a", 1.0, zeros, spills_to="b"),
        WaterStore("b", 1.0, zeros, spills_to="a"),
    )
    with pytest.raises(ValueError, match="in a ring: a, b"):
        System(zeros, zeros, (), (one, two))
    with pytest.raises(ValueError, match="unknown stores: c"):
        System(zeros, zeros, (), (WaterStore("a", 1.0, zeros, spills_to="c"),))
    with pytest.raises(ValueError, match="more runs off than rains"):
        System(zeros, zeros, (Zone("z", 1.0, 50.0, 0.5, zeros, zeros + 1),), ())


def test_generated_weather_keeps_the_normals_and_repeats_by_seed():
    normals = Normals((90, 70, 60, 45, 40, 30, 15, 20, 45, 80, 95, 100),
                      (14, 12, 11, 9, 8, 6, 3, 4, 8, 13, 15, 15),
                      (8, 9, 12, 15, 19, 22, 26, 26, 22, 16, 11, 8),
                      (2, 2, 3, 5, 8, 11, 13, 13, 10, 7, 4, 2))  # fmt: skip
    made = daily_from_normals(normals, first_year=2001, years=30, seed=4)
    assert made.made_up
    for month in range(1, 13):
        mean = made.precipitation_mm[made.months == month].sum() / 30
        assert mean == pytest.approx(normals.rain_mm[month - 1])
    wet = (made.precipitation_mm[made.months == 1] > 0).sum() / 30
    assert wet == pytest.approx(14, rel=0.15)
    again = daily_from_normals(normals, first_year=2001, years=30, seed=4)
    np.testing.assert_array_equal(made.precipitation_mm, again.precipitation_mm)


@pytest.mark.parametrize("planting", PLANTINGS.values(), ids=lambda planting: planting.name)
def test_coefficients_run_through_their_stages(planting):
    days = np.arange(1, 366)
    kc = planting.kc_of(days)
    initial, rising, middle, late = planting.stage_days
    at = planting.first_day - 1
    assert kc[at] == planting.kc[1 if initial == 0 else 0]
    assert kc[(at + initial + rising) % 365] == planting.kc[1]
    if late > 0:
        assert kc[(at + initial + rising + middle) % 365] == planting.kc[1]
    # south of the equator the same curve runs half a year later
    np.testing.assert_array_equal(planting.kc_of(days, southern=True), np.roll(kc, 182))


@pytest.mark.parametrize("planting", PLANTINGS.values(), ids=lambda planting: planting.name)
def test_mulch_never_asks_more_nor_less_than_plants_on_dry_ground(planting):
    """A mulched coefficient lies between the basal and the single one, lower for more mulch."""
    days = np.arange(1, 366)
    none, half, full = (planting.mulched(share).kc_of(days) for share in (0, 0.5, 1))
    np.testing.assert_array_equal(none, planting.kc_of(days))
    assert (half <= none + 1e-12).all()
    assert (full <= half + 1e-12).all()
    for level, basal in zip(planting.mulched(1).kc, planting.kcb, strict=True):
        assert level >= basal - 1e-12
