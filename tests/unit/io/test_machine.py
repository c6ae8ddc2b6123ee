"""What the machine has room for, and what is refused before anything is read."""

import tracemalloc

import numpy as np
import pytest
import rasterio
from affine import Affine

from brimline.errors import InputError
from brimline.io import machine
from brimline.io.elevation import read_elevation

GB = 10**9


def written(root, **files):
    for name, text in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return root


MEMINFO = {"proc/meminfo": "MemTotal: 9 kB\nMemAvailable:    8000000 kB\n"}


def test_what_is_available_is_free(tmp_path):
    assert machine.free_bytes(written(tmp_path, **MEMINFO)) == 8_000_000 * 1024


def test_a_machine_that_does_not_say_refuses_nothing(tmp_path):
    assert machine.free_bytes(tmp_path) is None


def test_a_group_above_may_have_less(tmp_path):
    # kernel documentation, cgroup v2: memory.max holds for all below; inactive_file can be given up
    group = "sys/fs/cgroup/jobs"
    root = written(
        tmp_path,
        **MEMINFO,
        **{
            "proc/self/cgroup": "0::/jobs/mine\n",
            f"{group}/mine/memory.max": "max\n",
            f"{group}/mine/memory.current": "5\n",
            f"{group}/memory.max": f"{3 * GB}\n",
            f"{group}/memory.current": f"{2 * GB}\n",
            f"{group}/memory.stat": f"anon 7\ninactive_file {GB // 2}\n",
        },
    )
    assert machine.free_bytes(root) == GB + GB // 2


def test_groups_of_the_first_kind_count_too(tmp_path):
    root = written(
        tmp_path,
        **MEMINFO,
        **{
            "proc/self/cgroup": "5:cpu:/a\n4:memory:/a\n",
            "sys/fs/cgroup/memory/a/memory.limit_in_bytes": f"{GB}\n",
            "sys/fs/cgroup/memory/a/memory.usage_in_bytes": f"{GB + 1}\n",
        },
    )
    assert machine.free_bytes(root) == 0


def test_this_machine_has_some():
    free = machine.free_bytes()
    assert free is None or 10**6 < free < 10**14


def test_most_cells_are_those_whose_needs_fit():
    most = machine.most_cells(2 * GB)
    assert machine.needs(most).memory_bytes <= 2 * GB < machine.needs(most + 1).memory_bytes
    assert machine.most_cells(10) == 1
    assert machine.most_cells(10**15) == machine.MAX_CELLS


@pytest.mark.parametrize("cell_m", [None, 0.5])
def test_too_large_a_survey_is_refused_by_its_header(tmp_path, monkeypatch, cell_m):
    path = tmp_path / "vast.tif"
    with rasterio.open(
        path, "w", "GTiff", 20_000, 20_000, 1, "EPSG:32633", Affine(1, 0, 4e5, 0, -1, 5.2e6),
        "float32", tiled=True, sparse_ok=True,
    ):  # fmt: skip
        pass
    monkeypatch.setattr(machine, "free_bytes", lambda: 2 * GB)
    tracemalloc.start()
    with pytest.raises(InputError) as fault:
        read_elevation(path, cell_m=cell_m)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 10**7
    told = str(fault.value)
    assert "400 million cells" in told
    assert "GB of memory" in told
    assert "terrain.cell_m" in told
    assert "brimline survey" in told


def test_a_survey_that_fits_is_read(tmp_path, monkeypatch):
    path = tmp_path / "small.tif"
    level = np.add.outer(np.arange(40.0), np.arange(50.0)).astype(np.float32)
    with rasterio.open(
        path, "w", "GTiff", 50, 40, 1, "EPSG:32633", Affine(1, 0, 4e5, 0, -1, 5.2e6), "float32"
    ) as file:
        file.write(level, 1)
    monkeypatch.setattr(machine, "free_bytes", lambda: GB)
    assert read_elevation(path).dem.shape == level.shape
