"""The command answers at once and catalogues what it makes."""

import json
import subprocess
import sys

from brimline.layers import CATALOGUE, drawn


def brimline(*arguments):
    return subprocess.run(
        [sys.executable, "-X", "utf8", "-m", "brimline", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_help_imports_nothing_heavy():
    heavy = {"numba", "geopandas", "rasterio", "pandas", "numpy"}
    code = (
        "import sys; sys.argv = ['brimline', '--help']\n"
        "from brimline.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', sorted({heavy!r} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "LOADED []" in done.stdout


def test_what_a_draft_makes_needs_no_drawing_library():
    code = "import sys, brimline.publish.plan; print('LOADED', 'matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "LOADED False" in done.stdout


def test_layers_lists_every_published_item_and_flag():
    done = brimline("layers")
    assert done.returncode == 0
    shown = {item.name for item in CATALOGUE.values() if item.published}
    shown |= {item.name for item in drawn.ITEMS}
    for item in CATALOGUE.values():
        assert (f"{item.name}  (" in done.stdout) == (item.name in shown)
    catalogue = json.loads(brimline("layers", "--json").stdout)
    assert {entry["name"] for entry in catalogue["layers"]} == {
        item.name for item in CATALOGUE.values() if item.published
    }


def test_a_missing_site_file_leaves_with_two_and_says_how_to_start_one(tmp_path):
    for command in ("check", "run"):
        done = brimline(command, str(tmp_path / "none.toml"))
        assert done.returncode == 2
        assert "brimline new" in done.stderr
