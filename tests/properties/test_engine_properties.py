"""What holds for every sequence of runs, changes and damage."""

from __future__ import annotations

import os
import runpy
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from brimline.engine.store import Store

TOYS = runpy.run_path(str(Path(__file__).parents[1] / "unit" / "engine" / "conftest.py"))

NAMES = st.sampled_from(["read", "rows", "level", "swell", "sum"])
SURVEYS = st.sampled_from(["1 2\n3 4\n", "1.5 2\n3 4\n", "9 9\n", "7\n", "95 1\n"])
WHICH = st.integers(0, 1000)
FACTORS = st.sampled_from([0.5, 1.0, 2.0])


class AnySequence(RuleBasedStateMachine):
    """Change a site, run it, harm its store, in any order."""

    @initialize()
    def begin(self):
        self.folder = tempfile.TemporaryDirectory()
        self.site = TOYS["Site"](Path(self.folder.name))

    @rule(text=SURVEYS)
    def survey_again(self, text):
        self.site.write(text)

    @rule(factor=FACTORS)
    def change_parameter(self, factor):
        self.site.swell.factor = factor

    @rule(name=NAMES, edition=st.sampled_from(["1", "2"]))
    def change_code(self, name, edition):
        self.site.code[name] = {"toys": edition}

    @rule(name=NAMES)
    def run_until(self, name):
        self.site.run(until=name)

    @rule(limit=st.integers(0, 2000), grace_s=st.sampled_from([0.0, 3600.0]))
    def prune(self, limit, grace_s):
        self.site.store.prune(limit, grace_s=grace_s)

    @rule(which=WHICH)
    def lose_a_file(self, which):
        if files := self.files("objects", "results", "notes"):
            files[which % len(files)].unlink()

    @rule(which=WHICH, place=st.integers(0, 10_000))
    def damage_a_file(self, which, place):
        if files := self.files("objects", "results", "notes"):
            path = files[which % len(files)]
            content = bytearray(path.read_bytes())
            content[place % len(content)] ^= 0xFF
            times = path.stat()
            path.write_bytes(content)
            os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))

    @rule()
    def a_run_gives_what_a_clean_run_gives(self):
        """A run over whatever store was left has the results of a run over an empty store."""
        with tempfile.TemporaryDirectory() as empty:
            clean = self.site.run(store=Store(Path(empty)))
            found = self.site.run()
            assert found.outputs == clean.outputs
            for name in clean.outputs:
                assert str(found.value(name)) == str(clean.value(name))
            assert [done.problems for done in found.stages] == [
                done.problems for done in clean.stages
            ]

    @rule()
    def a_second_run_reuses_everything(self):
        """Straight after a verified run, nothing runs, however closely it is looked at."""
        self.site.run(verify=True)
        assert self.site.run().ran == ()
        assert self.site.run(verify=True).ran == ()

    @invariant()
    def nothing_half_written_is_left(self):
        """Between runs, the folder of partial files is empty."""
        if hasattr(self, "site"):
            assert self.files("partial") == []

    def files(self, *folders):
        root = self.site.store.folder
        found = [p for folder in folders for p in (root / folder).rglob("*") if p.is_file()]
        return sorted(found)

    def teardown(self):
        if hasattr(self, "folder"):
            self.folder.cleanup()


AnySequence.TestCase.settings = settings(
    max_examples=80,
    stateful_step_count=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
test_any_sequence_of_changes_and_damage = AnySequence.TestCase
