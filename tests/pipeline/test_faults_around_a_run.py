"""What happens around a run: files that come and go, links, other programs, rights, the clock."""

from __future__ import annotations

import ctypes
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pytest
import shapely

from brimline._jit import cache_folder
from brimline.cli.progress import Progress
from brimline.engine.store import digest_of
from brimline.io.vectors import VectorSource, read_layer

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX links, rights and owners")
POND = {"name": "Well", "shape": shapely.Point(30, 20).buffer(4)}
FEW = ("--until", "terrain")
NOBODY = 65_534


@pytest.fixture
def small(site, stages_kept):
    site.size, site.dem = 60, site.dem[:60, 50:110]
    site.tables = "[survey]\nrealisations = 0\n"
    site.write_boundary(inset=4.0)
    return site


def _told_as_read(small, name):
    return small.manifest["inputs"][name]["files"][0]["sha256"]


@pytest.mark.parametrize(("what", "reader"), [("plan.gpkg", "plan"), ("terrain.tif", "survey")])
@pytest.mark.parametrize("how", ["gone", "written"])
def test_an_input_that_goes_or_changes_in_a_run_ends_it_and_the_old_result_stays(
    small, monkeypatch, what, reader, how
):
    small.write_plan(drawn_ponds=[POND])
    assert small.run("--until", "plan").code == 0
    before = (small.results / "run.json").read_bytes()
    path, inner = small.folder / what, Progress.started

    def started(progress, stage, why):
        inner(progress, stage, why)
        if stage.name == reader:
            path.unlink() if how == "gone" else path.write_bytes(path.read_bytes() + b"\0")

    monkeypatch.setattr(Progress, "started", started)
    ran = small.run("--until", "plan", "--rebuild")
    assert ran.code == 2, ran.err
    assert what in ran.err
    assert "changed while" in ran.err or how == "gone"
    assert "Traceback" not in ran.err
    assert (small.results / "run.json").read_bytes() == before


def test_everything_may_be_a_link(small):
    away = small.folder / "away"
    small.write()
    for name in ("terrain.tif", "boundary.gpkg"):
        (away / name).parent.mkdir(exist_ok=True)
        (small.folder / name).rename(away / name)
        (small.folder / name).symlink_to(away / name)
    for name in (".brimline", "runs"):
        (away / name).mkdir()
        (small.folder / name).symlink_to(away / name)
    assert small.run(*FEW).code == 0
    other = shutil.copy(away / "terrain.tif", away / "other.tif")
    small.dem = small.dem + 1
    small.write_terrain(name="away/other.tif")
    (small.folder / "terrain.tif").unlink()
    (small.folder / "terrain.tif").symlink_to(other)
    again = small.run(*FEW)
    assert again.code == 0
    assert "Nothing has changed" not in again.out
    assert _told_as_read(small, "elevation") == digest_of(small.folder / "terrain.tif")
    assert (small.folder / "runs").is_symlink()


@pytest.mark.parametrize("target", ["nowhere.tif", "terrain.tif"])  # the latter leads to itself
def test_a_link_that_leads_nowhere_is_told(small, target):
    path = str(small.write())
    (small.folder / "terrain.tif").unlink()
    (small.folder / "terrain.tif").symlink_to(target)
    for told in (small.call("check", path), small.call("run", path, *FEW)):
        assert told.code == 2, told.err
        assert "terrain.tif" in told.err
        assert "Traceback" not in told.err


def test_a_folder_of_tiles_that_leads_to_itself_is_read_once(small):
    (small.folder / "tiles").mkdir()
    small.write_terrain(name="tiles/a.tif")
    (small.folder / "tiles" / "again").symlink_to("..")
    small.inputs["elevation"] = "tiles/**/*.tif"
    told = small.run(*FEW)
    assert told.code == 0, told.err
    assert [one["path"] for one in small.manifest["inputs"]["elevation"]["files"]] == [
        "tiles/a.tif"
    ]


def test_a_plan_that_another_program_holds_is_read_whole_or_told(small):
    small.write_plan(drawn_ponds=[POND] * 300)
    path = small.folder / "plan.gpkg"
    source = VectorSource(path, "drawn_ponds")

    def names():
        rows = read_layer(source, kinds={"polygon"}, crs=small.crs, keep_others=True)
        return rows.frame["name"].unique().tolist()

    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        for (trigger,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            other.execute(f"DROP TRIGGER {trigger}")  # they call functions of the other program
        other.execute("BEGIN EXCLUSIVE")
        other.execute("UPDATE drawn_ponds SET name = 'Mere'")
        assert names() == ["Well"]  # what is not saved is not in the file
        other.execute("PRAGMA cache_size = 1")
        other.execute("UPDATE drawn_ponds SET name = printf('%.5000c', 'M')")
        told = small.check()
        assert told.code == 2
        assert "another program is writing to it" in told.err
        other.execute("ROLLBACK")
        assert names() == ["Well"]
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("UPDATE drawn_ponds SET name = 'Tarn'")
        assert path.with_name("plan.gpkg-wal").stat().st_size > 0
        assert names() == ["Tarn"]


def test_inputs_of_tomorrow_are_read_and_their_edits_noticed(small):
    path = small.write()
    tomorrow = time.time() + 86_400
    for name in ("terrain.tif", "boundary.gpkg", "site.toml"):
        os.utime(small.folder / name, (tomorrow, tomorrow))
    assert small.call("run", str(path), *FEW).code == 0
    assert "Nothing has changed" in small.call("run", str(path), *FEW).out
    small.dem = small.dem + 1
    small.write_terrain()
    os.utime(small.folder / "terrain.tif", (tomorrow, tomorrow))
    assert small.call("run", str(path), *FEW).code == 0
    assert _told_as_read(small, "elevation") == digest_of(small.folder / "terrain.tif")


def _bounded():
    """Take from root, before the command starts, what lets it read and write as it likes."""
    if os.geteuid() == 0:
        for right in (
            0,
            1,
            2,
            3,
        ):  # chown, dac_override, dac_read_search, fowner: linux/capability.h
            assert ctypes.CDLL(None).prctl(24, right) == 0  # PR_CAPBSET_DROP: linux/prctl.h


def _without_rights(small, home):
    return subprocess.run(
        [sys.executable, "-m", "brimline", "run", str(small.folder / "site.toml"), *FEW],
        env=os.environ | {"HOME": str(home), "BRIMLINE_KERNEL_CACHE": str(cache_folder())},
        preexec_fn=_bounded, timeout=120, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="capabilities of Linux")
def test_somebody_without_rights_or_home_is_told(small):
    small.write()
    home = small.folder.parent / "home"
    home.mkdir()
    for folder in (home, small.folder):
        folder.chmod(0o555)
        if os.geteuid() == 0:
            os.chown(folder, NOBODY, NOBODY)
    refused = _without_rights(small, home)
    assert refused.returncode == 2, refused.stderr
    assert "cannot be written" in refused.stderr
    small.folder.chmod(0o777)
    ran = _without_rights(small, home)
    assert ran.returncode == 0, ran.stderr
    (small.folder / "terrain.tif").chmod(0)
    if os.geteuid() == 0:
        os.chown(small.folder / "terrain.tif", NOBODY, NOBODY)
    refused = _without_rights(small, home)
    assert refused.returncode == 2, refused.stderr
    assert "terrain.tif" in refused.stderr
    assert "ermission" in refused.stderr
    assert "Traceback" not in refused.stderr
