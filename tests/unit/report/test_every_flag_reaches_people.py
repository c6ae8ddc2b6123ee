"""Each flag of the catalogue, on a row, is told in the report, the map page and the run's list.

That each is raised by what it warns of is tested where it is raised; here is seen that none that is
raised can be lost on the way to a person, and that it goes with its row.
"""

import html
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

import brimline
from brimline.layers import FLAGS, layer
from brimline.layers.flags import danger, needs_look
from brimline.report import flagged
from brimline.report.map_data import map_data
from brimline.report.page import report_html


def _results(made_results, codes):
    """The run with one element a flag, each called by its flag."""
    frame = made_results.frames["elements"]
    frame = frame.iloc[[0] * max(len(codes), 1)].reset_index(drop=True)
    frame["element_id"] = [f"the one of {code}" for code in codes] or ["sound"]
    frame["flag"] = list(codes) or [""]
    frame = frame.set_geometry([shapely.Point(n, n) for n in range(len(frame))], crs=frame.crs)
    return replace(made_results, frames={"elements": frame})


@pytest.fixture(scope="module")
def page(made_results):
    return html.unescape(report_html(_results(made_results, list(FLAGS)), plates=()))


@pytest.mark.parametrize("code", FLAGS)
def test_a_flag_is_told_with_its_row_its_meaning_and_its_mend(page, code):
    assert f"the one of {code}" in page
    assert FLAGS[code].meaning in page
    assert FLAGS[code].mend in page


def test_flags_part_into_what_needs_a_person_and_what_is_only_told(made_results):
    told = flagged(_results(made_results, list(FLAGS)))
    assert [one.code for one in told] == list(FLAGS)
    assert all(one.rows == (f"the one of {one.code}",) for one in told)
    assert all((one.severity == "look") == needs_look([one.code]) for one in told)


def test_the_map_page_carries_every_flag_and_its_words(made_results):
    data = str(map_data(_results(made_results, list(FLAGS))))
    assert all(f"the one of {code}" in data and repr(FLAGS[code].mend)[1:-1] in data
               for code in FLAGS)  # fmt: skip


def test_without_flags_none_is_told(made_results):
    assert flagged(_results(made_results, [])) == ()


def test_every_flag_is_raised_somewhere_and_no_other():
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for path in Path(brimline.__file__).parent.rglob("*.py")
        if path.name != "flags.py"
    )
    never = [flag for flag in FLAGS if f'"{flag}"' not in code]
    assert never == []
    assert layer("elements").column("flag")
    assert all(danger(code) >= 0 for code in FLAGS)
