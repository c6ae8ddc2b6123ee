"""An invented site of five toy stages, small enough to work out by hand.

``read`` (the person's file) -> ``level`` (whole metres) -> ``swell`` (times a parameter) ->
``sum``; ``rows`` hangs beside them. A process of its own can load this file with `runpy`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path  # noqa: TC003 - beside the other names that `runpy` gives out

import numpy as np
import pandas as pd
import pytest
from pydantic import BaseModel

from brimline.engine.digests import Digests, files_of
from brimline.engine.listener import Listener
from brimline.engine.run import RunInputs, Tools, execute
from brimline.engine.stage import Source, Stage, grid_facts
from brimline.engine.store import Store
from brimline.errors import InternalError, Problem, Severity
from brimline.grid import Grid
from brimline.io.values import value_bytes, value_of
from brimline.layers import Column, Raster, Table

CATALOGUE = {
    item.name: item
    for item in (
        Raster("ground", "float32", np.nan, "Ground", "As read."),
        Raster("whole", "float32", np.nan, "Whole", "Ground, whole metres.", published=False),
        Raster("swollen", "float64", np.nan, "Swollen", "Whole metres times a factor."),
        Table("rows", "Rows", "Mean of each row.", (Column("mean_m", "float", "Mean.", "m"),)),
    )
}


class Swell(BaseModel):
    factor: float = 2.0
    note: str = ""


class ToyCodec:
    version = "toy 1"

    def write(self, path, item, value, _grid):
        if isinstance(item, Raster):
            with path.open("wb") as file:
                np.save(file, value)
        else:
            value.to_parquet(path)

    def read(self, path, item):
        if isinstance(item, Raster):
            with path.open("rb") as file:
                return np.load(file)
        return pd.read_parquet(path)

    def write_value(self, path, value):
        path.write_bytes(value_bytes(value))

    def read_value(self, path):
        return value_of(path.read_bytes())


def check(item, value):
    if isinstance(item, Table) and list(value.columns) != [c.name for c in item.columns]:
        raise InternalError(f"{item.name} has columns {list(value.columns)}")


def run_read(given, report):
    numbers = np.loadtxt(given.source("survey", str), dtype=np.float32, ndmin=2)
    report.advanced(0.5, "half way")
    if numbers.max() > 90:
        report.problem(Problem(Severity.WARNING, "very high ground", source="survey"))
    return {"grid": grid_facts(Grid(*numbers.shape, 1.0)), "ground": numbers}


def run_level(given, _report):
    return {"whole": np.floor(given.raster("ground"))}


def run_swell(given, _report):
    return {
        "swollen": given.raster("whole").astype(np.float64) * given.params("swell", Swell).factor
    }


def run_sum(given, _report):
    total_m = float(given.raster("swollen").sum())
    return {"sum": {"total_m": total_m, "headline": {"total_m": total_m}}}


def run_rows(given, _report):
    return {"rows": pd.DataFrame({"mean_m": given.raster("ground").mean(axis=1, dtype=float)})}


READ = Stage(
    "read", 1, "Read the survey", (), ("grid", "ground"), run_read, sources=("survey", "extra")
)
LEVEL = Stage("level", 1, "Level", ("grid", "ground"), ("whole",), run_level)
SWELL = Stage("swell", 1, "Swell", ("grid", "whole"), ("swollen",), run_swell, tables=("swell",))
SUM = Stage("sum", 1, "Add up", ("swollen",), ("sum",), run_sum)
ROWS = Stage("rows", 1, "Rows", ("ground",), ("rows",), run_rows)
STAGES = (SUM, ROWS, SWELL, LEVEL, READ)  # not in their order, on purpose


@dataclass
class Log(Listener):
    """Keeps what it hears."""

    why: dict = field(default_factory=dict)
    problems: list = field(default_factory=list)
    finished_as: dict = field(default_factory=dict)
    finished_order: list = field(default_factory=list)
    notes: list = field(default_factory=list)

    def started(self, stage, why):
        self.why[stage.name] = why

    def advanced(self, stage, fraction, note):
        self.notes.append((stage.name, fraction, note))

    def problem(self, stage, problem):
        self.problems.append((stage.name, problem))

    def finished(self, stage, seconds, *, reused):
        assert seconds >= 0
        self.finished_order.append(stage.name)
        self.finished_as[stage.name] = "reused" if reused else "run"


class Site:
    """A folder with a survey, and all that a run of it takes."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.survey = folder / "survey.txt"
        self.swell = Swell()
        self.code = {}
        self.versions = {"numpy": "2.0"}
        self.catalogue = dict(CATALOGUE)
        self.store = Store(folder / ".brimline")
        self.clock_ns = 1_000_000_000
        self.write("1.25 2.5\n3.75 4.5\n")

    def write(self, text):
        self.survey.write_text(text)
        self.clock_ns += 1_000_000_000  # a file system's clock may be too coarse for a test
        os.utime(self.survey, ns=(self.clock_ns, self.clock_ns))

    @property
    def inputs(self):
        source = Source(str(self.survey), files_of(self.survey), {"layer": None})
        digests = Digests(self.store)
        return RunInputs({"swell": self.swell}, {"survey": source}, self.versions, digests)

    def run(self, stages=STAGES, store=None, listener=None, **options):
        code = lambda stage: self.code.get(stage.name, {"toys": "1"})  # noqa: E731
        tools = Tools(ToyCodec(), check, code, self.catalogue)
        return execute(stages, self.inputs, store or self.store, tools, listener, **options)


@pytest.fixture
def toys():
    """The names above, for tests that make stages of their own."""
    return globals()


@pytest.fixture
def site(tmp_path):
    return Site(tmp_path)


@pytest.fixture
def log():
    return Log()
