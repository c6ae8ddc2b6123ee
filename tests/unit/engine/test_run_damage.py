"""Whatever happens to the store, a run gives the right result or says why it cannot."""

import hashlib
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from brimline.engine.digests import Digests, files_of
from brimline.engine.run import RunInputs
from brimline.engine.stage import Source
from brimline.engine.store import Store
from brimline.errors import InputError, StoreError


def object_of(site, result, name):
    digest = result.outputs[name].digest
    return site.store.folder / "objects" / digest[:2] / digest


def test_a_damaged_value_is_made_again_when_a_stage_needs_it(site, log):
    first = site.run()
    path = object_of(site, first, "whole")
    path.write_bytes(bytes(len(path.read_bytes())))  # same size: only the bytes tell
    site.swell.factor = 3.0
    result = site.run(listener=log)
    assert result.value("sum")["total_m"] == 30.0
    assert result.outputs["whole"] == first.outputs["whole"]
    assert log.why["level"] == "its stored result is gone or damaged"
    assert set(result.ran) == {"level", "swell", "sum"}


def test_what_is_reused_is_told_once_even_where_the_run_starts_over(site, log):
    site.write("95.5 1.5\n")  # not whole, so that `whole` is another object than `ground`
    path = object_of(site, site.run(), "whole")
    path.write_bytes(bytes(len(path.read_bytes())))
    site.swell.factor = 3.0
    site.run(listener=log)
    assert [name for name, _ in log.problems] == ["read"]
    assert log.finished_order.count("read") == 1
    assert log.finished_order.count("level") == 2  # reused at first, then made again


def test_a_damaged_value_is_made_again_when_it_is_read_after_the_run(site):
    result = site.run()
    object_of(site, result, "ground").write_bytes(b"")
    np.testing.assert_array_equal(result.value("ground"), [[1.25, 2.5], [3.75, 4.5]])


def test_verifying_mends_damage_that_nobody_would_have_met(site):
    first = site.run()
    path = object_of(site, first, "rows")
    good = path.read_bytes()
    path.write_bytes(bytes(len(good)))
    assert site.run().ran == ()
    assert site.run(verify=True).ran == ("rows",)
    assert path.read_bytes() == good


def test_a_store_that_is_thrown_away_does_no_harm(site):
    first = site.run()
    shutil.rmtree(site.store.folder)
    again = site.run(store=Store(site.store.folder))
    assert again.outputs == first.outputs


def test_a_disk_that_never_keeps_what_was_written_ends_the_run(site, toys, monkeypatch):
    monkeypatch.setattr(
        toys["ToyCodec"],
        "write",
        lambda _self, path, _item, _value, _grid: path.write_bytes(b"x"),
    )
    inner = Store.put

    def failing_put(store, write):
        stored = inner(store, write)
        (store.folder / "objects" / stored.digest[:2] / stored.digest).write_bytes(b"y")
        return stored

    monkeypatch.setattr(Store, "put", failing_put)
    with pytest.raises(StoreError, match="Check the disk"):
        site.run()


def test_a_survey_that_changes_while_it_is_read_is_not_kept(site, toys):
    def unlucky(given, report):
        made = toys["run_read"](given, report)
        site.write("9 9\n9 9\n")
        return made

    with pytest.raises(InputError, match="changed while it was being read"):
        site.run((replace(toys["READ"], run=unlucky),))
    assert site.run().value("sum")["total_m"] == 72.0  # four cells of 9, times 2


def _meddled(toys, meddle):
    """The stages, after one of which somebody meddles with the survey."""

    def run_rows(given, report):
        made = toys["run_rows"](given, report)
        meddle()
        return made

    late = replace(toys["SUM"], sources=("survey",), needs=("swollen", "rows"))
    return (toys["READ"], replace(toys["ROWS"], run=run_rows), toys["LEVEL"], toys["SWELL"], late)


@pytest.mark.parametrize("how", ["written", "gone", "linked"])
def test_a_survey_that_changes_between_two_stages_is_not_mixed(site, toys, how):
    def meddle():
        if how == "written":
            site.write("9 9\n9 9\n")
            return
        old = site.survey.rename(site.folder / "old.txt")
        if how == "linked":
            site.survey.symlink_to(shutil.copy(old, site.folder / "other.txt"))

    with pytest.raises(InputError, match=r"changed while it was being read|cannot be read"):
        site.run(_meddled(toys, meddle))
    site.survey.unlink(missing_ok=True)
    site.write("1 1\n1 1\n")
    assert site.run().value("sum")["total_m"] == 8.0  # the next run takes what is there then


def test_a_file_that_comes_while_a_folder_is_read_is_not_mixed_in(site, toys, monkeypatch):
    def busy(given, report):
        (site.folder / "late.txt").write_text("5 5\n5 5\n")
        return toys["run_read"](given, report)

    tiles = site.folder / "*.txt"
    source = Source(str(site.survey), files_of(tiles), {"layer": None}, (tiles,))
    inputs = RunInputs({"swell": site.swell}, {"survey": source}, {}, Digests(site.store))
    monkeypatch.setattr(type(site), "inputs", inputs)
    with pytest.raises(InputError, match=r"late\.txt.*changed while"):
        site.run((replace(toys["READ"], run=busy),))


def test_two_sites_share_a_store(site, toys, tmp_path):
    (tmp_path / "other").mkdir()
    other = toys["Site"](tmp_path / "other")
    site.run()
    assert other.run(store=site.store).ran == ()  # the same survey in another folder
    other.write("5 5\n5 5\n")
    assert other.run(store=site.store).value("sum")["total_m"] == 40.0
    assert site.run().ran == ()


CHILD = """
import runpy, sys
from pathlib import Path
toys = runpy.run_path(sys.argv[1])
site = toys["Site"](Path(sys.argv[2]))
print("ready", flush=True)
for turn in range(10**6):
    site.write(f"{turn % 7}.5 2.5\\n3.5 4.5\\n")
    site.swell.factor = float(turn % 3)
    site.run(rebuild=turn % 2 == 0)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_run_killed_at_any_moment_leaves_a_usable_store(site, toys, tmp_path):
    chance = random.Random(9)
    conftest = Path(toys["__file__"])
    for _ in range(12):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(conftest), str(tmp_path)], stdout=subprocess.PIPE
        )
        assert child.stdout.readline() == b"ready\n"
        time.sleep(chance.uniform(0.0, 0.25))
        child.send_signal(signal.SIGKILL)
        child.communicate()
        for path in (site.store.folder / "objects").glob("*/*"):
            assert hashlib.sha256(path.read_bytes()).hexdigest() == path.name
        site.write("1.25 2.5\n3.75 4.5\n")
        site.swell.factor = 2.0
        result = site.run(verify=True)
        assert result.value("sum")["total_m"] == 20.0
        assert site.run().ran == ()


NEIGHBOUR = """
import random, runpy, sys
from pathlib import Path
from brimline.engine.store import Store
toys = runpy.run_path(sys.argv[1])
number = int(sys.argv[4])
chance = random.Random(number)
folder = Path(sys.argv[2]) / str(number)
folder.mkdir()
site, shared = toys["Site"](folder), Store(Path(sys.argv[3]))
for turn in range(25):
    cell, factor = chance.randrange(4), chance.randrange(1, 4)
    site.write(f"{cell} 2\\n3 4\\n")
    site.swell.factor = float(factor)
    total_m = site.run(store=shared).value("sum")["total_m"]
    assert total_m == (cell + 9) * factor, (total_m, cell, factor)
    if turn % 5 == number:
        shared.prune(1000, grace_s=0.5)
"""


def test_processes_that_share_and_prune_one_store_do_not_disturb_each_other(toys, tmp_path):
    shared = Store(tmp_path / "shared")
    children = [
        subprocess.Popen(
            [sys.executable, "-c", NEIGHBOUR, toys["__file__"], tmp_path, shared.folder, str(n)],
            stderr=subprocess.PIPE,
            text=True,
        )
        for n in range(3)
    ]
    assert [child.communicate()[1] for child in children] == ["", "", ""]
    assert list((shared.folder / "partial").iterdir()) == []
