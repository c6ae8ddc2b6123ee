"""The documentation site builds without a warning, its reference made from the declarations."""

import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("furo", reason="the docs extra is not installed")

_ROOT = Path(__file__).parents[3]


@pytest.mark.slow
def test_the_site_builds_without_a_warning(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "-q", "-b", "html", str(_ROOT / "docs"), tmp_path],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "freeboard" in (tmp_path / "_made" / "layers.html").read_text(encoding="utf-8")
    assert "terrain" in (tmp_path / "_made" / "configuration.html").read_text(encoding="utf-8")
    assert "swale_rows" in (tmp_path / "_made" / "names.html").read_text(encoding="utf-8")
