"""Which mends are chosen: those whose finding goes, that bring nothing worse, all together."""

import pytest

from brimline.design import Outcome, PlanChange, advised
from brimline.design.plan_changes import changes_of, changes_text, mend_row

HARM = {"overtopped": 0, "leaks": 1, "off-level": 2, "assumed": 3}


def mend(name, code, dimension="width", column="sill_width_m", value=1.0):
    change = PlanChange("drawn_ponds", name, {column: value})
    return mend_row(name, code, name, dimension, "m", 0.0, value, f"mend {name}", [change])


def outcome(*marks, cut_m3=0.0):
    return Outcome(dict.fromkeys(marks, "wrong"), cut_m3, 0.0)


class Plan:
    """A plan of which all is known at once."""

    def __init__(self, outcome):
        self.outcome = outcome
        self.drawn = self.soon = outcome.marks


def advise(rows, base, answers, most=40, harm=HARM):
    """Try mends on a plan that answers by the rows that are changed."""

    def mends(plan, marks):
        marks = plan.outcome.marks if marks is None else marks
        return [row for row in rows if (row["element_id"], row["code"]) in marks]

    def trial(changes):
        found = answers.get(tuple(change.row for change in changes))
        return None if found is None else Plan(found)

    return advised(Plan(base), mends, trial, harm.__getitem__, most)


def test_each_mend_is_tried_on_top_of_those_chosen_before_it():
    a, b = ("A", "overtopped"), ("B", "leaks")
    answers = {("B",): outcome(a, cut_m3=2.0), ("B", "A"): outcome(cut_m3=5.0)}
    told = advise([mend(*a), mend(*b)], outcome(a, b), answers)
    # what leads water astray goes first: how much there is of it follows from that
    assert [(row["element_id"], row["advised"]) for row in told.rows] == [("B", 1), ("A", 2)]
    assert [row["cut_m3"] for row in told.rows] == [2.0, 3.0]
    assert not told.last.outcome.marks


def test_what_brings_something_worse_is_told_and_not_chosen():
    a = ("A", "leaks")
    answers = {("A",): outcome(("B", "overtopped"))}
    told = advise([mend(*a)], outcome(a), answers)
    assert told.rows[0]["proved"] == "no"
    assert told.rows[0]["brings"] == "overtopped of B"
    assert told.rows[0]["advised"] == 0
    assert set(told.last.outcome.marks) == {a}


def test_what_a_fault_would_do_does_not_outweigh_what_is_wrong_without_one():
    harm = {"takes-next": 0, "overtopped": 1, "off-level": 2}
    for brought, advised_at in (("takes-next", 1), ("overtopped", 0)):
        answers = {("A",): outcome(("B", brought))}
        a = ("A", "off-level")
        told = advise([mend(*a)], outcome(a), answers, harm=harm)
        assert told.rows[0]["advised"] == advised_at


def test_findings_never_become_more():
    a = ("A", "leaks")
    answers = {("A",): outcome(("A", "assumed"), ("B", "assumed"))}
    assert advise([mend(*a)], outcome(a), answers).rows[0]["advised"] == 0


def test_what_one_mend_brings_a_second_mends_with_it():
    a, b, c = ("A", "leaks"), ("B", "overtopped"), ("C", "assumed")
    answers = {("A",): outcome(b, c), ("A", "B"): outcome(c), ("B",): outcome(a, c)}
    told = advise([mend(*a), mend(*b)], outcome(a, c), answers)
    (row,) = [row for row in told.rows if row["advised"]]
    assert row["text"] == "mend A; and mend B"
    assert [one.row for one in changes_of(row["change"])] == ["A", "B"]
    assert set(told.last.outcome.marks) == {c}


def test_mends_found_with_those_chosen_name_what_they_presume():
    a, b = ("A", "leaks"), ("B", "assumed")
    answers = {("A",): outcome(b), ("A", "B"): outcome()}
    told = advise([mend(*a), mend(*b)], outcome(a), answers)
    first, second = told.rows
    assert (first["presumes"], second["presumes"]) == (None, first["mend_id"])
    assert not told.last.outcome.marks


@pytest.mark.parametrize("after", [None, ("A", "leaks")])
def test_what_cannot_be_made_or_does_not_help_is_left_out_and_counted(after):
    a = ("A", "leaks")
    answers = {("A",): None if after is None else outcome(after)}
    told = advise([mend(*a)], outcome(a), answers)
    assert told.rows == ()
    assert told.in_vain == {a: 1}


def test_two_mends_of_one_finding_or_of_one_cell_are_not_both_chosen():
    a, b = ("A", "leaks"), ("A", "off-level")
    rows = [mend(*a), mend(*a, dimension="level", column="spill_level_m"), mend(*b)]
    told = advise(rows, outcome(a, b), {("A",): outcome(b)})
    assert sum(row["advised"] > 0 for row in told.rows) == 1


def test_no_more_plans_are_tried_than_allowed():
    a, b = ("A", "leaks"), ("B", "leaks")
    told = advise([mend(*a), mend(*b)], outcome(a, b), {("A",): outcome(b)}, most=1)
    assert [row["proved"] for row in told.rows] == ["yes", "not tried"]


def test_changes_survive_their_way_through_a_table():
    rows = [mend("A", "leaks")]
    assert rows[0]["change"] == changes_text(
        [PlanChange("drawn_ponds", "A", {"sill_width_m": 1.0})]
    )


def test_what_was_drawn_is_left_out_last():
    a, b = ("A", "leaks"), ("B", "leaks")
    left_out = mend_row(
        "A", "leaks", "A", "without D", "", 0.0, 1.0, "leave D out",
        [PlanChange("drawn_drains", "D", removed=True)],
    )  # fmt: skip
    answers = {("D",): outcome(), ("A",): outcome(b), ("A", "B"): outcome()}
    told = advise([mend(*a), left_out, mend(*b)], outcome(a), answers)
    assert [row["text"] for row in told.rows if row["advised"]] == ["mend A; and mend B"]
    told = advise([left_out, mend(*b)], outcome(a), {("D",): outcome()})
    assert [row["text"] for row in told.rows if row["advised"]] == ["leave D out"]
