"""The wheel alone runs a demo, in a fresh environment of every Python that this machine has."""

import json
import os
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pyogrio
import pytest

_ROOT = Path(__file__).parents[2]
_SITE = "fernhollow_yard"
_OLDEST, _NEWEST = 11, 19  # of Python 3; `requires-python` names the oldest


def _pythons():
    """One interpreter with venv for each minor version, from the path and from pyenv."""
    named = [shutil.which(f"python3.{minor}") for minor in range(_OLDEST, _NEWEST)]
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found = {}
    for path in (sys.executable, *filter(None, named), *sorted(pyenv.glob("3.*/bin/python"))):
        say = "import sys, venv; print(*sys.version_info[:2])"
        done = subprocess.run([path, "-c", say], capture_output=True, text=True, check=False)
        version = tuple(map(int, done.stdout.split())) if done.returncode == 0 else (0, 0)
        if version >= (3, _OLDEST):
            found.setdefault(f"{version[0]}.{version[1]}", str(path))
    return found


def _run(*words, cwd, **more):
    """Run a command away from the sources; return what it prints."""
    env = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")} | more
    done = subprocess.run(
        list(map(str, words)), cwd=cwd, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{words}\n{done.stdout[-2000:]}\n{done.stderr[-4000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dist")
    _run(sys.executable, "-m", "pip", "wheel", "--no-deps", "-w", folder, _ROOT, cwd=folder)
    (built,) = folder.glob("brimline-*.whl")
    return built


@pytest.mark.slow
@pytest.mark.skipif(find_spec("pip") is None, reason="pip is not installed in this environment")
@pytest.mark.parametrize("version", _pythons())
def test_a_demo_runs_from_the_wheel(wheel, version, tmp_path):
    _run(_pythons()[version], "-m", "venv", "fresh", cwd=tmp_path)
    programs = tmp_path / "fresh" / ("Scripts" if os.name == "nt" else "bin")
    python = programs / "python"
    _run(python, "-m", "pip", "install", "--quiet", wheel, cwd=tmp_path)
    home = _run(python, "-c", "import brimline; print(brimline.__file__)", cwd=tmp_path)
    assert Path(home.strip()).is_relative_to(tmp_path)

    (tmp_path / "configs").mkdir()
    (tmp_path / "sample_data").mkdir()
    shutil.copy(_ROOT / "configs" / f"{_SITE}.toml", tmp_path / "configs")
    for script in (_ROOT / "sample_data").glob("make_*.py"):  # one takes functions of another
        shutil.copy(script, tmp_path / "sample_data")
    _run(python, f"sample_data/make_{_SITE}.py", cwd=tmp_path)
    kernels = str(tmp_path / "kernels")  # a first run on a fresh machine compiles all it needs
    site, out = tmp_path / "configs" / f"{_SITE}.toml", tmp_path / "out"
    _run(programs / "brimline", "check", site, cwd=tmp_path, BRIMLINE_KERNEL_CACHE=kernels)
    _run(
        programs / "brimline",
        "run",
        site,
        "--out",
        out,
        cwd=tmp_path,
        BRIMLINE_KERNEL_CACHE=kernels,
    )
    told = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert not any(stage["reused"] for stage in told["stages"])
    layers = {str(name) for name, _ in pyogrio.list_layers(out / "site.gpkg")}
    assert {"elements", "overflows", "subcatchments", "swale_lines"} <= layers
    assert (out / "report.html").stat().st_size > 0
    assert (out / "map.html").stat().st_size > 0
