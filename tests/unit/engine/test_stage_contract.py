"""A stage gets what it declares, gives what it declares, and changes nothing of others."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from brimline.engine import Given, Stage
from brimline.errors import InputError, InternalError, Problem, Severity

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
        lambda g: g.params,
        lambda g: g.source("survey"),
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
        site.run((toys["READ"], replace(toys["LEVEL"], table="none")))


def test_a_source_left_out_is_none(site, toys):
    def curious(g, report):
        assert g.source("extra") is None
        return toys["run_read"](g, report)

    assert site.run((replace(toys["READ"], run=curious),)).ran == ("read",)
