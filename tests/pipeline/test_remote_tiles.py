"""A site whose elevation lies on a web server: asked only where its file names the host, kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.range_server import Server

from brimline.grid import held_levels

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.pipeline.conftest import Site


@pytest.fixture
def server(site: Site) -> Iterator[Server]:
    site.write_terrain()
    server = Server()
    server.files["tiles/terrain.tif"] = (site.folder / "terrain.tif").read_bytes()
    (site.folder / "terrain.tif").unlink()
    site.inputs["elevation"] = server.url("tiles/terrain.tif")
    yield server
    server.close()


def named(site: Site, server: Server) -> None:
    """Let the site's file name the host; a list, which the fixture's inputs are not."""
    site.inputs["elevation"] = f'{server.url("tiles/terrain.tif")}"\nhosts = ["{server.host}"]\n#"'


def test_nobody_is_asked_whom_the_sites_file_does_not_name(site: Site, server: Server) -> None:
    for done in (site.check(), site.run("--until", "survey")):
        assert done.code == 2
        assert f"lies on {server.host}, which inputs.hosts does not name" in done.err
        assert f'hosts = ["{server.host}"]' in done.err
    assert server.asked == []


def test_a_run_fetches_once_and_keeps_and_says_when_the_server_is_gone(
    site: Site, server: Server
) -> None:
    named(site, server)
    found = site.check()
    assert found.code == 0, found.err
    assert "1 elevation file is still to be fetched" in found.out
    assert server.asked == []
    done = site.run("--until", "survey", "--only", "rasters")
    assert done.code == 0, done.err
    np.testing.assert_array_equal(site.raster("elevation"), held_levels(site.dem))
    assert len(server.asked) == 2  # its first byte, and all of it in one piece
    assert site.check().code == 0
    done = site.run("--until", "survey", "--only", "rasters")
    assert done.code == 0
    assert len(server.asked) == 3
    assert "Nothing has changed" in done.out
    server.close()
    done = site.run("--until", "survey", "--only", "rasters")
    assert done.code == 0
    assert "the copy kept here was taken" in done.err


def test_a_server_that_ends_early_ends_the_run_with_a_message(site: Site, server: Server) -> None:
    named(site, server)
    server.cut_at = 1000
    done = site.run("--until", "survey")
    assert done.code == 2
    assert "ended after 1000 of its" in done.err
    assert "what came is kept" in done.err
