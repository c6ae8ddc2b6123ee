"""A shift of the whole as-built survey: seen at the benchmark, on free ground, or not at all."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from brimline.as_built import Asked, FromPoints, Tolerances, checked, off_alike, shift_of_points

MARK = ("Nail", 130.0)


def points(off_m, count=12, noise_m=0.01):
    """Points on untouched ground, 20 m apart, all off by the same."""
    change = off_m + np.random.default_rng(2).normal(0, noise_m, count)
    x = 20.0 * np.arange(count)
    nothing = ("",) * count
    return FromPoints(x, np.zeros(count), change, np.full(count, 100.0), nothing, nothing, nothing,
                      {}, 0.5)  # fmt: skip


def shift(found, names=(), levels=(), mark=None):
    surveyed = SimpleNamespace(name=tuple(names), level_m=np.array(levels, dtype=float))
    free = np.ones(len(found.x), dtype=bool)
    return shift_of_points(
        found, free, surveyed, mark, sigma_m=0.1, rmse_m=0.01, correlation_m=10.0
    )


def test_no_shift_is_none():
    assert shift(points(0.0)).told == ""


def test_free_ground_shows_a_shift_that_its_scatter_does_not_explain():
    found = shift(points(0.4))
    assert found.mean_m == pytest.approx(0.4, abs=0.01)
    assert "too high on 12 points on ground that nobody touched" in found.told
    assert "another height reference" in found.told
    # three standard errors of twelve points with the older survey's 0.10 m: 0.087 m
    assert shift(points(0.08)).told == ""


def test_a_benchmark_has_the_last_word():
    right = shift(points(0.4), ["nail"], [130.005], MARK)
    assert (right.told, right.by) == ("", "benchmark")  # the older survey is off, not this one
    wrong = shift(points(0.0), ["Nail"], [130.25], MARK)
    assert wrong.shift_m == pytest.approx(0.25)
    assert "benchmark Nail 0.250 m too high" in wrong.told


def test_ground_that_scatters_by_more_than_both_surveys_err_is_told():
    assert shift(points(0.0, noise_m=0.1)).scatter == ""
    told = shift(points(0.0, count=30, noise_m=0.3), ["nail"], [130.0], MARK).scatter
    assert "30 points on ground that nobody touched scatter by 0." in told
    assert "are said to err by 0.100 m" in told
    # chance tells as much of ground that scatters as stated once in a hundred surveys
    rng = np.random.default_rng(5)
    found = points(0.0, count=30)
    wrong = sum(
        shift(replace(found, change_m=rng.normal(0, 0.1, 30))).scatter != "" for _ in range(500)
    )
    assert wrong <= 15


def test_few_points_tell_nothing():
    assert shift(points(0.4, count=4)).told == ""


def test_points_close_together_count_as_one():
    found = points(0.25)
    near = FromPoints(found.x / 100, found.y, found.change_m, found.design_m, found.name,
                      found.role, found.owner, {}, 0.5)  # fmt: skip
    assert shift(found).told != ""
    assert shift(near).told == ""


def checks(differences):
    asked = Asked("A", "A-F01", "floor", 0.0, 0.0, 0.0, 100.0)
    return [checked(asked, off, Tolerances()) for off in differences]


def test_levels_that_are_all_off_alike_are_told_and_others_are_not():
    rng = np.random.default_rng(4)
    assert "0.3" in off_alike(checks(0.3 + rng.normal(0, 0.01, 20)))
    assert "too low" in off_alike(checks(-0.3 + rng.normal(0, 0.01, 20)))
    assert off_alike(checks(rng.normal(0.0, 0.01, 20))) == ""
    assert off_alike(checks(0.3 + rng.normal(0, 0.2, 20))) == ""
    assert off_alike(checks([0.3] * 5 + [math.nan] * 20)) == ""
