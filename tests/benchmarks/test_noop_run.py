"""A run of an unchanged site: target well under one second, in a new process's first call.

The site is as large as brimline is meant to grow: 30 stages over a package of 150 modules of
200 lines each, 300 input files, 90 results.
"""

from __future__ import annotations

import importlib
import sys
import time

import pytest

from brimline.engine import CodeReach, Digests, RunInputs, Source, Stage, Store, Tools, execute

STAGES = 30
MODULES = 150
FILES = 300
TARGET_S = 0.5


class NoCodec:
    """Facts need none."""

    version = "none"


def module_text(number, name):
    below = [f"    import {name}.m{n}" for n in range(number + 1, min(number + 4, MODULES))]
    body = [
        f'def f{i}(a, b):\n    """Add."""\n    c = [a + {i}, b * 2]\n    return sum(c) - a\n'
        for i in range(40)
    ]
    makes = ", ".join(f'"v{number}_{i}": {{"n": {number}}}' for i in range(3))
    return "\n".join(
        [
            "def later():",
            *below,
            "    return 0",
            *body,
            f"def run(given, report):\n    return {{{makes}}}\n",
        ]
    )


def stages(name):
    for number in range(STAGES):
        module = importlib.import_module(f"{name}.m{number}")
        makes = tuple(f"v{number}_{i}" for i in range(3))
        needs = tuple(f"v{n}_0" for n in range(number))
        sources = ("survey",) if number == 0 else ()
        yield Stage(f"s{number}", 1, "S", needs, makes, module.run, sources=sources)


@pytest.fixture
def unchanged(tmp_path, monkeypatch):
    """A function that runs the site once more, all from what lies on disk."""
    name = "noopland"
    (tmp_path / name).mkdir()
    (tmp_path / name / "__init__.py").write_text("")
    for number in range(MODULES):
        (tmp_path / name / f"m{number}.py").write_text(module_text(number, name))
    (tmp_path / "survey").mkdir()
    files = tuple(tmp_path / "survey" / f"{number}.laz" for number in range(FILES))
    for path in files:
        path.write_bytes(path.name.encode() * 10_000)
    monkeypatch.syspath_prepend(tmp_path)
    importlib.invalidate_caches()
    chosen = tuple(stages(name))
    time.sleep(2.1)  # files changed a moment ago are read again, rightly

    def run():
        store = Store(tmp_path / ".brimline")
        digests = Digests(store)
        inputs = RunInputs({}, {"survey": Source(None, files)}, {"numpy": "2"}, digests)
        tools = Tools(NoCodec(), lambda _item, _value: None, CodeReach(digests, name).of)
        return execute(chosen, inputs, store, tools)

    assert len(run().ran) == STAGES
    yield run
    for module in [module for module in sys.modules if module.startswith(name)]:
        del sys.modules[module]


def test_a_run_of_an_unchanged_site(unchanged, benchmark):
    assert benchmark.pedantic(unchanged, rounds=5).ran == ()
    assert benchmark.stats.stats.median < TARGET_S
