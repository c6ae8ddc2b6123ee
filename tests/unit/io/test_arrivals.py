"""A tile is taken when it is whole, and not while it is being copied."""

import shutil

import laspy
import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from brimline.errors import InputError
from brimline.io.arrivals import Settling, take, tiles_in, why_unreadable


class Clock:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


def tile(path, size=64):
    dem = np.random.default_rng(1).normal(100, 5, (size, size)).astype(np.float32)
    with rasterio.open(
        path, "w", driver="GTiff", height=size, width=size, count=1, dtype="float32",
        crs="EPSG:32626", transform=from_origin(350_000, 5_210_000, 1, 1), compress="deflate",
    ) as target:  # fmt: skip
        target.write(dem, 1)
    return path


def cloud(path, points=5000):
    file = laspy.LasData(laspy.LasHeader(point_format=6, version="1.4"))
    file.x = file.y = file.z = np.random.default_rng(2).uniform(0, 100, points)
    file.write(path)
    return path


def test_a_file_settles_only_after_it_has_stayed_as_it_is(tmp_path):
    clock = Clock()
    settling = Settling(30, clock)
    path = tmp_path / "a.tif"
    path.write_bytes(b"x")
    assert settling.settled([path]) == []
    clock.now = 29
    assert settling.settled([path]) == []
    path.write_bytes(b"xy")  # still growing
    clock.now = 31
    assert settling.settled([path]) == []
    clock.now = 60
    assert settling.settled([path]) == []
    clock.now = 61
    assert settling.settled([path]) == [path]


def test_only_elevation_files_under_their_final_name_count(tmp_path):
    for name in ("a.tif", "b.LAZ", "c.tif.part", ".d.tif", "notes.txt", "e.tiff.tmp"):
        (tmp_path / name).write_bytes(b"")
    assert [path.name for path in tiles_in(tmp_path)] == ["a.tif", "b.LAZ"]
    with pytest.raises(InputError, match="cannot be read"):
        tiles_in(tmp_path / "none")


@pytest.mark.parametrize("make", [tile, cloud], ids=["raster", "points"])
@pytest.mark.parametrize("share", [0.02, 0.4, 0.9])
def test_a_file_cut_short_does_not_read(tmp_path, make, share):
    whole = make(tmp_path / ("whole.tif" if make is tile else "whole.las"))
    assert why_unreadable(whole) == ""
    cut = tmp_path / f"cut{whole.suffix}"
    content = whole.read_bytes()
    cut.write_bytes(content[: int(share * len(content))])
    assert why_unreadable(cut) != ""


def test_a_tile_that_is_replaced_is_put_aside(tmp_path):
    inbox, home = tmp_path / "inbox", tmp_path / "tiles"
    inbox.mkdir()
    home.mkdir()
    (home / "a.tif").write_bytes(b"old")
    (inbox / "a.tif").write_bytes(b"new")
    took = take(inbox / "a.tif", home, inbox / "replaced")
    assert took.read_bytes() == b"new"
    assert list(inbox.glob("*.tif")) == []
    (aside,) = (inbox / "replaced").iterdir()
    assert aside.name.endswith("-a.tif")
    assert aside.read_bytes() == b"old"
    shutil.rmtree(inbox)
