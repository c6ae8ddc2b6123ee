"""A watch folder takes a tile when it has arrived whole, and the site then runs."""

import time

import pytest

from brimline.cli import watch


@pytest.fixture
def tiled(site):
    """A site whose elevation is a folder of tiles, with one that covers it all."""
    (site.folder / "tiles").mkdir()
    (site.folder / "inbox").mkdir()
    site.inputs["elevation"] = "tiles/*.tif"
    site.write_terrain(name="tiles/a.tif")
    return site


def look(site, watcher):
    site.capsys.readouterr()
    moving = watcher.look()
    caught = site.capsys.readouterr()
    return moving, caught.out, caught.err


def test_a_tile_is_not_taken_while_it_is_copied_and_is_when_whole(tiled):
    path = tiled.write()
    options = watch.WatchOptions(tiled.folder / "inbox", None, settle_s=0.3, every_s=0.05)
    watcher = watch.Watcher(path, options)
    assert look(tiled, watcher)[0]  # the site's own inputs have yet to settle
    time.sleep(0.35)
    _, out, _ = look(tiled, watcher)
    assert "stages ran" in out
    assert look(tiled, watcher)[1:] == ("", "")
    tiled.dem = tiled.dem - 1.0
    tiled.write_terrain(name="whole.tif")
    content = (tiled.folder / "whole.tif").read_bytes()
    arriving = tiled.folder / "inbox" / "a.tif"
    for part in (0.3, 0.6, 0.9):  # a slow copy: touched before every look
        arriving.write_bytes(content[: int(part * len(content))])
        moving, out, err = look(tiled, watcher)
        assert (moving, out, err) == (True, "", "")
    time.sleep(0.35)
    look(tiled, watcher)  # it stalls, so it seems settled, but it does not read
    assert arriving.exists()
    arriving.write_bytes(content)
    assert look(tiled, watcher)[0]
    time.sleep(0.35)
    _, _, err = look(tiled, watcher)
    assert f"taken to {tiled.folder / 'tiles' / 'a.tif'}" in err
    time.sleep(0.35)
    _, out, _ = look(tiled, watcher)
    assert "stages ran" in out
    assert (tiled.folder / "tiles" / "a.tif").read_bytes() == content
    assert len(list((tiled.folder / "inbox" / "replaced").iterdir())) == 1
    assert tiled.run("--until", "survey", "--only", "rasters").code == 0
    assert tiled.raster("elevation").max() == pytest.approx(float(tiled.dem.max()), abs=1e-3)


def test_a_file_that_no_entry_takes_is_named_once(tiled):
    path = tiled.write()
    (tiled.folder / "whole").mkdir()
    tiled.write_terrain(name="inbox/a.tiff")
    options = watch.WatchOptions(tiled.folder / "inbox", None, settle_s=0.0, every_s=0.05)
    watcher = watch.Watcher(path, options)
    assert "no entry of inputs.elevation" in look(tiled, watcher)[2]
    assert "no entry" not in look(tiled, watcher)[2]


def test_once_leaves_with_the_exit_code_of_the_run(tiled):
    path = tiled.write()
    first = tiled.call("watch", str(path), "--once", "--settle", "0.1", "--every", "0.05")
    assert first.code == 0, first.err
    assert "stages ran" in first.out
    (tiled.folder / "tiles" / "a.tif").write_bytes(b"not a raster")
    failed = tiled.call("watch", str(path), "--once", "--settle", "0.1", "--every", "0.05")
    assert failed.code == 2
