"""The page of the survey: what it says is decided follows from the run's own figures."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from brimline.report.survey_page import answers, survey_html
from brimline.terrain.support import SurveyPower

if TYPE_CHECKING:
    from brimline.report import Results

STEP = {
    "between": "flight lines", "one": "7", "other": "9", "cells": 812, "step_m": 0.15,
    "scatter_m": 0.04, "left_m": None,
}  # fmt: skip


def bent(results: Results, *, error_m: float = 0.1, lacks: str = "", **survey: Any) -> Results:
    parameters = dict(results.manifest["parameters"]) | {
        "works": {"swale_depth_m": 0.4},
        "swales": {"min_spacing_m": 8.0},
        "contours": {"interval_m": 1.0},
        "conditioning": {"hollow_depth_m": 0.15},
        "survey": {"source": "County <flight>", "date": "", "accuracy_class": "QL1"},
    }
    facts = dict(results.facts)
    facts["survey"] = {**facts["survey"], **survey}
    facts["support"] = {**facts["support"], "error_m": error_m, "lacks": lacks}
    return dataclasses.replace(
        results, facts=facts, manifest={**results.manifest, "parameters": parameters}
    )


def verdicts(results: Results) -> dict[str, str]:
    support = results.facts["support"]
    power = SurveyPower(**{name: support[name] for name in SurveyPower.__slots__})
    return {one.question: one.verdict for one in answers(results, power)}


LINE, SILL = "Where a swale's line runs", "The level that a sill, a floor or a stake is set to"
HOLLOW = "Whether a small hollow is one"


@pytest.mark.parametrize(
    ("error_m", "line", "sill", "contours", "hollow"),
    [
        # 1.96 x 0.009 = 0.018 m; 3.29 x 0.009 = 0.03 m; 1.96 x sqrt 2 x 0.009 = 0.025 m
        (0.009, "yes", "yes", "yes", "yes"),
        # 0.196 m of a depth of 0.4 m; every 0.33 m; 0.277 m
        (0.1, "yes", "no", "yes", "with care"),
        # 0.39 m of 0.4 m, and 0.2 m is under two thirds of it; every 0.66 m; 0.55 m
        (0.2, "with care", "no", "yes", "no"),
        # 0.3 m is more than two thirds of 0.4 m; every 0.99 m
        (0.3, "no", "no", "yes", "no"),
        (0.5, "no", "no", "with care", "no"),
    ],
)
def test_what_is_decided_by_how_far_levels_err(
    make_results: Any, error_m: float, line: str, sill: str, contours: str, hollow: str
) -> None:
    told = verdicts(bent(make_results(frames={"boundary"}), error_m=error_m))
    assert (told[LINE], told[SILL]) == (line, sill)
    assert (told["Contours"], told[HOLLOW]) == (contours, hollow)


def test_catchments_are_decided_by_their_ranges_and_not_where_they_leave_the_data(
    made_results: Results,
) -> None:
    told = verdicts(made_results)
    rows = made_results.frames["intakes"].set_index("name")
    for name, row in rows.iterrows():
        off = max(row.area_high_m2 - row.area_m2, row.area_m2 - row.area_low_m2) / row.area_m2
        assert told[f"What drains to {name}"] == ("no" if row.edge_limited else "yes")
        assert row.edge_limited or off <= 0.2


def test_a_step_is_told_before_and_after_it_is_levelled(made_results: Results) -> None:
    seam = "Levels on either side of a seam"
    assert seam not in verdicts(made_results)
    as_is, off = (
        bent(made_results, steps=[STEP]),
        bent(made_results, steps=[STEP | {"left_m": 0.01}]),
    )
    assert (verdicts(as_is)[seam], verdicts(off)[seam]) == ("with care", "yes")
    assert "They stand in the ground as they are" in survey_html(as_is)
    html = survey_html(off)
    assert "+0.15\u00a0m" in html
    assert "+0.01\u00a0m" in html


def test_source_date_files_and_units_are_named(make_results: Any) -> None:
    html = survey_html(bent(make_results("us")))
    assert "County &lt;flight&gt;" in html
    assert "2030-11-02, by the date in the files" in html
    assert "terrain.tif" in html
    assert "0.33\u00a0ft" in html  # 0.1 m
    unsaid = survey_html(bent(make_results(), first_day="", last_day=""))
    assert "not told by the files" in unsaid


def test_a_survey_that_carries_no_works_says_so_first(made_results: Results) -> None:
    html = survey_html(bent(made_results, error_m=0.5, lacks="levels err by 0.50 m"))
    main = html[html.index("<main") :]
    assert main.index("This survey cannot carry works: levels err by 0.50 m") < main.index("<h2")


def test_voids_of_a_cloud_are_counted_and_drawn(made_results: Results) -> None:
    points = np.ones(made_results.rasters["elevation"].shape, np.int32)
    points[40:60, 50:90] = 0
    shown = dataclasses.replace(
        bent(made_results, kind="points", points=90_000, ground_points=76_752),
        rasters={**made_results.rasters, "ground_points": points},
    )
    measured = {"widest_void_m": 20.0, "worst_error_m": 0.3, "without_points_share": 0.04}
    shown = dataclasses.replace(shown, facts={**shown.facts, "measured": measured})
    assert verdicts(shown)["Ground between the points"] == "no"  # 1.96 x 0.3 m of 0.4 m
    html = survey_html(shown)
    assert "1.0\u00a0/m²" in html
    assert "4\u00a0% was drawn between points" in html  # 800 of 19200 cells


def test_without_a_survey_there_is_no_page(made_results: Results) -> None:
    assert survey_html(dataclasses.replace(made_results, facts={})) == ""
