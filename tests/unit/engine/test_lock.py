"""Two runs of one site cannot collide, and a dead one blocks nobody."""

import errno
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from brimline.engine.lock import site_lock
from brimline.errors import StoreError

CHILD = """
import sys, time
from pathlib import Path
from brimline.engine.lock import site_lock
with site_lock(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(float(sys.argv[2]))
"""


def holding(folder, seconds):
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder), str(seconds)], stdout=subprocess.PIPE
    )
    assert child.stdout.readline() == b"held\n"
    return child


def test_the_second_leaves_and_is_told_who_holds_the_site(tmp_path):
    with (
        site_lock(tmp_path),
        pytest.raises(StoreError, match=f"process {os.getpid()} on {socket.gethostname()} since"),
        site_lock(tmp_path),
    ):
        pytest.fail("two held the site")


def test_another_process_counts_too(tmp_path):
    child = holding(tmp_path, 30)
    with pytest.raises(StoreError, match=f"process {child.pid} "), site_lock(tmp_path):
        pytest.fail("two held the site")
    child.kill()
    child.communicate()


def test_the_second_waits_where_it_is_asked_to(tmp_path):
    child = holding(tmp_path, 0.5)
    heard = []
    began = time.perf_counter()
    with site_lock(tmp_path, wait=True, on_wait=heard.append) as dead:
        assert time.perf_counter() - began > 0.2
    assert [holder.pid for holder in heard] == [child.pid]
    assert dead is None
    child.communicate()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_killed_holder_blocks_nobody_and_is_named(tmp_path):
    child = holding(tmp_path, 30)
    child.send_signal(signal.SIGKILL)
    child.communicate()
    with site_lock(tmp_path) as dead:
        assert dead.pid == child.pid
    with site_lock(tmp_path) as dead:
        assert dead is None


def test_an_error_inside_lets_go_in_order(tmp_path):
    with pytest.raises(KeyboardInterrupt), site_lock(tmp_path):
        raise KeyboardInterrupt
    with site_lock(tmp_path) as dead:
        assert dead is None


def test_a_note_cut_short_is_no_obstacle(tmp_path):
    (tmp_path / "holder.json").write_text('{"pid": 1')
    with site_lock(tmp_path) as dead:
        assert dead is None


def test_a_folder_that_cannot_be_written_is_explained(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError), site_lock(tmp_path / "file" / "store"):
        pytest.fail("a lock without a folder")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows locks otherwise")
@pytest.mark.parametrize("number", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS])
def test_on_a_disk_without_locks_runs_of_this_machine_are_kept_apart(tmp_path, monkeypatch, number):
    import fcntl

    drive, here, inner = tmp_path / "drive", tmp_path / "here", fcntl.flock
    here.mkdir()

    def flock(file, how):
        handle = file if isinstance(file, int) else file.fileno()
        if drive in Path(f"/proc/self/fd/{handle}").readlink().parents:
            raise OSError(number, os.strerror(number))
        return inner(file, how)

    monkeypatch.setattr(fcntl, "flock", flock)
    monkeypatch.setattr(tempfile, "tempdir", str(here))
    for _ in range(2):
        with (
            site_lock(drive),
            pytest.raises(StoreError, match=f"process {os.getpid()} on"),
            site_lock(drive),
        ):
            pytest.fail("two held the site")
    with site_lock(drive), site_lock(tmp_path / "another"):
        pass
