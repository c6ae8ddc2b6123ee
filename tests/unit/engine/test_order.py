"""The order follows from what is made and needed; a wrong set of stages is told at once."""

import pytest

from brimline.engine.order import ordered, taken
from brimline.engine.stage import Stage
from brimline.errors import InputError, InternalError
from brimline.layers import Raster


def stage(name, needs="", makes="", optional=""):
    return Stage(
        name,
        1,
        name,
        tuple(needs.split()),
        tuple(makes.split()),
        lambda _given, _report: {},
        optional_needs=tuple(optional.split()),
    )


def names(*args, **kwargs):
    return [s.name for s in ordered(*args, **kwargs)]


def test_makers_come_first_and_the_declared_order_decides_the_rest():
    stages = [
        stage("d", "b c", "d"),
        stage("c", "a", "c"),
        stage("b", "a", "b"),
        stage("a", "", "a"),
    ]
    assert names(stages) == ["a", "c", "b", "d"]


def test_until_takes_a_stage_and_all_it_builds_on():
    stages = [
        stage("read", "", "a"),
        stage("left", "a", "b"),
        stage("right", "a", "c"),
        stage("end", "b", "d", optional="c"),
    ]
    assert names(stages, "left") == ["read", "left"]
    assert names(stages, "end") == ["read", "left", "right", "end"]
    assert names(stages, "read") == ["read"]


def test_until_a_stage_without_a_place_takes_what_finds_the_grid_too():
    stages = [
        stage("survey", "", "grid dem"),
        stage("flow", "dem", "b"),
        stage("storm", "", "rain"),
    ]
    assert names(stages, "storm") == ["survey", "storm"]


def test_until_an_unknown_stage_names_the_nearest():
    with pytest.raises(InputError, match="did you mean terrain"):
        ordered([stage("terrain", "", "a"), stage("flow", "a", "b")], "terain")


def test_an_optional_need_counts_only_where_it_is_made():
    end = stage("end", "a", "z", optional="b")
    assert taken(end, ["a"]) == ("a",)
    assert names([end, stage("a", "", "a")]) == ["a", "end"]
    assert names([end, stage("b", "", "b"), stage("a", "", "a")]) == ["b", "a", "end"]


@pytest.mark.parametrize(
    ("stages", "message"),
    [
        ([stage("a", "x", "a")], "stage a needs x, which no stage makes"),
        ([stage("a", "", "x"), stage("b", "", "x")], "x is made by stages a and b"),
        ([stage("a", "", "x"), stage("a", "", "y")], "two stages are called a"),
        ([stage("a", "y", "x"), stage("b", "x", "y")], "need each other: "),
        ([stage("a", "", "dem")], "makes raster dem and so must need the fact grid"),
    ],
)
def test_a_wrong_set_of_stages_is_our_fault(stages, message):
    catalogue = {"dem": Raster("dem", "float32", None, "DEM", "Ground.")}
    with pytest.raises(InternalError, match=message):
        ordered(stages, catalogue=catalogue)
