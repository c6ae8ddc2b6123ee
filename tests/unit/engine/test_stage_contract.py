"""A stage gets what it declares, gives what it declares, and changes nothing of others."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from brimline.engine import Given, Stage
from brimline.errors import InputError, InternalError, Problem, Severity
from brimline.grid import Grid

VALUES = {
    "dem": np.zeros((2, 2), dtype=np.float32),
    "rows": pd.DataFrame({"a": [1, 2]}),
    "figures": {"list": [1, 2]},
    "grid": {"rows": 2, "cols": 2, "cell_m": 0.5, "west_m": 1.0, "north_m": 2.0, "crs": "x"},
}


def given(**declared):
    options = {"needs": (), "makes": (), "optional_needs": ()} | declared
    present = options.pop("present", ())
    stage = Stage("toy", 1, "Toy", run=lambda _given, _report: {}, **options)
    return Given(stage, VALUES.__getitem__, present=present)


@pytest.mark.parametrize(
    "access",
    [
        lambda g: g.raster("dem"),
        lambda g: g.frame("rows"),
        lambda g: g.table("rows"),
        lambda g: g.facts("figures"),
        lambda g: g.has("dem"),
        lambda g: g.grid,
        lambda g: g.value("size", Grid),
        lambda g: g.params("swell", dict),
        lambda g: g.source("survey", str),
    ],
)
def test_what_is_not_declared_is_refused(access):
    with pytest.raises(InternalError, match="stage toy"):
        access(given())


def test_an_optional_need_is_given_only_where_it_is_made():
    absent = given(optional_needs=("dem",))
    assert not absent.has("dem")
    with pytest.raises(InternalError):
        absent.raster("dem")
    there = given(optional_needs=("dem",), present=("dem",))
    assert there.has("dem")
    assert there.raster("dem").shape == (2, 2)


def test_what_is_given_cannot_be_changed_for_others():
    g = given(needs=("dem", "rows", "figures"))
    with pytest.raises(ValueError, match="read-only"):
        g.raster("dem")[0, 0] = 1
    rows = g.table("rows")
    rows.loc[0, "a"] = 9
    g.facts("figures")["list"].append(3)
    assert g.table("rows")["a"].tolist() == [1, 2]
    assert g.facts("figures") == {"list": [1, 2]}
    assert VALUES["dem"].flags.writeable


def test_the_grid_comes_back_as_it_was():
    grid = given(needs=("grid",)).grid
    assert (grid.shape, grid.cell_m, grid.bounds) == ((2, 2), 0.5, (1.0, 1.0, 2.0, 2.0))


def test_a_stage_near_the_site_is_given_its_block_alone(monkeypatch):
    ground = np.arange(20, dtype=np.float32).reshape(4, 5)
    monkeypatch.setitem(VALUES, "dem", ground)
    monkeypatch.setitem(VALUES, "near", {"row": 1, "col": 2, "rows": 2, "cols": 2})
    whole = {"rows": 4, "cols": 5, "cell_m": 0.5, "west_m": 1.0, "north_m": 2.0, "crs": "x"}
    monkeypatch.setitem(VALUES, "grid", whole)
    g = given(needs=("dem", "grid", "near"), near=True)
    assert (g.grid.shape, g.grid.bounds) == ((2, 2), (2.0, 0.5, 3.0, 1.5))
    assert g.raster("dem").tolist() == [[7, 8], [12, 13]]
    assert not g.raster("dem").flags.writeable
    assert (g.raster("dem", around=1) == ground[:, 1:]).all()
    assert g.block(1).shape == (4, 4)
    assert g.whole_grid.shape == (4, 5)


@pytest.mark.parametrize(
    ("made", "message"),
    [
        ({}, "must make sum, made nothing"),
        ({"sum": {}, "more": {}}, "must make sum, made more, sum"),
        ({"sum": 3.0}, "dict of plain values: a float"),
        ({"sum": {"a": np.float32(1)}}, "dict of plain values"),
        ({"sum": {"a": float("nan")}}, "dict of plain values"),
    ],
)
def test_a_stage_makes_exactly_what_it_declares(site, toys, made, message):
    stages = (*toys["STAGES"][1:], replace(toys["SUM"], run=lambda _given, _report: made))
    with pytest.raises(InternalError, match=message):
        site.run(stages)
    assert site.run().ran == ("sum",)  # nothing wrong was kept


@pytest.mark.parametrize(
    "array", [np.zeros((2, 2)), np.zeros((3, 2), dtype=np.float32), [[0.0, 0.0]]]
)
def test_a_raster_has_the_declared_type_and_the_grid_s_shape(site, toys, array):
    wrong = replace(toys["LEVEL"], run=lambda _given, _report: {"whole": array})
    with pytest.raises(InternalError, match="declared float32 on a grid of"):
        site.run((toys["READ"], wrong))


def test_values_pass_the_checker_that_is_handed_in(site, toys):
    wrong = replace(
        toys["ROWS"], run=lambda _given, _report: {"rows": pd.DataFrame({"other": [1.0]})}
    )
    with pytest.raises(InternalError, match="rows has columns"):
        site.run((toys["READ"], wrong))


def test_a_problem_that_is_an_error_ends_the_run(site, toys):
    def strict(_given, report):
        report.problem(Problem(Severity.ERROR, "no water", "dig", "survey"))

    with pytest.raises(InputError, match="no water Mend: dig"):
        site.run((*toys["STAGES"][1:], replace(toys["SUM"], run=strict)))


def test_a_table_that_is_not_there_is_our_fault(site, toys):
    with pytest.raises(InternalError, match="reads table none"):
        site.run((toys["READ"], replace(toys["LEVEL"], tables=("none",))))


def test_a_source_left_out_is_none(site, toys):
    def curious(g, report):
        assert g.source("extra", str) is None
        return toys["run_read"](g, report)

    assert site.run((replace(toys["READ"], run=curious),)).ran == ("read",)


def test_a_typed_value_goes_from_stage_to_stage_and_is_reused(site, toys, log):
    def size(g, _report):
        return {"size": g.grid}

    def use(g, _report):
        return {"used": {"rows": g.value("size", Grid).rows}}

    made = Stage("size", 1, "Size", ("grid",), ("size",), size, typed={"size": Grid})
    used = Stage("use", 1, "Use", ("size",), ("used",), use)
    stages = (*toys["STAGES"], made, used)
    first = site.run(stages)
    assert first.value("used") == {"rows": 2}
    assert first.value("size") == Grid(2, 2, 1.0)
    assert sorted(first.fact_names) == ["grid", "sum", "used"]
    again = site.run(stages)
    assert again.ran == ()
    assert again.outputs == first.outputs
    same = replace(made, version=2)  # runs again to the same bytes, so the chain ends there
    assert site.run((*toys["STAGES"], same, used)).ran == ("size",)


def test_a_typed_value_is_of_the_declared_class(site, toys):
    wrong = replace(toys["SUM"], typed={"sum": Grid})
    with pytest.raises(InternalError, match="made sum as a dict, declared Grid"):
        site.run((*toys["STAGES"][1:], wrong))
    taken = replace(
        toys["LEVEL"],
        version=2,
        run=lambda g, _report: g.value("grid", Grid),  # a fact, not the class
    )
    with pytest.raises(InternalError, match="takes grid for a Grid, it is a dict"):
        site.run((toys["READ"], taken))


def test_a_typed_value_is_made_and_no_layer():
    from brimline.engine import ordered

    stage = Stage("toy", 1, "Toy", (), ("grid",), lambda _g, _r: {}, typed={"other": Grid})
    with pytest.raises(InternalError, match="makes no typed value other"):
        ordered((stage,))


def test_a_stage_is_given_every_table_that_it_declares():
    stage = Stage("toy", 1, "Toy", (), (), lambda _g, _r: {}, tables=("a", "b"))
    g = Given(stage, VALUES.__getitem__, tables={"a": 1, "b": "two"})
    assert (g.params("a", int), g.params("b", str)) == (1, "two")
    with pytest.raises(InternalError, match="takes b for a int, it is a str"):
        g.params("b", int)
    with pytest.raises(InternalError, match="declares no table c"):
        g.params("c", int)
