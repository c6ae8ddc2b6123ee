"""A run of an unchanged site ends before the stages are loaded, and only then."""

import json
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from brimline.cli import run as command
from brimline.engine import glance
from brimline.errors import StoreError


@pytest.fixture(scope="module")
def ran(tmp_path_factory, site_class):
    """A site that ran once, its files old enough to be sure of."""
    patch = pytest.MonkeyPatch()
    folder = tmp_path_factory.mktemp("glance")

    class Caught:
        """Stands for what catches output; this fixture outlives one test."""

        def readouterr(self):
            return type("Said", (), {"out": "", "err": ""})()

    site = site_class(folder, Caught(), patch)
    site.inputs["elevation"] = "t*.tif"
    site.write_terrain()
    site.tables = "[survey]\nrealisations = 0\n"
    path = site.write()
    time.sleep(2.1)
    patch.setattr("sys.argv", ["brimline", "run", str(path)])
    with pytest.raises(SystemExit) as left:
        command_main()
    patch.undo()
    assert not left.value.code
    return path


def command_main():
    from brimline.cli.main import main

    main()


@pytest.fixture
def site_path(ran, tmp_path):
    """The site, put back after a test, its note renewed for the files' new times."""
    kept = tmp_path / "kept"
    shutil.copytree(ran.parent, kept)
    yield ran
    for held in (*ran.parent.glob("t*.tif"), ran):
        held.unlink(missing_ok=True)
    shutil.copytree(kept, ran.parent, dirs_exist_ok=True)
    note = ran.parent / ".brimline" / glance.NOTE
    told = json.loads(note.read_text())
    told["files"] = {path: list(glance.status(Path(path))) for path in told["files"]}
    note.write_text(json.dumps(told))


def looks_at_everything(monkeypatch, capsys, path, *options):
    """Run, and tell whether the stages were asked."""
    asked = []

    def run_site(*_arguments):
        asked.append(True)
        raise StoreError("asked")

    monkeypatch.setattr(command, "run_site", run_site)
    monkeypatch.setattr("sys.argv", ["brimline", "run", str(path), *options])
    with pytest.raises(SystemExit):
        command_main()
    told = capsys.readouterr().out
    assert bool(asked) != ("Nothing has changed" in told)
    return bool(asked)


def test_an_unchanged_site_is_seen_at_a_glance(ran, monkeypatch, capsys):
    assert not looks_at_everything(monkeypatch, capsys, ran)
    last = (ran.parent / ".brimline" / "journal.jsonl").read_text().splitlines()[-1]
    assert json.loads(last)["event"] == "nothing changed"
    assert not looks_at_everything(monkeypatch, capsys, ran, "--brief")


@pytest.mark.parametrize(
    "option", ["--rebuild", "--verify", "--pdf", "--until=flow", "--out=elsewhere", "--json"]
)
def test_options_that_ask_for_more_are_not_glanced_over(ran, monkeypatch, capsys, option):
    assert looks_at_everything(monkeypatch, capsys, ran, option)


def change_setting(folder):
    path = folder / "site.toml"
    path.write_text(path.read_text() + "\n[contours]\ninterval_m = 2\n")


def rewrite_the_same(folder):
    path = folder / "terrain.tif"
    path.write_bytes(path.read_bytes())


def add_a_tile(folder):
    shutil.copy(folder / "terrain.tif", folder / "tile.tif")


def lose_an_input(folder):
    (folder / "terrain.tif").unlink()


def lose_the_results(folder):
    (folder / "runs" / "site" / "run.json").unlink()


def lose_the_note(folder):
    glance.forget(folder / ".brimline")


def spoil_the_note(folder):
    (folder / ".brimline" / glance.NOTE).write_text('{"site": 1}')


@pytest.mark.parametrize(
    "change",
    [change_setting, rewrite_the_same, add_a_tile, lose_an_input, lose_the_results, lose_the_note,
     spoil_the_note],
)  # fmt: skip
def test_any_change_of_a_file_is_looked_into(site_path, monkeypatch, capsys, change):
    assert not looks_at_everything(monkeypatch, capsys, site_path)
    change(site_path.parent)
    assert looks_at_everything(monkeypatch, capsys, site_path)


def test_other_libraries_or_code_are_looked_into(ran, monkeypatch, capsys):
    monkeypatch.setattr(glance, "_libraries", lambda: ["numpy-3.0.dist-info"])
    assert looks_at_everything(monkeypatch, capsys, ran)
    monkeypatch.undo()
    real = glance.code_files()
    monkeypatch.setattr(glance, "code_files", lambda: dict(list(real.items())[1:]))
    assert looks_at_everything(monkeypatch, capsys, ran)


def test_a_file_changed_just_before_the_run_leaves_no_note(tmp_path):
    held = tmp_path / "a.tif"
    held.write_bytes(b"a")
    found = {held: glance.status(held)}
    moment = held.stat().st_mtime

    def text(began_s):
        return glance.note_text(held, "Site", tmp_path, [held], found, {}, [held], began_s)

    assert text(moment + 1.0) == ""
    assert json.loads(text(moment + 3.0))["name"] == "Site"


def test_a_tile_that_came_during_the_run_leaves_no_note(tmp_path):
    first, later = tmp_path / "a.tif", tmp_path / "b.tif"
    first.write_bytes(b"a")
    read = {first: glance.status(first)}

    def text():
        began_s = first.stat().st_mtime + 3.0
        tiles = [tmp_path / "*.tif"]
        return glance.note_text(first, "Site", tmp_path, tiles, read, {}, [first], began_s)

    assert text() != ""
    later.write_bytes(b"b")  # was not read: the next run must look
    assert text() == ""


def test_code_changed_during_the_run_leaves_no_note(tmp_path):
    held = tmp_path / "a.tif"
    held.write_bytes(b"a")
    found = {held: glance.status(held)}
    began_s = held.stat().st_mtime + 3.0

    def text(code):
        return glance.note_text(held, "Site", tmp_path, [held], found, code, [held], began_s)

    size, _, _, inode = found[held]
    old, new = (int((began_s + late_s) * 1e9) for late_s in (-60, 1))
    assert text({tmp_path / "a.py": (size, old, old, inode)}) != ""
    assert text({tmp_path / "a.py": (size, new, new, inode)}) == ""


def test_a_run_that_keeps_every_stage_loads_none_of_them(site_path):
    heavy = {
        "geopandas",
        "matplotlib",
        "numba",
        "pandas",
        "pyarrow",
        "rasterio",
        "scipy",
        "shapely",
    }
    code = (
        "import sys; sys.argv = ['brimline', 'run', sys.argv[1], '--draft']\n"
        "from brimline.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', sorted({heavy!r} & sys.modules.keys()))"
    )
    for _ in range(2):  # the first brings the stages' results in, where a test made it forget
        done = subprocess.run(
            [sys.executable, "-c", code, str(site_path)], capture_output=True, text=True, check=True
        )
    assert "LOADED []" in done.stdout
