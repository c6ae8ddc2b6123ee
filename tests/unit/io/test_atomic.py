"""Files and folders appear whole or not at all, also when the process is killed."""

import errno
import os
import random
import signal
import subprocess
import sys
import tempfile
import textwrap
import time
from pathlib import Path

import pytest

import brimline
from brimline.errors import StoreError
from brimline.io import atomic

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="folders cannot be locked there")
SOURCE = Path(brimline.__file__).parents[1]
FILES = ("site.gpkg", "rasters/a.tif", "run.json")

CHILD = """
    import sys
    from pathlib import Path
    from brimline.io import atomic

    if {twice}:
        atomic.exchange = lambda new, target: False
    target = Path(sys.argv[1])
    atomic.recover(target)
    print("ready", flush=True)
    version = int(sys.argv[2])
    while True:
        version += 1
        new = atomic.new_folder_beside(target)
        (new / "rasters").mkdir()
        for name in {files}:
            (new / name).write_text(str(version) * 2000)
        atomic.replace_folder(new, target)
"""


class Killed(BaseException):
    """Stands for the end of the process: nothing of ours handles it."""


def fill(folder, version):
    (folder / "rasters").mkdir(parents=True, exist_ok=True)
    for name in FILES:
        (folder / name).write_text(str(version) * 2000)
    return folder


def version_of(folder):
    """The version that every file of a folder agrees on; fails where the folder is torn."""
    found = {(folder / name).read_text() for name in FILES}
    assert len(found) == 1
    text = found.pop()
    version = text[: len(text) // 2000]
    assert text == version * 2000
    return int(version)


def run_child(code, *args):
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *map(str, args)],
        env=os.environ | {"PYTHONPATH": str(SOURCE)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


# files -------------------------------------------------------------------------------------


def test_a_file_is_there_only_at_the_end(tmp_path):
    path = tmp_path / "a.tif"
    with atomic.written_whole(path) as part:
        assert part.suffix == ".tif"
        part.write_bytes(b"half")
        assert not path.exists()
    assert path.read_bytes() == b"half"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.tif"]


def test_an_error_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    path = tmp_path / "a.txt"
    atomic.write_text(path, "old")

    def write():
        with atomic.written_whole(path) as part:
            part.write_text("new")
            raise ValueError("oops")

    with pytest.raises(ValueError, match="oops"):
        write()
    assert path.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.txt"]


def test_text_is_utf8_with_plain_line_ends(tmp_path):
    atomic.write_text(tmp_path / "a.txt", "m²\n")
    assert (tmp_path / "a.txt").read_bytes() == "m²\n".encode()


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(StoreError, match=r"its folder .* does not exist"):
        atomic.write_text(tmp_path / "none" / "a.txt", "x")


@pytest.mark.skipif(os.name == "nt", reason="limits of file sizes are a matter of Unix")
def test_a_full_disk_is_told_and_the_old_file_stays(tmp_path):
    # a limit of the file size stands for the full disk: the system refuses in the same call
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")
    code = """
        import resource, signal, sys
        from pathlib import Path
        from brimline.errors import StoreError
        from brimline.io import atomic
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
        try:
            atomic.write_bytes(Path(sys.argv[1]), bytes(100_000))
        except StoreError as error:
            print(error)
    """
    said, trouble = run_child(code, path).communicate(timeout=60)
    assert "the disk is full" in said, trouble
    assert "untouched" in said
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.bin"]


@pytest.mark.skipif(os.name == "nt", reason="limits of file sizes are a matter of Unix")
@pytest.mark.parametrize("limit", [3_000, 60_000, 200_000])
def test_a_disk_that_fills_up_under_a_writer_is_told(tmp_path, limit):
    for name in ("site.gpkg", "elevation.tif"):
        (tmp_path / name).write_bytes(b"old")
    code = """
        import resource, signal, sys
        from pathlib import Path
        import geopandas as gpd, numpy as np, shapely
        from brimline.errors import StoreError
        from brimline.grid import Grid
        from brimline.io.geopackage import write_geopackage
        from brimline.io.rasters import write_raster
        from brimline.layers import layer, raster
        folder, limit = Path(sys.argv[1]), int(sys.argv[2])
        rng = np.random.default_rng(1)
        lines = shapely.linestrings(rng.random((3000, 9, 2)))
        shapes = shapely.multilinestrings(lines.reshape(-1, 1))
        rows = gpd.GeoDataFrame(
            {"level_m": np.arange(3000.0), "index": np.zeros(3000, dtype=bool)},
            geometry=shapes, crs="EPSG:32633",
        )
        grid = Grid(400, 400, 1.0, 0.0, 0.0, "EPSG:32633")
        levels = rng.random(grid.shape).astype(np.float32)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        for write in (
            lambda: write_geopackage(
                folder / "site.gpkg", [(layer("contours"), rows)], crs="EPSG:32633"
            ),
            lambda: write_raster(folder / "elevation.tif", levels, grid, raster("elevation")),
        ):
            try:
                write()
            except StoreError as error:
                print("told:", error)
    """
    said, trouble = run_child(code, tmp_path, limit).communicate(timeout=120)
    assert said.count("told:") == 2, trouble
    assert said.count("could not be written") == 2
    assert {entry.name: entry.read_bytes() for entry in tmp_path.iterdir()} == {
        "site.gpkg": b"old",
        "elevation.tif": b"old",
    }


@pytest.mark.skipif(os.name == "nt", reason="permissions of folders are a matter of Unix")
def test_a_read_only_folder_is_told_and_the_old_result_stays():
    code = """
        import os, sys
        from pathlib import Path
        from brimline.errors import StoreError
        from brimline.io import atomic
        if os.geteuid() == 0:  # root may write everywhere, so it is given up
            os.setgid(65534)
            os.setuid(65534)
        target = Path(sys.argv[1])
        for action in (
            lambda: atomic.new_folder_beside(target),
            lambda: atomic.write_text(target.parent / "a.txt", "x"),
        ):
            try:
                action()
            except StoreError as error:
                print(error)
    """
    with tempfile.TemporaryDirectory() as place:
        target = fill(Path(place) / "run", 1)
        Path(place).chmod(0o555)
        said, trouble = run_child(code, target).communicate(timeout=60)
        Path(place).chmod(0o755)
        assert said.count("may not be written to") == 2, trouble
        assert version_of(target) == 1


# folders -----------------------------------------------------------------------------------


@pytest.fixture(params=["exchanged", "renamed twice"])
def way(request, monkeypatch):
    """Both ways to put a folder into its place."""
    if request.param == "renamed twice":
        monkeypatch.setattr(atomic, "exchange", lambda new, target: False)  # noqa: ARG005
    return request.param


def test_the_first_and_the_next_result_are_published(tmp_path, way):
    target = tmp_path / "runs" / "site"
    for version in (1, 2, 3):
        new = fill(atomic.new_folder_beside(target), version)
        atomic.replace_folder(new, target)
        assert version_of(target) == version
        assert [entry.name for entry in target.parent.iterdir()] == ["site"], way


def test_every_file_is_on_the_disk_before_the_folder_takes_its_place(tmp_path, way, monkeypatch):
    target = fill(tmp_path / "site", 1)
    new = fill(atomic.new_folder_beside(target), 2)
    flushed = []
    flush = atomic._flush_file

    def recording(path):
        assert version_of(target) == 1
        flushed.append(path.relative_to(new).as_posix())
        flush(path)

    monkeypatch.setattr(atomic, "_flush_file", recording)
    atomic.replace_folder(new, target)
    assert sorted(flushed) == sorted(FILES), way


def test_files_of_the_old_result_do_not_stay(tmp_path, way):
    target = fill(tmp_path / "site", 1)
    (target / "old.txt").write_text("old")
    atomic.replace_folder(fill(atomic.new_folder_beside(target), 2), target)
    assert not (target / "old.txt").exists(), way


def test_an_open_file_of_the_old_result_can_be_read_on(tmp_path, way):
    target = fill(tmp_path / "site", 1)
    with (target / "site.gpkg").open() as viewer:
        atomic.replace_folder(fill(atomic.new_folder_beside(target), 2), target)
        assert viewer.read() == "1" * 2000, way
    assert version_of(target) == 2


def test_a_link_stays_and_the_folder_behind_it_is_replaced(tmp_path, way):
    fill(tmp_path / "disk" / "site", 1)
    link = tmp_path / "latest"
    link.symlink_to(tmp_path / "disk" / "site", target_is_directory=True)
    atomic.replace_folder(fill(atomic.new_folder_beside(link), 2), link)
    assert link.is_symlink(), way
    assert version_of(link) == 2
    assert [entry.name for entry in (tmp_path / "disk").iterdir()] == ["site"]


def test_the_system_here_exchanges_in_one_step(tmp_path):
    if sys.platform != "linux":
        pytest.skip("exchanging folders is checked where the system is known to do it")
    one, other = fill(tmp_path / "one", 1), fill(tmp_path / "other", 2)
    assert atomic.exchange(one, other)
    assert (version_of(one), version_of(other)) == (2, 1)
    with pytest.raises(FileNotFoundError):
        atomic.exchange(tmp_path / "none", other)


@pytest.mark.parametrize("moment", ["before", "after"])
@pytest.mark.parametrize("call", [1, 2])
def test_ended_at_either_rename_the_result_is_old_or_new(tmp_path, monkeypatch, call, moment):
    target = fill(tmp_path / "site", 1)
    new = fill(atomic.new_folder_beside(target), 2)
    monkeypatch.setattr(atomic, "exchange", lambda new, target: False)  # noqa: ARG005
    rename, calls = Path.rename, []

    def dying(self, to):
        calls.append(to)
        if len(calls) != call:
            return rename(self, to)
        if moment == "after":
            rename(self, to)
        raise Killed

    monkeypatch.setattr(Path, "rename", dying)
    with pytest.raises(Killed):
        atomic.replace_folder(new, target)
    monkeypatch.setattr(Path, "rename", rename)
    said = atomic.recover(target)
    assert version_of(target) == (2 if (call, moment) == (2, "after") else 1)
    assert ("last good result is back" in said) == ((call, moment) in {(1, "after"), (2, "before")})
    assert [entry.name for entry in tmp_path.iterdir()] == ["site"]
    assert atomic.recover(target) == ""


def test_a_failed_second_rename_brings_the_old_result_back(tmp_path, monkeypatch):
    target = fill(tmp_path / "site", 1)
    new = fill(atomic.new_folder_beside(target), 2)
    monkeypatch.setattr(atomic, "exchange", lambda new, target: False)  # noqa: ARG005
    rename = Path.rename

    def failing(self, to):
        if self == new:
            raise PermissionError(13, "held open")
        return rename(self, to)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(StoreError, match="held open by another program"):
        atomic.replace_folder(new, target)
    assert version_of(target) == 1


def test_recovery_leaves_strangers_and_other_sites_alone(tmp_path):
    target = fill(tmp_path / "site", 1)
    fill(tmp_path / "site[2]", 5)
    keep = [tmp_path / ".site[2].part-aa", tmp_path / ".sitex.part-aa", tmp_path / "site.part-aa"]
    for folder in keep:
        folder.mkdir()
    stale = tmp_path / ".site.part-bb"
    stale.mkdir()
    assert "1 unfinished" in atomic.recover(target)
    assert all(folder.exists() for folder in keep)
    assert not stale.exists()
    assert atomic.recover(tmp_path / "nowhere" / "site") == ""


@pytest.mark.parametrize("twice", [False, True], ids=["exchanged", "renamed twice"])
def test_killed_at_random_moments_the_result_is_one_whole_version(tmp_path, twice):
    target = tmp_path / "site"
    fill(target, 1)
    dice = random.Random(20240506)
    reached, kills = 1, 0
    while kills < 30 or (reached < 10 and kills < 300):  # a busy machine publishes less a kill
        kills += 1
        child = run_child(CHILD.format(twice=twice, files=FILES), target, reached)
        assert child.stdout.readline() == "ready\n", child.stderr.read()
        try:
            child.wait(timeout=dice.uniform(0.0, 0.06))
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL if os.name != "nt" else signal.SIGTERM)
        child.communicate(timeout=60)
        if not twice and sys.platform == "linux":
            version_of(target)  # there and whole before anything is put right
        atomic.recover(target)
        assert version_of(target) >= reached
        reached = version_of(target)
        assert [entry.name for entry in tmp_path.iterdir()] == ["site"]
    assert reached >= 10  # the child did publish


def test_a_reader_meets_a_whole_result_at_every_moment(tmp_path):
    if sys.platform != "linux":
        pytest.skip("without a gap only where folders are exchanged in one step")
    target = fill(tmp_path / "site", 1)
    child = run_child(CHILD.format(twice=False, files=FILES), target, 1)
    assert child.stdout.readline() == "ready\n"
    seen, looks = set(), 0
    try:
        end = time.monotonic() + 60
        while time.monotonic() < end and (len(seen) < 10 or looks < 2000):
            looks += 1
            text = (target / "run.json").read_text()  # fails where the folder is missing
            version = text[: len(text) // 2000]
            assert text == version * 2000
            seen.add(version)
    finally:
        child.kill()
        child.communicate(timeout=60)
    assert len(seen) >= 10


TURNS = """
    import sys
    from pathlib import Path
    from brimline.io import atomic

    target = Path(sys.argv[1])
    for turn in range(30):
        atomic.recover(target)
        with atomic.alone_beside(target):
            new = atomic.new_folder_beside(target)
            (new / "rasters").mkdir()
            for name in {files}:
                (new / name).write_text(sys.argv[2] * 2000)
            atomic.replace_folder(new, target)
"""


@POSIX
def test_two_sites_that_publish_in_one_place_do_not_disturb_each_other(tmp_path):
    target = fill(tmp_path / "site", 3)
    children = [run_child(TURNS.format(files=FILES), target, n) for n in (1, 2)]
    try:
        assert [child.communicate(timeout=60)[1] for child in children] == ["", ""]
    finally:
        for child in children:
            child.kill()
    assert version_of(target) in (1, 2)
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


@POSIX
def test_who_publishes_for_ever_is_told(tmp_path, monkeypatch):
    import fcntl

    monkeypatch.setattr(atomic, "_TURN_S", 0.1)
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_EX)
    with pytest.raises(StoreError, match="another run has been writing here"):
        atomic.recover(tmp_path / "site")
    os.close(handle)
    assert atomic.recover(tmp_path / "site") == ""


@POSIX
def test_a_disk_without_locks_is_published_to_all_the_same(tmp_path, monkeypatch):
    import fcntl

    def no_locks(_file, _how):
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(fcntl, "flock", no_locks)
    target = fill(tmp_path / "site", 1)
    atomic.replace_folder(fill(atomic.new_folder_beside(target), 2), target)
    assert version_of(target) == 2
