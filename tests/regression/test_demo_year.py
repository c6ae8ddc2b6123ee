"""The demo's answer for the year: what it said when it was last looked at by a person.

Tolerances leave room for other versions of the libraries, not for other arithmetic.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pyogrio
import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    for name in ("configs", "sample_data"):
        (folder / name).mkdir()
    shutil.copy(ROOT / "configs" / "quillback_hill.toml", folder / "configs")
    files = folder / "sample_data" / "quillback_hill"
    script = ROOT / "sample_data" / "make_quillback_hill.py"
    subprocess.run([sys.executable, script, files], check=True)
    config = folder / "configs" / "quillback_hill.toml"
    command = [sys.executable, "-m", "brimline", "run", config, "--until", "year", "--out"]
    subprocess.run([*command, folder / "out"], check=True)
    return folder / "out"


def rows(folder, name):
    return pyogrio.read_dataframe(folder / "site.gpkg", layer=name)


@pytest.mark.slow
def test_the_demo_answers_its_question(demo):
    headline = json.loads((demo / "run.json").read_text(encoding="utf-8"))["headline"]
    assert headline["worst_year"] == headline["year_of_least_rain"] == "2004"
    assert headline["without_mains_average_pct"] == pytest.approx(65.1, abs=0.3)
    assert headline["without_mains_worst_pct"] == pytest.approx(47.9, abs=0.3)
    assert headline["mains_avoided_a_year_m3"] == pytest.approx(266, rel=0.02)
    zones = rows(demo, "zones").set_index("zone_id")
    share = zones["share_without_mains"]
    assert share["Kitchen beds"] == pytest.approx(0.859, abs=0.005)
    assert share["Young orchard"] == pytest.approx(0.724, abs=0.005)
    assert share["Old orchard"] == pytest.approx(0.648, abs=0.005)
    answers = rows(demo, "size_answers").set_index("element_id")
    assert answers.loc["Yard tank", "smallest_m3"] == pytest.approx(26.5, rel=0.02)
    assert answers.loc["Yard tank", "pays_until_m3"] == pytest.approx(6.15, abs=1.6)  # one step
    assert answers.loc["Hill pond", "smallest_m3"] == pytest.approx(1391, rel=0.03)
    cases = rows(demo, "year_sensitivity").set_index("case")["share_without_mains"]
    assert cases["drier climate"] == pytest.approx(0.582, abs=0.005)
    assert cases["soil that holds less"] == pytest.approx(0.615, abs=0.005)
    assert cases["soil that holds more"] == pytest.approx(0.686, abs=0.005)


@pytest.mark.slow
def test_the_demos_water_closes_over_the_years(demo):
    """Into every store over the record less out of it is what it holds, within what it can hold."""
    stores = rows(demo, "store_years")
    mean = stores[stores["year"].isna()].set_index("element_id")
    gains = mean["runoff_in_m3"] + mean["overflow_in_m3"]
    losses = mean[["spilled_m3", "evaporated_m3", "soaked_m3", "drawn_m3"]].sum(axis=1)
    full = rows(demo, "elements").set_index("element_id")["storage_m3"]
    assert ((gains - losses).abs() <= full[mean.index] / 16 + 1e-6).all()  # 16 years
    spilled = mean.loc["Yard tank", "spilled_m3"]
    assert mean.loc["Rain garden", "overflow_in_m3"] == pytest.approx(spilled)
