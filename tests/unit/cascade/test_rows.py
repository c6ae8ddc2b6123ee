"""Rows for layers and tables have the catalogue's columns and plain values."""

import numpy as np
import pytest

from brimline.cascade import assess, mends_for, route
from brimline.cascade.rows import (
    balance_row,
    drain_rows,
    element_rows,
    finding_rows,
    mend_rows,
    overflow_result_rows,
    overflow_rows,
    result_rows,
    series_columns,
)
from brimline.elements import Sill
from brimline.layers import layer, table

ADDED_LATER = {
    "flag", "notes", "drawn", "length_m", "mend_id", "safe", "change",
    "proved", "advised", "presumes", "clears", "brings", "cut_m3", "fill_m3", "cost",
}  # fmt: skip


@pytest.fixture
def routed(hillside, storm):
    return route(hillside, storm)


def declared(item):
    return {column.name: column for column in item.columns if column.name not in ADDED_LATER}


def check_rows(rows, item):
    columns = declared(item)
    kinds = {"text": str, "float": float, "int": int, "bool": bool}
    assert rows
    for row in rows:
        assert set(row) == set(columns)
        for name, value in row.items():
            column = columns[name]
            if value is None:
                assert not column.required, name
                continue
            assert isinstance(value, kinds[column.dtype]), name
            assert column.minimum is None or value >= column.minimum - 1e-9, (name, value)
            assert not column.values or value in column.values, (name, value)


def test_layers_and_tables_get_their_columns(routed, hillside):
    check_rows(element_rows(hillside, [routed]), layer("elements"))
    check_rows(overflow_rows(hillside, [routed]), layer("overflows"))
    check_rows(result_rows(routed), table("storm_results"))
    check_rows(overflow_result_rows(routed), table("overflow_results"))
    check_rows(drain_rows(routed), table("drain_results"))
    check_rows([balance_row(routed)], table("storm_balance"))


def test_findings_and_mends_get_their_columns(hillside, storm):
    old = hillside.links[5]
    broken = hillside.with_link(old, type(old)(old.from_id, old.to_id, Sill(113.0, 0.05)))
    routed, findings = assess(broken, storm)
    check_rows(finding_rows(findings, "design storm"), table("cascade_findings"))
    check_rows(mend_rows(mends_for(routed, findings, most=1)), table("cascade_mends"))


def test_series_are_one_element_after_another(routed, hillside):
    columns = series_columns(routed)
    assert set(columns) == set(declared(table("storm_series")))
    steps = routed.series.edges_s.size - 1
    pond = columns["element_id"] == "pond"
    assert pond.sum() == steps
    assert columns["level_m"][pond] == pytest.approx(routed.series.level_m[1:, routed.at("pond")])
    lengths = np.diff(routed.series.edges_s)
    sums = routed.elements
    left = lengths @ columns["outflow_m3_s"][pond]
    assert left == pytest.approx(sums.spilled_m3[routed.at("pond")])


def test_series_that_were_not_kept_are_refused(hillside, storm):
    with pytest.raises(ValueError, match="not kept"):
        series_columns(route(hillside, storm, keep_series=False))


def test_the_worst_storm_counts(hillside, storm):
    small, large = route(hillside, storm.scaled(0.3)), route(hillside, storm)
    rows = {row["element_id"]: row for row in element_rows(hillside, [small, large])}
    at = large.at("swale-2")
    assert rows["swale-2"]["peak_level_m"] == pytest.approx(large.elements.peak_level_m[at])
    assert rows["pond"]["drawdown_h"] is None
    assert element_rows(hillside, [])[0]["peak_level_m"] is None


def test_water_over_a_brim_has_a_row(hillside, storm):
    flooded = route(hillside, storm.scaled(30.0))
    words = {row["outlet"] for row in overflow_result_rows(flooded)}
    assert words == {"drain", "sill", "pipe", "orifice", "brim"}
    assert "brim" not in {row["outlet"] for row in overflow_result_rows(route(hillside, storm))}


def test_preference_follows_level(hillside, routed):
    rows = [row for row in overflow_rows(hillside, [routed]) if row["from_id"] == "pond"]
    order = {row["outlet"]: row["preference"] for row in rows}
    assert order == {"pipe": 1, "sill": 2}
