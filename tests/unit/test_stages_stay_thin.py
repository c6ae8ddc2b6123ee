"""Stages hold layers in, domain calls, layers out: what is longer belongs in a domain room."""

from pathlib import Path

import pytest

import brimline

STAGES = sorted(Path(brimline.__file__).parent.joinpath("stages").glob("*.py"))
MOST = 105
# longer ones, and why; none may grow
LONGER = {
    "registry": (130, "a list"),
    "_frames": (140, "rows brought to their declaration, for all stages"),
    "_plan": (130, "what many stages are given, made once"),
    "advice": (200, "yet to be taken apart"),
    "_assess": (210, "yet to be taken apart"),
    "_follow": (150, "yet to be taken apart"),
    "certainty": (170, "yet to be taken apart"),
    "planting": (140, "six tables of one planting"),
    "sinks": (150, "yet to be taken apart"),
    "survey": (140, "four ways to read the elevation"),
    "audit": (140, "yet to be taken apart"),
}


@pytest.mark.parametrize("path", STAGES, ids=lambda path: path.stem)
def test_a_stage_stays_thin(path):
    most, _ = LONGER.get(path.stem, (MOST, ""))
    assert len(path.read_text(encoding="utf-8").splitlines()) <= most


def test_no_exception_outlives_its_reason():
    lengths = {path.stem: len(path.read_text(encoding="utf-8").splitlines()) for path in STAGES}
    assert [name for name in LONGER if lengths.get(name, 0) <= MOST and name != "registry"] == []
