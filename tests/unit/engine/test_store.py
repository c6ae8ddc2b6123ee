"""The store gives back what was put in or says that it cannot; it never gives anything else."""

import errno
import os
import subprocess
import sys

import pytest

from brimline.engine.store import DamagedError, Record, Store, Stored, refuse_store
from brimline.errors import InputError, Problem, Severity, StoreError

OLD_S = 7200


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store")


def put(store, text):
    return store.put(lambda path: path.write_text(text))


def object_file(store, stored):
    return store.folder / "objects" / stored.digest[:2] / stored.digest


def age(path, seconds):
    then = path.stat().st_mtime - seconds
    os.utime(path, (then, then))


def test_an_object_is_named_by_the_sha256_of_its_bytes(store):
    # FIPS 180-2, appendix B.1: the digest of the message "abc"
    stored = put(store, "abc")
    assert stored == Stored("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", 3)
    assert store.open(stored).read_text() == "abc"
    assert put(store, "abc") == stored


def test_a_record_comes_back_with_its_problems(store):
    problem = Problem(Severity.WARNING, "thin", "look", "site.gpkg", "row 3")
    record = Record("read", {"a": put(store, "one")}, (problem,), 1.5)
    store.keep("k", record)
    assert store.record("k") == record
    assert store.record("other") is None


@pytest.mark.parametrize("bad", ["onf", "on", ""])
def test_a_damaged_object_is_refused_and_removed(store, bad):
    stored = put(store, "one")
    object_file(store, stored).write_text(bad)
    with pytest.raises(DamagedError):
        store.open(stored)
    assert not object_file(store, stored).exists()
    assert store.open(put(store, "one")).read_text() == "one"


def test_verifying_reads_bytes_where_a_glance_sees_sizes(store):
    stored = put(store, "one")
    store.keep("k", Record("read", {"a": stored}))
    object_file(store, stored).write_text("two")
    assert store.record("k") is not None
    assert store.record("k", verify=True) is None
    assert store.record("k") is None  # the damaged object was removed


def test_putting_over_a_damaged_object_of_the_same_size_mends_it(store):
    stored = put(store, "one")
    object_file(store, stored).write_text("two")
    assert put(store, "one") == stored
    assert store.open(stored).read_text() == "one"


def test_verifying_finds_every_damaged_object_of_a_record(store):
    both = {"a": put(store, "one"), "b": put(store, "six")}
    store.keep("k", Record("read", both))
    for stored in both.values():
        object_file(store, stored).write_text("???")
    assert store.record("k", verify=True) is None
    assert not any(object_file(store, stored).exists() for stored in both.values())


@pytest.mark.parametrize("text", ["", "{", "{}", "x\n{}"])
def test_a_damaged_record_is_as_good_as_none(store, text):
    store.keep("k", Record("read", {"a": put(store, "one")}))
    (store.folder / "results" / "k").write_text(text)
    assert store.record("k") is None
    store.prune(10**6)
    assert not (store.folder / "results" / "k").exists()


def test_one_flipped_letter_in_a_record_is_noticed(store):
    store.keep("k", Record("read", {"a": put(store, "one")}))
    path = store.folder / "results" / "k"
    path.write_text(path.read_text().replace("read", "reed"))
    assert store.record("k") is None


def filled(store):
    """Four records of 100 bytes each, used in the order d (longest ago), c, b, a."""
    for place, name in enumerate("abcd"):
        stored = put(store, name * 100)
        store.keep(name, Record("s", {name: stored}))
        age(object_file(store, stored), OLD_S)
        age(store.folder / "results" / name, 1000 * (place + 1))


def kept(store):
    return {name for name in "abcd" if store.record(name) is not None}


def test_pruning_forgets_what_was_used_longest_ago(store):
    filled(store)
    assert store.size_bytes() == 400
    assert store.prune(250) == 200
    assert kept(store) == {"a", "b"}


def test_use_protects_from_pruning(store):
    filled(store)
    store.record("d")
    store.prune(250)
    assert kept(store) == {"a", "d"}


def test_pruning_keeps_what_it_is_told_to_keep(store):
    filled(store)
    assert store.prune(0, keep={"c"}) == 100
    assert kept(store) == {"c"}


def test_an_object_that_two_records_share_counts_once_and_stays(store):
    filled(store)
    store.keep("e", Record("s", {"x": put(store, "d" * 100)}))
    assert store.prune(100) == 100
    assert store.record("e") is not None


def test_pruning_spares_what_another_run_is_about_to_name(store):
    put(store, "just written")
    assert store.prune(0) == len("just written")
    assert store.prune(0, grace_s=0) == 0


def test_putting_an_old_object_again_counts_as_just_written(store):
    age(object_file(store, put(store, "again")), OLD_S)
    put(store, "again")
    assert store.prune(0) == len("again")


def test_sweeping_removes_only_old_partial_files(store):
    left = store.folder / "partial" / "left"
    left.write_text("half")
    store.sweep()
    assert left.exists()
    age(left, OLD_S)
    store.sweep()
    assert not left.exists()


def test_what_a_clock_that_was_set_back_left_goes_first(store):
    filled(store)
    for name in "cd":
        tomorrow = -24 * 3600.0
        age(store.folder / "results" / name, tomorrow)
        age(object_file(store, store.record(name).outputs[name]), tomorrow)
        age(store.folder / "results" / name, tomorrow)  # asking for it counted as use
    (store.folder / "partial" / "left").write_text("half")
    age(store.folder / "partial" / "left", tomorrow)
    assert store.prune(250) == 200
    assert kept(store) == {"a", "b"}
    assert list((store.folder / "partial").iterdir()) == []


def test_the_store_keeps_itself_out_of_version_control(store):
    assert (store.folder / ".gitignore").read_text() == "*\n"


@pytest.mark.parametrize(
    ("number", "message"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "cannot be written"),
        (errno.EACCES, "cannot be written"),
        (errno.EIO, "cannot be read or written"),
    ],
)
def test_a_failing_disk_is_explained_and_leaves_nothing_behind(store, number, message):
    def write(path):
        path.write_text("half")
        raise OSError(number, os.strerror(number))

    with pytest.raises(StoreError, match=message):
        store.put(write)
    assert list((store.folder / "partial").iterdir()) == []
    assert store.size_bytes() == 0


def test_a_store_where_no_folder_can_be_is_explained(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="file"):
        Store(tmp_path / "file" / "store")


FULL_DISK = """
import resource, sys
from pathlib import Path
from brimline.engine.store import Store
from brimline.errors import StoreError
store = Store(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    store.put(lambda path: path.write_bytes(bytes(5000)))
except StoreError as error:
    print(error)
print(store.put(lambda path: path.write_bytes(bytes(500))).size)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on a file's size")
def test_a_write_that_the_system_cuts_short_is_told_and_not_kept(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path / "store")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "the disk is full" in done.stdout
    assert done.stdout.endswith("500\n")
    assert Store(tmp_path / "store").size_bytes() == 500


def test_notes_survive_and_one_cut_short_is_forgotten(store):
    assert store.noted("read") is None
    store.note("read", {"version": 1, "input a": "x"})
    assert store.noted("read") == {"version": 1, "input a": "x"}
    path = store.folder / "notes" / "read"
    path.write_text(path.read_text()[:-1])
    assert store.noted("read") is None


def test_what_another_process_prunes_meanwhile_is_not_counted(store, monkeypatch):
    kept = store.put(lambda path: path.write_text("kept"))
    gone = store.folder / "objects" / "ab" / "ab01"
    listed = [*store._objects(), gone]
    monkeypatch.setattr(Store, "_objects", lambda _: listed)
    assert store.size_bytes() == kept.size
    assert store.prune(0, grace_s=0.0) == 0


@pytest.mark.skipif(os.name != "posix", reason="rights of others are another thing there")
def test_a_store_that_anybody_can_write_is_refused(tmp_path):
    folder = tmp_path / "store"
    folder.mkdir(mode=0o755)
    refuse_store(folder)
    folder.chmod(0o777)
    with pytest.raises(InputError, match="anybody on this machine can write"):
        refuse_store(folder)


def test_a_folder_of_results_that_holds_other_things_is_left_alone(store):
    (store.folder / "notes.txt").write_text("mine")
    store.prune(0, grace_s=0.0)
    assert (store.folder / "notes.txt").read_text() == "mine"
