"""Careless designs on seeded grounds, mended by nothing but what the tool advises.

The share that comes to hold is a target of the project's own, not of a source.
"""

import importlib.util
import os
import re
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import rasterio

ROUNDS = 3
# a height below 0 over something is told as below it
BELOW_0 = re.compile(
    r"-\d[\d.]* ?(mm|m|m³|%)? (over|under|above|below|higher|lower|too|more|less|deep)"
)


def _sites():
    name = "careless_sites"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    sys.modules[name] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SITES = _sites()


def driven(seed, folder):
    return SITES.drive(SITES.Careless(seed).write(folder / str(seed)), ROUNDS)


def shortened(rounds):
    """Lines that a round shortened by more than a tenth with no mend that says so."""
    return [
        (name, was, after.lengths.get(name, 0.0))
        for before, after in pairwise(rounds)
        for name, was in before.lengths.items()
        if after.lengths.get(name, 0.0) < 0.9 * was
        and not any(
            said in text
            for text in before.applied
            for said in (
                f"begin {name} past the bank",
                f"leave {name} out",
                f"keep {name} on its line",
            )
        )
    ]


def checked(rounds):
    """Hold what must hold at every site; tell whether it came to hold water."""
    counts = [len(one.findings) for one in rounds]
    assert counts == sorted(counts, reverse=True), "a round brought findings"
    assert not shortened(rounds)
    unexplained = set(rounds[-1].findings) - set(rounds[-1].explained)
    assert not unexplained, "a finding has neither a mend nor a reason why not"
    assert [text for one in rounds for text in one.told if BELOW_0.search(text)] == []
    return not rounds[-1].broken


def test_a_careless_site_holds_after_one_round(tmp_path):
    """A swale off level in a valley, led astray, at 0.5 m: the least of the seeded sites."""
    rounds = driven(3, tmp_path)
    assert rounds[0].broken
    assert checked(rounds)


@pytest.mark.slow
def test_findings_never_rise_and_most_sites_come_to_hold(tmp_path):
    holds = [checked(driven(seed, tmp_path)) for seed in range(8)]
    assert sum(holds) >= 7  # a floor; all held when it was written


def on_moraine(row, col):
    """Draw a design on a part of a moraine surveyed at 1 m."""
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as file:
        dem = file.read(1)[row : row + SITES.CELLS, col : col + SITES.CELLS]
    return SITES.Careless(1 + (row > 0), kind="surveyed", dem=dem.astype(np.float32))


@pytest.mark.slow
@pytest.mark.realdata
@pytest.mark.parametrize(("row", "col"), [(0, 260), (20, 140)])
def test_designs_on_surveyed_moraine_hold_after_one_round(tmp_path, row, col):
    """Ground between kettles, 17 to 21 % steep, at 1 m."""
    rounds = SITES.drive(on_moraine(row, col).write(tmp_path), ROUNDS)
    assert rounds[0].broken
    assert checked(rounds)
    assert len(rounds) == 2


@pytest.mark.slow
@pytest.mark.realdata
def test_a_pond_that_cuts_away_what_stands_above_it_is_named(tmp_path):
    """On ground of 40 to 56 %, a pond's slope reaches 5 m up into a swale along a fence."""
    told = SITES.Stages(on_moraine(200, 200).write(tmp_path)).run().told
    why = [text for text in told if "Pond is dug so deep into the slope" in text]
    assert len(why) == 1
    assert "% of Fence swale: draw Pond farther off" in why[0]


@pytest.mark.slow
@pytest.mark.xfail(
    strict=True,
    reason="not run through on one version: 32 of 39 sites held (32 to 71), and, partly with more"
    " mends, 36 of 40 (96 to 136): 86 % of them all, and 10 of 15 at cells of 5 m; of 6 that failed"
    " (20, 32, 34, 66, 67, 113) 4 hold with more mends still",
)
def test_nine_in_ten_of_two_hundred_sites_hold_after_three_rounds(tmp_path):
    holds = [checked(driven(seed, tmp_path)) for seed in range(200)]
    assert sum(holds) >= 180
