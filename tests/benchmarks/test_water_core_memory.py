"""The chain from ground to nested catchments stays within 40 bytes a cell above its input."""

import runpy
from pathlib import Path


def test_peak_of_memory_a_cell():
    probes = runpy.run_path(str(Path(__file__).with_name("probes.py")))
    found = probes["growth"](1500)
    # the input is held before; less than the result's own 17 bytes would be a broken measure
    assert 12 < found["bytes_per_cell"] <= 40
