"""`brimline new` writes what it can and names what is missing."""

import numpy as np
import pytest
from tests.unit.io.test_levels import table
from typer.testing import CliRunner

from brimline.cli.main import app
from brimline.config import load
from brimline.errors import InputError
from brimline.io.crs import is_local
from brimline.io.vectors import read_layer


@pytest.fixture
def levels(tmp_path):
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 40, 60), rng.uniform(0, 30, 60)
    return table(tmp_path / "levels.csv", x, y, 10 + 0.04 * y)


def new(*words):
    found = CliRunner().invoke(app, ["new", *map(str, words)])
    if found.exception and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found


def test_a_local_grid_is_all_that_levels_need(tmp_path, levels):
    site = tmp_path / "yard"
    new(site, "--elevation", levels, "--crs", "local", "--latitude", 47.1, "--boundary", levels)
    settings = load(site / "site.toml").settings
    assert (settings.terrain.crs, settings.site.latitude_deg) == ("local", 47.1)
    plan = read_layer(site / "plan.gpkg", kinds={"line"}, crs=None, default_layer="drawn_swales")
    assert is_local(plan.frame.crs)


def test_levels_without_a_reference_system_are_no_dead_end(tmp_path, levels):
    site = tmp_path / "yard"
    told = new(site, "--elevation", levels)
    assert not (site / "plan.gpkg").exists()
    text = (site / "site.toml").read_text()
    assert "Still to be filled in: boundary under [inputs], crs under [terrain]" in text
    assert "crs under [terrain]" in told.output


def test_a_local_grid_without_a_latitude_says_so(tmp_path, levels):
    new(tmp_path / "yard", "--elevation", levels, "--crs", "local")
    assert "latitude_deg under [site]" in (tmp_path / "yard" / "site.toml").read_text()


def test_what_is_no_reference_system_is_refused(tmp_path, levels):
    with pytest.raises(InputError, match="not a coordinate reference system"):
        new(tmp_path / "yard", "--elevation", levels, "--crs", "utm of here")
