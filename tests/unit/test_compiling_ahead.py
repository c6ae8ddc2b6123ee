"""What a first run compiles ahead, and that two processes do not compile the same twice."""

import importlib

import numpy as np

from brimline import _ahead, _jit


def test_each_listed_kernel_exists_and_its_kinds_can_be_read():
    lines = _ahead._LIST.read_text(encoding="utf-8").splitlines()
    assert len(lines) > 100
    for line in lines:
        module, name, kinds = line.split(maxsplit=2)
        kernel = getattr(importlib.import_module(f"brimline.{module}"), name, None)
        assert callable(kernel), (
            f"{module}.{name} is gone; after a first run with an empty cache, list anew: "
            "python -m brimline._ahead list"
        )
        given = kernel.__code__.co_argcount if not hasattr(kernel, "py_func") else None
        wanted = given or kernel.py_func.__code__.co_argcount
        assert len(_ahead._kinds(kinds)) == wanted, f"{module}.{name} takes {wanted} arguments"


def test_a_kernel_divides_by_zero_as_ieee_says():
    @_jit.kernel
    def halves(values, by):
        return values / by

    with np.errstate(divide="ignore"):
        assert halves(np.array([1.0]), np.float64(0.0))[0] == np.inf
