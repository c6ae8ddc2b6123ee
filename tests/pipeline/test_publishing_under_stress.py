"""Killed, out of disk or forbidden to write: the run folder is the old one or the new one."""

import ctypes
import hashlib
import json
import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

import numpy as np
import pyogrio
import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals, limits and rights")

INTERVALS = (1.0, 2.5)  # what tells the old result from the new one
KILLS = 12


@pytest.fixture
def ready(site):
    """A site with a published result, run from processes of its own."""
    site.tables, site.draft = f"[contours]\ninterval_m = {INTERVALS[0]}\n", False
    done = site.run("--until", "contours")
    assert done.code == 0, done.err
    return site


def command(site, interval):
    site.tables = f"[contours]\ninterval_m = {interval}\n[keep]\nruns = 0\n"
    return [sys.executable, "-m", "brimline", "run", str(site.write()), "--until", "contours"]


def finish(site, interval, **how):
    return subprocess.run(
        command(site, interval), capture_output=True, text=True, check=False, **how
    )


def interval_of(folder):
    """The interval of a run folder, after checking that all of it tells the same one."""
    said = json.loads((folder / "run.json").read_text())["parameters"]["contours"]["interval_m"]
    levels = np.unique(pyogrio.read_dataframe(folder / "site.gpkg", layer="contours")["level_m"])
    assert len(levels) > 2
    np.testing.assert_allclose(np.diff(levels), said)
    assert f"{said:g}" in (folder / "report.html").read_text()
    return said


def digest(folder):
    every = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in every}  # fmt: skip


def beside(site):
    return sorted(path.name for path in site.results.parent.iterdir())


@pytest.mark.slow
def test_killed_at_any_moment_the_folder_is_old_or_new_and_the_next_run_recovers(ready):
    rng = random.Random(20)
    began = time.perf_counter()
    assert finish(ready, INTERVALS[1]).returncode == 0
    whole_s = time.perf_counter() - began
    seen = []
    for turn in range(KILLS):
        old = interval_of(ready.results)
        new = round(1.1 + 0.1 * turn, 1)  # one that no run has had, so that pieces must be made
        child = subprocess.Popen(
            command(ready, new), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        # half of them late, where the run folder is written and exchanged
        share = rng.uniform(0.05, 1.0) if turn % 2 else rng.uniform(0.7, 1.1)
        try:
            child.wait(share * whole_s)
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL)
        code = child.wait()
        found = interval_of(ready.results)
        assert found in (old, new)
        assert found == new or code == -signal.SIGKILL
        seen.append(code)
    assert seen.count(-signal.SIGKILL) >= KILLS / 3  # otherwise the moments were badly chosen
    wanted = INTERVALS[0]
    last = finish(ready, wanted)
    assert last.returncode == 0, last.stderr
    assert interval_of(ready.results) == wanted
    assert beside(ready) == ["site"]
    fresh = ready.folder / "clean"
    shutil.rmtree(ready.folder / ".brimline")
    clean = subprocess.run(
        [*command(ready, wanted), "--out", str(fresh)], capture_output=True, check=False
    )
    assert clean.returncode == 0
    recovered, made = (json.loads((f / "run.json").read_text()) for f in (ready.results, fresh))
    assert recovered["outputs"] == made["outputs"]


@pytest.mark.parametrize("most_bytes", [2_000, 60_000, 150_000])
def test_a_full_disk_is_told_and_leaves_the_old_result_whole(ready, most_bytes):
    before = digest(ready.results)

    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    failed = finish(ready, INTERVALS[1], preexec_fn=limited)
    assert failed.returncode == 2, failed.stderr
    assert "disk is full" in failed.stderr or "Is the disk full?" in failed.stderr
    assert "untouched" in failed.stderr
    assert digest(ready.results) == before
    assert beside(ready) == ["site"]
    assert finish(ready, INTERVALS[1]).returncode == 0
    assert interval_of(ready.results) == INTERVALS[1]


def without_override():
    """Take from root, before the command starts, the right to write where it may not."""
    if os.geteuid() == 0:
        cap_dac_override, drop_from_bounding_set = 1, 24  # linux/capability.h, linux/prctl.h
        assert ctypes.CDLL(None).prctl(drop_from_bounding_set, cap_dac_override) == 0


def forbidden(site, folder):
    """Run where nothing can be made in `folder`."""
    call = command(site, INTERVALS[1])
    folder.chmod(0o555)
    try:
        return subprocess.run(
            call, capture_output=True, text=True, check=False, preexec_fn=without_override
        )
    finally:
        folder.chmod(0o755)


def test_a_site_that_cannot_be_written_is_told(ready):
    before = digest(ready.results)
    failed = forbidden(ready, ready.folder / ".brimline" / "partial")
    assert failed.returncode == 2, failed.stderr
    assert "cannot be written" in failed.stderr
    assert "permissions" in failed.stderr
    assert digest(ready.results) == before


def test_a_run_folder_that_cannot_be_replaced_is_told(ready):
    before = digest(ready.results)
    runs = ready.results.parent
    failed = forbidden(ready, runs)
    assert failed.returncode == 2, failed.stderr
    assert "may not be written to" in failed.stderr
    assert digest(ready.results) == before


def test_a_viewer_goes_on_reading_the_geopackage_it_opened(ready):
    with sqlite3.connect(f"file:{ready.results / 'site.gpkg'}?mode=ro", uri=True) as viewer:
        cursor = viewer.execute("select level_m from contours order by level_m")
        first = cursor.fetchone()
        done = finish(ready, INTERVALS[1])
        assert done.returncode == 0, done.stderr
        rest = cursor.fetchall()
        again = viewer.execute("select level_m from contours order by level_m").fetchall()
    viewer.close()
    assert again == [first, *rest]
    assert np.diff(np.unique(again)) == pytest.approx(INTERVALS[0])
    assert interval_of(ready.results) == INTERVALS[1]
