"""The report's first list: the worst first, ten lines at most, what repeats said once."""

from types import SimpleNamespace

import pandas as pd

from brimline.report.attention import first_lines


def results_with(rows):
    names = ("rank", "element_id", "code", "text", "mend", "why_none")
    table = pd.DataFrame(rows, columns=names)
    return SimpleNamespace(table=lambda _: table)


def test_what_repeats_is_one_line_and_each_ends_as_a_sentence():
    lines, left_out = first_lines(
        results_with(
            [
                (3, "Low pond", "shut", "its sill is shut", "lower it by 0.1 m", None),
                (1, "Upper swale", "over", "is overtopped", None, "none is known: Widen it."),
                (2, "Lower swale", "over", "is overtopped", None, "none is known: Widen it."),
            ]
        )
    )
    assert lines == (
        "Upper swale, Lower swale: is overtopped. None is known: Widen it.",
        "Low pond: its sill is shut. Lower it by 0.1 m.",
    )
    assert left_out == 0


def test_there_are_ten_lines_at_most_and_the_rest_is_counted():
    rows = [(n, f"Pond {n}", "over", f"spills by {n} m", "raise it", None) for n in range(14)]
    lines, left_out = first_lines(results_with(rows))
    assert len(lines) == 10
    assert left_out == 4
    assert lines[0].startswith("Pond 0:")


def test_without_advice_there_is_no_list():
    assert first_lines(SimpleNamespace(table=lambda _: None)) == ((), 0)
