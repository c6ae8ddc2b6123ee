"""Elevation on another machine: what is asked of whom, what is kept, and what goes wrong.

The server is a thread of this process on this machine's own address; every wait has an end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from tests.range_server import Server

from brimline.errors import InputError, Severity
from brimline.io import remote
from brimline.io.elevation import read_elevation

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PIECE = 1000


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    monkeypatch.setattr(remote, "_PIECE", PIECE)
    monkeypatch.setattr(remote, "_WAIT_S", 0.01)
    monkeypatch.setattr(remote, "_SILENT_S", 5.0)
    server = Server()
    server.files["a.tif"] = np.random.default_rng(1).bytes(3500)
    yield server
    server.close()


def refused(urls: list[str], folder: Path, hosts: tuple[str, ...]) -> str:
    with pytest.raises(InputError) as caught:
        remote.fetch(urls, folder, hosts)
    assert all(problem.mend for problem in caught.value.problems)
    return str(caught.value)


def test_a_file_is_fetched_in_ranges_once_and_kept(server: Server, tmp_path: Path) -> None:
    url = server.url("a.tif")
    found = remote.fetch([url], tmp_path, [server.host])
    assert found.paths[url].read_bytes() == server.files["a.tif"]
    assert found.paths[url].name == "a.tif"
    ranges = [f"bytes={at}-{min(at + PIECE, 3500) - 1}" for at in range(0, 3500, PIECE)]
    assert server.asked == [("/a.tif", "bytes=0-0"), *(("/a.tif", one) for one in ranges)]
    server.asked.clear()
    again = remote.fetch([url], tmp_path, [server.host])
    assert server.asked == [("/a.tif", "bytes=0-0")]  # whether it changed, and no more
    assert again.asked_bytes == 0


def test_what_changed_on_the_server_is_fetched_anew(server: Server, tmp_path: Path) -> None:
    url = server.url("a.tif")
    remote.fetch([url], tmp_path, [server.host])
    server.files["a.tif"], server.tags["a.tif"] = b"other" * 100, '"2"'
    found = remote.fetch([url], tmp_path, [server.host])
    assert found.paths[url].read_bytes() == b"other" * 100


def test_a_host_that_nobody_named_is_asked_for_nothing(server: Server, tmp_path: Path) -> None:
    port = server.host.partition(":")[2]
    for hosts in ((), ("127.0.0.1",), (f"localhost:{port}",), ("example.org",)):
        told = refused([server.url("a.tif")], tmp_path, hosts)
        assert f"lies on {server.host}, which inputs.hosts does not name" in told
        assert f'hosts = ["{server.host}"]' in told
    for url in (f"http://me:secret@{server.host}/a.tif", server.url("*.tif")):
        assert "is no plain address" in refused([url], tmp_path, (server.host,))
    assert server.asked == []


def test_a_server_that_sends_on_elsewhere_is_not_followed(server: Server, tmp_path: Path) -> None:
    other = Server()
    try:
        other.files["b.tif"] = b"b" * 10
        server.sends_on = other.url("b.tif")
        told = refused([server.url("a.tif")], tmp_path, (server.host,))
        assert f"sends on to {other.host}, which inputs.hosts does not name" in told
        assert other.asked == []
        url = server.url("a.tif")
        found = remote.fetch([url], tmp_path, [server.host, other.host])
        assert found.paths[url].read_bytes() == b"b" * 10
    finally:
        other.close()


def test_a_server_that_ends_early_costs_a_message_and_what_came_is_kept(
    server: Server, tmp_path: Path
) -> None:
    url, server.cut_at = server.url("a.tif"), 2300
    assert "ended after 2300 of its 3500 bytes" in refused([url], tmp_path, (server.host,))
    server.cut_at = None
    server.asked.clear()
    found = remote.fetch([url], tmp_path, [server.host])
    assert found.paths[url].read_bytes() == server.files["a.tif"]
    assert found.asked_bytes == 1200
    assert server.asked[1][1] == "bytes=2300-3299"


def test_a_server_that_vanishes_costs_a_message_and_a_kept_copy_is_taken(
    server: Server, tmp_path: Path
) -> None:
    url = server.url("a.tif")
    remote.fetch([url], tmp_path, [server.host])
    server.close()
    found = remote.fetch([url], tmp_path, [server.host])
    (notice,) = found.notices
    assert notice.severity is Severity.WARNING
    assert "the copy kept here was taken" in notice.message
    assert "does not answer" in refused([server.url("new.tif")], tmp_path, (server.host,))


def test_a_busy_server_is_asked_again_and_one_without_the_file_is_not(
    server: Server, tmp_path: Path
) -> None:
    server.codes = [503, 429]
    url = server.url("a.tif")
    assert remote.fetch([url], tmp_path, [server.host]).paths[url].is_file()
    server.asked.clear()
    both = [server.url("no.tif"), server.url("nor.tif")]
    told = refused(both, tmp_path, (server.host,))
    assert all(f"{one}: is answered with 404" in told for one in both)  # all at once
    assert len(server.asked) == 2


def test_a_server_without_ranges_and_a_file_that_changes_are_told(
    server: Server, tmp_path: Path
) -> None:
    server.whole = True
    told = refused([server.url("a.tif")], tmp_path, (server.host,))
    assert "does not answer requests for ranges" in told
    server.whole = False
    known = remote._Known(server.url("a.tif"), 3500, '"old"')
    with pytest.raises(remote._Fault, match="changed while it was fetched"):
        remote._piece(known, 0, 100, frozenset({server.host}))


def test_a_fetched_raster_is_the_raster(server: Server, tmp_path: Path) -> None:
    dem = np.add.outer(np.arange(40.0), np.arange(30.0)).astype(np.float32)
    with rasterio.open(
        tmp_path / "here.tif", "w", driver="GTiff", height=40, width=30, count=1, dtype="float32",
        crs="EPSG:32633", transform=from_origin(500_000, 5_200_000, 2, 2),
    ) as file:  # fmt: skip
        file.write(dem, 1)
    server.files["tile.tif"] = (tmp_path / "here.tif").read_bytes()
    url = server.url("tile.tif")
    found = remote.fetch([url], tmp_path / "kept", [server.host])
    np.testing.assert_array_equal(read_elevation(found.paths[url]).dem, dem)
