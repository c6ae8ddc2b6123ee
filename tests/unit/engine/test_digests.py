"""Digests follow the content of files, and are remembered only where that is safe."""

import os
import time

import pytest

from brimline.engine import digests as digests_module
from brimline.engine.digests import Digests, files_of
from brimline.engine.store import Store
from brimline.errors import InputError

# FIPS 180-2, appendix B.1: the digest of the message "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def reads(monkeypatch):
    """Names of the files whose bytes are read."""
    names = []
    inner = digests_module.digest_of
    monkeypatch.setattr(
        digests_module, "digest_of", lambda path: names.append(path.name) or inner(path)
    )
    return names


@pytest.fixture
def later(monkeypatch):
    """A clock ten seconds ahead, so that files just written count as settled."""
    now = time.time
    monkeypatch.setattr(digests_module.time, "time", lambda: now() + 10)


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store")


@pytest.fixture
def survey(tmp_path):
    path = tmp_path / "survey.txt"
    path.write_text("abc")
    return path


def test_the_digest_is_sha256(survey):
    assert Digests().content(survey) == ABC


@pytest.mark.usefixtures("later")
def test_a_settled_file_is_read_once(survey, store, reads):
    for _ in range(3):
        digests = Digests(store)
        assert digests.content(survey) == ABC
        digests.save()
    assert reads == ["survey.txt"]


def test_a_file_changed_a_moment_ago_is_read_again(survey, store, reads):
    for _ in range(2):
        digests = Digests(store)
        digests.content(survey)
        digests.save()
    assert len(reads) == 2


@pytest.mark.usefixtures("later")
def test_without_trust_every_file_is_read(survey, store, reads):
    for trust in (True, False):
        digests = Digests(store, trust=trust)
        digests.content(survey)
        digests.save()
    assert len(reads) == 2


@pytest.mark.usefixtures("later")
@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no time of the last status change")
def test_an_edit_that_keeps_size_and_date_is_noticed(survey, store):
    digests = Digests(store)
    before = digests.content(survey)
    digests.save()
    times = survey.stat()
    time.sleep(0.02)  # more than one step of the file system's clock
    survey.write_text("abd")
    os.utime(survey, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert Digests(store).content(survey) != before


@pytest.mark.usefixtures("later")
def test_a_damaged_note_is_as_good_as_none(survey, store, reads):
    digests = Digests(store)
    digests.content(survey)
    digests.save()
    note = store.folder / "notes" / "files"
    note.write_text(note.read_text().replace(ABC[:4], "0000"))
    assert Digests(store).content(survey) == ABC
    assert len(reads) == 2


@pytest.mark.usefixtures("later")
def test_files_that_are_gone_leave_the_note(survey, store, tmp_path):
    other = tmp_path / "other.txt"
    other.write_text("x")
    digests = Digests(store)
    digests.content(survey)
    digests.content(other)
    other.unlink()
    digests.save()
    text = str(store.noted("files"))
    assert "survey.txt" in text
    assert "other.txt" not in text


def test_a_file_of_tomorrow_is_read_again_each_time(survey, store, reads):
    for text in ("abc", "abd"):
        survey.write_text(text)
        os.utime(survey, (time.time() + 86_400,) * 2)
        digests = Digests(store)
        digests.content(survey)
        digests.save()
    assert reads == ["survey.txt"] * 2


def test_one_run_takes_one_version_of_a_file(survey):
    digests = Digests()
    assert digests.content(survey) == ABC
    survey.write_text("abcd")
    with pytest.raises(InputError, match="changed while"):
        digests.content(survey)
    assert digests.taken(survey) == (3, ABC)  # what the results rest on


def test_a_missing_file_is_the_person_s_to_mend(tmp_path):
    with pytest.raises(InputError, match=r"gone\.tif: the file cannot be read .* Mend: check"):
        Digests().content(tmp_path / "gone.tif")


def test_a_file_that_grows_while_it_is_read_is_refused(survey, monkeypatch):
    def growing(path):
        path.write_text("abcdef")
        return ABC

    monkeypatch.setattr(digests_module, "digest_of", growing)
    with pytest.raises(InputError, match="changed while it was being read"):
        Digests().content(survey)


def names(path):
    return [found.name for found in files_of(path)]


def touch(folder, *files):
    for file in files:
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_text("")


def test_a_folder_and_a_pattern_stand_for_their_files(tmp_path):
    touch(tmp_path, "b.laz", "a.laz", "deep/c.laz", "note.txt")
    assert names(tmp_path / "*.laz") == ["a.laz", "b.laz"]
    assert names(tmp_path) == ["a.laz", "b.laz", "c.laz", "note.txt"]
    assert names(tmp_path / "de*" / "*.laz") == ["c.laz"]
    assert names(tmp_path / "**" / "*.laz") == ["a.laz", "b.laz", "c.laz"]
    assert names(tmp_path / "*.tif") == []
    assert names(tmp_path / "gone.tif") == ["gone.tif"]


def test_files_that_are_read_along_belong_to_a_path(tmp_path):
    touch(tmp_path, "a.shp", "a.dbf", "a.shx", "a.prj", "ab.dbf", "s.gpkg", "s.gpkg-wal")
    touch(tmp_path, "t.tif", "t.tfw", "t.tif.aux.xml", "t.tif.ovr", "s.gpkg-shm")
    assert set(names(tmp_path / "a.shp")) == {"a.shp", "a.dbf", "a.shx", "a.prj"}
    assert names(tmp_path / "s.gpkg") == ["s.gpkg", "s.gpkg-wal"]
    assert names(tmp_path / "t.tif") == ["t.tif", "t.tfw", "t.tif.aux.xml"]


def test_a_mosaic_brings_its_sources_even_through_another(tmp_path):
    touch(tmp_path, "tiles/a.tif", "tiles/a.tfw")
    band = '<VRTDataset><SourceFilename relativeToVRT="1">{}</SourceFilename></VRTDataset>'
    (tmp_path / "inner.vrt").write_text(band.format("tiles/a.tif"))
    (tmp_path / "outer.vrt").write_text(band.format("inner.vrt") + band.format("outer.vrt"))
    assert names(tmp_path / "outer.vrt") == ["outer.vrt", "inner.vrt", "a.tif", "a.tfw"]
