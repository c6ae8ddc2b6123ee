"""Compiled kernels are kept by the content of their sources: shared, renewed where they must."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import brimline

_ROOT = Path(brimline.__file__).parent.parent
_RUN = """
import sys
import numpy as np
from brimline.terrain.slope import hillshade
import brimline.terrain._kernels as kernels
hillshade(np.zeros((9, 9), np.float32), cell_m=1.0)
found = [k.stats for k in vars(kernels).values() if hasattr(k, "stats")]
print(sum(len(s.cache_hits) for s in found), sum(sum(s.cache_misses.values()) for s in found))
"""


def _hits_and_misses(checkout: Path, kept: Path) -> tuple[int, int]:
    env = os.environ | {"PYTHONPATH": str(checkout), "BRIMLINE_KERNEL_CACHE": str(kept)}
    env.pop("NUMBA_DISABLE_JIT", None)
    done = subprocess.run(
        [sys.executable, "-c", _RUN], env=env, capture_output=True, text=True, check=True
    )
    hits, misses = done.stdout.split()
    return int(hits), int(misses)


def _checkout(folder: Path) -> Path:
    shutil.copytree(Path(brimline.__file__).parent, folder / "brimline")
    return folder


def test_another_checkout_with_the_same_sources_compiles_nothing(tmp_path):
    kept = tmp_path / "kept"
    first = _hits_and_misses(_checkout(tmp_path / "one"), kept)
    second = _hits_and_misses(_checkout(tmp_path / "two"), kept)
    assert first[1] > 0
    assert second[0] > 0
    assert second[1] == 0


def test_an_edit_in_what_a_kernel_imports_compiles_it_anew(tmp_path):
    kept = tmp_path / "kept"
    checkout = _checkout(tmp_path / "one")
    _, needed = _hits_and_misses(checkout, kept)
    unrelated = checkout / "brimline" / "cascade" / "_kernels.py"
    unrelated.write_text(unrelated.read_text() + "\n# an edit elsewhere\n")
    assert _hits_and_misses(checkout, kept)[1] == 0
    reached = checkout / "brimline" / "_jit.py"
    reached.write_text(reached.read_text() + "\n# an edit\n")
    assert _hits_and_misses(checkout, kept)[1] == needed


def _refused(kept: Path) -> str:
    env = os.environ | {"BRIMLINE_KERNEL_CACHE": str(kept), "PYTHONPATH": str(_ROOT)}
    env.pop("NUMBA_DISABLE_JIT", None)
    done = subprocess.run(
        [sys.executable, "-c", _RUN], env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    return done.stderr


@pytest.mark.skipif(os.name != "posix", reason="rights of others are another thing there")
def test_a_folder_that_others_can_write_gives_no_compiled_code(tmp_path):
    folder = tmp_path / "kernels"
    folder.mkdir()
    folder.chmod(0o777)
    assert "others on this machine can write" in _refused(tmp_path)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root gives files away")
def test_a_folder_that_is_anothers_gives_no_compiled_code(tmp_path):
    folder = tmp_path / "kernels"
    folder.mkdir(mode=0o755)
    os.chown(folder, 65534, 65534)
    assert "others on this machine can write" in _refused(tmp_path)
