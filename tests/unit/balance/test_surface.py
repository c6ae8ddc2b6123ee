"""The soil's surface beside the plants: air, coefficients, cover, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.balance.evapotranspiration import ReferenceEt, how_told
from brimline.balance.planting import PLANTINGS, Planting, planting, unmulched
from brimline.balance.simulate import ZONE_COLUMNS, columns, simulate, warmed
from brimline.balance.surface import Air, SoilSurface, cover_share, most_kc, surface_told
from brimline.balance.system import System, Zone
from brimline.rainfall.daily import DailyWeather

STANDARD = Air(np.full(365, 2.0), np.full(365, 45.0))
YEAR = np.arange(1, 366)


def weather(**columns):
    values = {name: np.full(3, float(value)) for name, value in columns.items()}
    return DailyWeather(np.datetime64("2001-07-06"), precipitation_mm=np.zeros(3), **values)


def test_humidity_comes_from_the_best_of_what_there_is():
    # FAO-56, example 18 (from memory): Tmax 21.5, Tmin 12.3 °C, vapour pressure 1.409 kPa, and
    # 2.564 and 1.431 kPa at saturation; lowest humidity 63 %
    temperatures = {"temp_max_c": 21.5, "temp_min_c": 12.3}
    measured = weather(humidity_max_pct=84, humidity_min_pct=63, dewpoint_c=0, **temperatures)
    assert Air.of(measured).humidity_min_pct[0] == 63
    for found, expected in (
        (weather(dewpoint_c=12.07, **temperatures), 100 * 1.409 / 2.564),
        (weather(humidity_mean_pct=70.6, **temperatures), 100 * 1.409 / 2.564),
        (weather(**temperatures), 100 * 1.431 / 2.564),  # FAO-56, equation 64
    ):
        assert Air.of(found).humidity_min_pct[0] == pytest.approx(expected, abs=0.2)
    assert Air.of(weather(**temperatures)).wind_m_s.tolist() == [2, 2, 2]
    assert Air.of(weather(wind_m_s=3.5, **temperatures)).wind_m_s[0] == 3.5


def test_most_that_wet_ground_and_plants_take():
    # FAO-56, equation 72 by hand: wind 4 m/s, humidity 25 %, plants 2 m high:
    # 1.2 + (0.04 × 2 + 0.004 × 20) × (2/3)^0.3 = 1.2 + 0.16 × 0.8855 = 1.3417
    kcb, height = np.array([1.15]), np.array([2.0])
    windy = Air(np.array([4.0]), np.array([25.0]))
    assert most_kc(kcb, height, windy)[0] == pytest.approx(1.3417, abs=1e-4)
    # in the standard climate 1.2, but 0.05 above the plants' own at least
    still = Air(np.array([2.0]), np.array([45.0]))
    assert most_kc(kcb, height, still)[0] == pytest.approx(1.2)
    assert most_kc(np.array([1.3]), height, still)[0] == pytest.approx(1.35)
    # wind counts from 1 to 6 m/s, humidity from 20 to 80 %
    storm, gale = (Air(np.array([u]), np.array([h])) for u, h in ((30.0, 1.0), (6.0, 20.0)))
    assert storm.demand(2.0) == pytest.approx(gale.demand(2.0))


def test_cover_grows_with_the_basal_coefficient():
    # FAO-56, equation 76 by hand: ((0.70 - 0.15) / (1.20 - 0.15))^(1 + 0.5 × 0.4) = 0.460
    found = cover_share(np.array([0.10, 0.15, 0.70, 1.15]), np.full(4, 1.2), np.full(4, 0.4))
    assert found.tolist()[:2] == [0, 0]
    assert found[2] == pytest.approx(0.460, abs=0.001)
    assert 0.9 < found[3] <= 0.99


def test_basal_coefficients_through_the_season():
    one = Planting("beans", (0.5, 1.15, 0.9), (0.15, 1.1, 0.8), (20, 30, 40, 20), 100, 0.4, 0.6,
                   0.45, height_m=(0.05, 0.4))  # fmt: skip
    kcb, height = one.kcb_of(YEAR, STANDARD), one.height_of(YEAR)
    assert kcb[99 + 5] == 0.15
    assert kcb[99 + 35] == pytest.approx(0.15 + 0.95 / 2)  # halfway through its development
    assert kcb[99 + 70] == 1.1
    assert kcb[99 + 100] == pytest.approx(0.95)
    assert kcb[0] == 0.15  # out of season no more than bare ground with seedlings
    assert (height[99 + 5], height[99 + 105], height[0]) == (0.05, 0.4, 0.05)
    # drier air raises the middle and the end, by equation 70: (0.04 × 1 + 0.004 × 15) (0.4/3)^0.3
    dry = Air(np.full(365, 3.0), np.full(365, 30.0))
    rise = 0.1 * (0.4 / 3) ** 0.3
    assert one.kcb_of(YEAR, dry)[99 + 70] == pytest.approx(1.1 + rise)
    assert one.kcb_of(YEAR, dry)[99 + 5] == 0.15
    assert replace(one, standard_climate=False).kcb_of(YEAR, dry)[99 + 70] == 1.1
    low = replace(one, kcb=(0.15, 0.4, 0.3))  # below 0.45 nothing is adjusted
    assert low.kcb_of(YEAR, dry).max() == 0.4
    southern = one.kcb_of(YEAR, STANDARD, southern=True)
    assert southern[(99 + 182 + 70) % 365] == 1.1


@pytest.mark.parametrize("name", PLANTINGS)
def test_every_planting_leaves_room_for_evaporation(name):
    one = PLANTINGS[name]
    kcb, height = one.kcb_of(YEAR, STANDARD), one.height_of(YEAR)
    most = most_kc(kcb, height, STANDARD)
    cover = cover_share(kcb, most, height)
    assert (most >= kcb + 0.05 - 1e-12).all()
    assert cover.min() >= 0
    assert cover.max() < 1


def test_heights_and_shares_out_of_range_are_refused():
    with pytest.raises(ValueError, match="height_m must rise"):
        replace(PLANTINGS["berries"], height_m=(2.0, 1.0))
    surface = SoilSurface(np.ones(3), np.zeros(3), 20.0, 8.0)
    for change, words in (
        ({"readily_mm": 20.0}, "readily_mm must lie"),
        ({"wetted_share": 0.0}, "wetted_share must lie"),
        ({"unmulched": 1.1}, "unmulched must lie"),
        ({"start_dry_mm": 21.0}, "start_dry_mm must lie"),
    ):
        with pytest.raises(ValueError, match=words):
            replace(surface, **change)
    zone = Zone("beds", 10.0, 60.0, 0.5, np.full(3, 1.1), np.zeros(3), surface=surface)
    with pytest.raises(ValueError, match="kc_most lies below"):
        System(np.zeros(3), np.ones(3), (zone,), ())
    short = replace(zone, kc=np.full(3, 0.5), surface=surface.first_days(2))
    with pytest.raises(ValueError, match="for each of 3 days"):
        System(np.zeros(3), np.ones(3), (short,), ())


def test_mulch_takes_its_share_off_evaporation_only():
    # FAO-56, chapter 11 (from memory): 5 % less evaporation for each 10 % of ground under mulch
    assert unmulched(0.5) == 0.75
    days = 30
    rain = np.where(np.arange(days) % 3 == 0, 5.0, 0.0)

    def evaporated(share):
        surface = SoilSurface(np.full(days, 1.2), np.full(days, 0.3), 20.0, 20.0 - 1e-6,
                          unmulched=unmulched(share))  # fmt: skip
        zone = Zone("beds", 100.0, 100.0, 0.5, np.full(days, 0.5), np.zeros(days),
                    irrigated=False, surface=surface)  # fmt: skip
        found = columns(simulate(System(rain, np.full(days, 2.0), (zone,), ())).zones[:, 0],
                        ZONE_COLUMNS)  # fmt: skip
        np.testing.assert_allclose(found["et_mm"] - found["evaporated_mm"], 1.0)
        return found["evaporated_mm"].sum()

    # the surface never dries beyond what evaporates readily, so the saving is the stated one
    assert evaporated(0.5) == pytest.approx(0.75 * evaporated(0.0))


def test_mulch_comes_off_single_coefficients_by_hand():
    # FAO-56, chapter 11 (from memory): half the ground mulched saves 25 % of the evaporation. Bare:
    # 0.6 × 0.75; grown: 1.15 - 0.25 (1.15 - 1.10) and 0.90 - 0.25 (0.90 - 0.80)
    one = Planting("beans", (0.6, 1.15, 0.9), (0.15, 1.1, 0.8), (20, 30, 40, 20), 100, 0.4, 0.6,
                   0.4, height_m=(0.05, 0.4))  # fmt: skip
    mulched = one.mulched(0.5)
    assert mulched.kc == pytest.approx((0.45, 1.1375, 0.875))
    assert mulched.kc_dormant == pytest.approx(0.3)
    assert mulched.kcb == one.kcb
    seedlings = replace(one, kcb=(0.5, 1.1, 0.8)).mulched(0.5)
    assert seedlings.kc[0] == 0.5  # never below what the plants themselves take


@pytest.mark.parametrize(("lacking", "told"), [
    ((), "Penman-Monteith"), (("wind of 2 m/s", "radiation"), "lacks: wind of 2 m/s, radiation"),
])  # fmt: skip
def test_what_stood_in_for_a_gap_of_the_weather_is_told(lacking, told):
    assert how_told(ReferenceEt(np.ones(3), "penman-monteith", lacking)).endswith(told)


def test_what_the_soils_surface_lacks_of_the_weather_is_told():
    temperatures = {"temp_max_c": 21.5, "temp_min_c": 12.3}
    how = "evaporation of the soil's surface by itself (dual crop coefficients)"
    lacking = "; taken for what the record lacks: "
    told = surface_told(weather(**temperatures))
    assert told == f"{how}{lacking}wind of 2 m/s, the lowest temperature as dewpoint"
    told = surface_told(weather(wind_m_s=1, **temperatures))
    assert told == f"{how}{lacking}the lowest temperature as dewpoint"
    for known in (
        {"humidity_max_pct": 90, "humidity_min_pct": 60},
        {"humidity_mean_pct": 70},
        {"dewpoint_c": 9},
    ):
        assert surface_told(weather(wind_m_s=1, **known, **temperatures)) == how


def test_a_planting_is_found_by_its_name():
    assert planting("berries") is PLANTINGS["berries"]
    with pytest.raises(ValueError, match="berries"):
        planting("beries")


def test_the_first_year_leaves_its_surface_behind():
    days = 400
    surface = SoilSurface(np.full(days, 1.2), np.full(days, 0.3), 20.0, 8.0)
    zone = Zone("beds", 100.0, 100.0, 0.5, np.full(days, 0.5), np.zeros(days), irrigated=False,
                surface=surface)  # fmt: skip
    rain = np.zeros(days)
    rain[362] = 50.0
    system = System(rain, np.full(days, 2.0), (zone,), ())
    series = columns(simulate(system.first_days(365)).zones[:, 0], ZONE_COLUMNS)
    left = warmed(system).zones[0]
    assert left.surface.start_dry_mm == series["surface_dry_mm"][-1] > 0
    assert left.start_full == pytest.approx(series["soil_water_mm"][-1] / 100)
