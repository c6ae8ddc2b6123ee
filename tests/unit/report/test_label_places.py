"""Placing labels: what holds for any set of wishes."""

from __future__ import annotations

import itertools

from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.report.plates.labels import Box, Place, WantedLabel, around, box_of, placed

SHEET = Box(0, 0, 300, 200)
number = st.floats(-20, 320, allow_nan=False)
places = st.builds(Place, number, number, st.floats(-90, 90))
wishes = st.builds(
    WantedLabel,
    st.text("abc", min_size=1, max_size=5),
    st.floats(4, 60),
    st.floats(4, 14),
    st.lists(places, max_size=5).map(tuple),
    st.integers(0, 5).map(float),
)


@settings(deadline=None, max_examples=150)
@given(st.lists(wishes, max_size=25), st.lists(places, max_size=4))
def test_no_two_labels_meet_and_none_leaves_the_sheet(
    wanted: list[WantedLabel], marks: list[Place]
) -> None:
    taken = [Box(mark.x - 4, mark.y - 4, mark.x + 4, mark.y + 4) for mark in marks]
    boxes = [box_of(label, place) for label, place in placed(wanted, SHEET, taken)]
    for one, other in itertools.combinations(boxes, 2):
        assert not one.meets(other)
    for box in boxes:
        assert box.inside(SHEET)
        assert not any(box.meets(mark) for mark in taken)


@settings(deadline=None, max_examples=100)
@given(st.lists(wishes, max_size=12))
def test_a_label_is_left_out_only_where_no_place_was_free(wanted: list[WantedLabel]) -> None:
    found = placed(wanted, SHEET)
    kept = {id(label) for label, _ in found}
    boxes = [box_of(label, place) for label, place in found]
    for label in wanted:
        if id(label) not in kept:
            for place in label.places:
                box = box_of(label, place)
                assert not box.inside(SHEET) or any(box.meets(other) for other in boxes)


def test_the_lower_rank_has_the_first_choice() -> None:
    spot = (Place(50, 50),)
    late, early = (
        WantedLabel("late", 20, 8, spot, rank=2),
        WantedLabel("early", 20, 8, spot, rank=1),
    )
    assert [label.text for label, _ in placed([late, early], SHEET)] == ["early"]


def test_places_around_a_point_keep_clear_of_it() -> None:
    mark = Box(46, 46, 54, 54)
    for place in around(50, 50, 30, 8, gap=4.5):
        assert not box_of(WantedLabel("x", 30, 8, ()), place).meets(mark)


def test_a_turned_label_takes_the_room_that_it_covers() -> None:
    box = box_of(WantedLabel("x", 40, 10, ()), Place(0, 0, 90))
    assert (round(box.right - box.left, 9), round(box.top - box.bottom, 9)) == (10, 40)
