"""Runs that nobody watches: quiet, one at a time, in one line, with what they leave bounded."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time

import pytest

from brimline.engine import Store, site_lock

HOLD = """
import sys, time
from pathlib import Path
from brimline.engine import site_lock
with site_lock(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def done(site):
    result = site.run("--until", "terrain")
    assert result.code == 0, result.err
    return result


def journal(site):
    lines = (site.folder / ".brimline" / "journal.jsonl").read_text().splitlines()
    return [json.loads(line) for line in lines]


def hold(folder):
    child = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout.readline() == "held\n"
    return child


def test_an_unchanged_site_is_silent_on_both_outputs(site, done):
    again = site.run("--until", "terrain", "--if-changed", "--wait", "--brief")
    assert (again.code, again.out, again.err) == (0, "", "")


def test_one_line_says_what_a_run_did(site, done):
    site.tables = "[terrain]\ncurvature_smooth_m = 10\n"
    changed = site.run("--until", "terrain", "--if-changed", "--brief")
    assert changed.code == 0
    (line,) = changed.out.splitlines()
    assert re.match(r"Tern Bank: 2 of 2 stages ran in \d+ s; 0 warnings; results in ", line)
    assert str(site.results) in line
    same = site.run("--until", "terrain", "--brief")
    assert same.out.startswith("Tern Bank: Nothing has changed")
    (site.folder / "terrain.tif").write_bytes(b"not a raster")
    failed = site.run("--until", "terrain", "--brief")
    assert failed.code == 2
    (line,) = failed.out.splitlines()
    assert "failed, exit code 2" in line
    assert "terrain.tif" in line


def test_the_journal_tells_each_run_from_start_to_end_and_is_named(site, done):
    assert str(site.folder / ".brimline" / "journal.jsonl") in done.err
    events = journal(site)
    assert events[0]["event"] == "run started"
    assert events[0]["pid"] == os.getpid()
    assert events[-1]["event"] == "run finished"
    assert events[-1]["written"] is True
    (site.folder / "terrain.tif").write_bytes(b"not a raster")
    site.run()
    assert journal(site)[-1]["event"] == "run failed"
    assert journal(site)[-1]["kind"] == "InputError"


def test_the_second_run_leaves_and_says_who_holds_the_site(site, done):
    child = hold(site.folder / ".brimline")
    second = site.run("--until", "terrain")
    assert second.code == 2
    assert f"another run of this site is going on: process {child.pid}" in second.err
    child.kill()
    child.communicate()


def test_the_second_run_waits_where_asked_and_a_dead_holder_is_told(site, done):
    child = hold(site.folder / ".brimline")
    killer = threading.Timer(0.6, child.send_signal, [signal.SIGKILL])
    killer.start()
    began = time.perf_counter()
    second = site.run("--until", "terrain", "--wait")
    assert time.perf_counter() - began > 0.5
    assert second.code == 0
    assert f"waiting for another run of this site: process {child.pid}" in second.err
    assert f"ended without finishing: process {child.pid}" in second.err
    assert "dead holder" in [event["event"] for event in journal(site)]
    child.communicate()


def test_earlier_runs_stay_by_the_rule(site, done):
    finished = []
    for length in (6, 10, 15, 20):
        finished.append(site.manifest["finished"])
        site.tables = f"[terrain]\ncurvature_smooth_m = {length}\n[keep]\nruns = 2\n"
        assert site.run("--until", "terrain").code == 0
        time.sleep(1.0)  # kept runs are told apart by the second
    kept = sorted(path for path in site.results.parent.iterdir() if path.name != "site")
    assert [json.loads((path / "run.json").read_text())["finished"] for path in kept] == (
        finished[-2:]
    )


def test_the_store_stays_within_its_bound_but_keeps_this_run(site, done):
    site.tables = "[keep]\nstore_gb = 0.000001\n"
    assert site.run("--until", "terrain").code == 0
    again = site.run("--until", "terrain", "--if-changed")
    assert (again.out, again.err) == ("", "")
    store = Store(site.folder / ".brimline")
    results = list((store.folder / "results").iterdir())
    assert len(results) == len(site.manifest["stages"])


def test_a_lock_that_is_free_lets_the_next_in(site, done):
    with site_lock(site.folder / ".brimline") as dead:
        assert dead is None
