"""Where the spoil goes, by hand, and that none is made or lost."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.terrain.earthwork import Earth, Soil, Stockpile, Work, balanced, need_of


def test_states_of_soil_of_a_textbook():
    # Nunnally, Construction Methods and Management, example 2-3: a soil of 1163 kg/m³ loose, 1661
    # in place, 2077 compacted; 593 300 m³ loose are 415 310 in place and 332 248 compacted, with
    # the factors rounded to 0.70 and 0.80 (value from memory).
    soil = Soil(loose_per_bank=1 / 0.70, compacted_per_bank=0.80)
    done = balanced([Work("a", Earth(cut_m3=415_310, fill_m3=332_248))], soil)
    (haul,) = done.hauls
    assert haul.kind == "own fill"
    assert haul.loose_m3 == pytest.approx(593_300)


def test_topsoil_comes_off_cut_and_fill_and_goes_back_on_the_fill():
    # 0.2 m off 100 m² of cut and 60 m² of fill; 0.1 m back on the fill.
    soil = Soil(compacted_per_bank=1.0, topsoil_m=0.2, respread_m=0.1)
    need = need_of(Earth(cut_m3=50, fill_m3=30, cut_m2=100, fill_m2=60), soil)
    assert need.topsoil_m3 == pytest.approx(32)
    assert need.respread_m3 == pytest.approx(6)
    assert need.spoil_m3 == pytest.approx(50 - 20)
    assert need.fill_m3 == pytest.approx(30 + 12 - 6)


def test_the_own_mound_comes_first_then_the_nearest_lack_then_the_stockpile():
    soil = Soil(1.25, 0.8)
    works = [
        Work("swale", Earth(cut_m3=100, fill_m3=40), (0, 0)),  # needs 50, has 50 over
        Work("bund", Earth(cut_m3=0, fill_m3=16), (0, 30)),  # lacks 20
        Work("dam", Earth(cut_m3=10, fill_m3=16), (0, 20)),  # lacks 10
    ]
    done = balanced(works, soil, [Stockpile("far", (500, 0)), Stockpile("near", (40, 30))])
    told = [(haul.from_id, haul.to_id, haul.kind) for haul in done.hauls]
    assert told == [
        ("swale", "swale", "own fill"),
        ("dam", "dam", "own fill"),
        ("swale", "dam", "other fill"),
        ("swale", "bund", "other fill"),
        ("swale", "near", "stockpile"),
    ]
    assert [haul.bank_m3 for haul in done.hauls] == pytest.approx([50, 10, 10, 20, 20])
    assert [haul.loose_m3 for haul in done.hauls] == pytest.approx([62.5, 12.5, 12.5, 25, 25])
    assert [haul.distance_m for haul in done.hauls] == pytest.approx([0, 0, 20, 30, 50])


def test_what_lacks_is_borrowed_and_what_has_no_place_is_told():
    done = balanced([Work("a", Earth(fill_m3=9)), Work("b", Earth(cut_m3=0))], Soil(1.2, 0.9))
    assert done.total_m3("borrow") == pytest.approx(10)
    done = balanced([Work("a", Earth(cut_m3=7))], Soil())
    assert done.total_m3("no place") == pytest.approx(7)
    assert done.total_m3("stockpile") == 0


def test_topsoil_goes_into_no_mound_and_what_is_short_is_borrowed():
    # 30 m³ stripped, none put back; the mound lacks 45 - 20 and borrows them all.
    soil = Soil(1.2, 1.0, topsoil_m=0.3)
    earth = Earth(cut_m3=38, fill_m3=33, cut_m2=60, fill_m2=40)
    done = balanced([Work("swale", earth)], soil)
    told = [(haul.kind, round(haul.bank_m3, 6)) for haul in done.hauls]
    assert told == [("own fill", 20), ("borrow", 25)]
    assert done.topsoil_left_m3 == pytest.approx(30)


amounts = st.floats(0, 1000)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(amounts, amounts, amounts, amounts), min_size=1, max_size=6))
def test_no_earth_is_made_or_lost(sizes):
    """What is dug is hauled, what is filled is brought, and never both borrowed and left over."""
    soil = Soil(1.3, 0.85, 0.1, 0.05)
    works = [
        Work(str(k), Earth(cut, fill, cut_m2, fill_m2), (float(k), 0.0))
        for k, (cut, fill, cut_m2, fill_m2) in enumerate(sizes)
    ]
    done = balanced(works, soil, [Stockpile("heap")])
    for name, need in done.needs.items():
        gone = sum(haul.bank_m3 for haul in done.hauls if haul.from_id == name)
        come = sum(haul.bank_m3 for haul in done.hauls if haul.to_id == name)
        np.testing.assert_allclose([gone, come], [need.spoil_m3, need.fill_m3], atol=1e-6)
    assert min(done.total_m3("borrow"), done.total_m3("stockpile")) < 1e-6
    assert done.topsoil_left_m3 >= 0


def test_unusable_soil_and_doubled_elements_are_refused():
    with pytest.raises(ValueError, match="above 0"):
        Soil(loose_per_bank=0)
    with pytest.raises(ValueError, match="0 m or more"):
        Soil(topsoil_m=-0.1)
    with pytest.raises(ValueError, match="named once"):
        balanced([Work("a", Earth()), Work("a", Earth())], Soil())
