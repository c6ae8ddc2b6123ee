"""Depth-duration-frequency tables as people bring them."""

import numpy as np
import pytest

from brimline.config import DesignStorm
from brimline.errors import InputError
from brimline.inputs.storms import storms_asked
from brimline.io.rainfall import depth_doubts, read_depth_table


def read(tmp_path, text):
    path = tmp_path / "rain.csv"
    path.write_text(text, encoding="utf-8")
    return read_depth_table(path)


def test_depths_in_millimetres_in_any_order(tmp_path):
    table = read(tmp_path, "duration_h,depth_mm_10y,depth_mm_2y\n24,90,60\n1,30,20\n")
    assert table.durations_h.tolist() == [1, 24]
    assert table.return_periods_y.tolist() == [2, 10]
    assert table.depths_mm.tolist() == [[20, 30], [60, 90]]


@pytest.mark.parametrize(("header", "row", "depth_mm"), [
    ("duration_min,10y", "30,12.5", 12.5), ("hours, depth_in_10yr", "0.5,1.0", 25.4),
    ("minutes,intensity_mm_per_h_10y", "30,40", 20.0), ("duration (h),T10", "0.5,9", 9.0),
])  # fmt: skip
def test_units_are_read_from_the_header(tmp_path, header, row, depth_mm):
    table = read(tmp_path, f"{header}\n{row}\n")
    assert table.durations_h[0] == 0.5
    np.testing.assert_allclose(table.depths_mm, [[depth_mm]])


@pytest.mark.parametrize(("text", "says"), [
    ("duration,10y\n1,20\n", "does not say the unit"),
    ("duration_h,ten\n1,20\n", "does not name a return period"),
    ("duration_h,10y\n1,wet\n", 'line 2: 10y: "wet" is not a number'),
    ("duration_h,2y,10y\n1,20,15\n", "falls with a longer return period"),
    ("duration_h\n1\n", "needs a row for each duration"),
])  # fmt: skip
def test_what_is_not_understood_is_named(tmp_path, text, says):
    with pytest.raises(InputError, match=says):
        read(tmp_path, text)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"none\.csv"):
        read_depth_table(tmp_path / "none.csv")


@pytest.mark.parametrize("text", ["duration_h,10y\n1,600\n", "duration_h,10y\n0.25,25\n15,2500\n"])
def test_more_rain_than_was_ever_measured_is_refused(tmp_path, text):
    """Jennings 1950: about 422 mm in the largest hour (value from memory)."""
    with pytest.raises(InputError, match="than was ever measured"):
        depth_doubts(read(tmp_path, text), "rain.csv")


def test_depths_that_look_like_inches_are_told_with_the_usual_range(tmp_path):
    (doubt,) = depth_doubts(read(tmp_path, "duration_h,depth_mm_10y\n1,1.2\n24,3.4\n"), "rain.csv")
    assert "only 1.2 mm in 1 h (10 years); usual are 4.0 to 422 mm" in doubt.message
    assert "inches" in doubt.mend


def test_usual_depths_raise_no_doubt(tmp_path):
    table = read(tmp_path, "duration_h,2y,100y\n0.25,12,27\n1,20,43\n24,56,124\n")
    assert depth_doubts(table, "rain.csv") == ()


@pytest.mark.parametrize(("text", "says"), [
    ("duration_h,depth_mm_10y\n1,1.2\n24,3.4\n", "usual are 4.0 to 422 mm"),
    ("duration_h,10y\n1,600\n24,2000\n", "than was ever measured"),
])  # fmt: skip
def test_a_storm_outside_the_table_does_not_hide_what_is_doubtful_of_it(tmp_path, text, says):
    with pytest.raises(InputError) as refused:
        storms_asked(DesignStorm(return_period_y=500), read(tmp_path, text), "rain.csv")
    told = [problem.message for problem in refused.value.problems]
    assert len(told) == 2
    assert says in told[0]
    assert "500" in told[1]
