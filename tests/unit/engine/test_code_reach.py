"""A change anywhere in the code that a stage reaches is noticed; a change elsewhere is not."""

import importlib
import itertools
import json
import sys
from dataclasses import replace

import pytest

import brimline.layers.catalogue
from brimline.engine.digests import Digests
from brimline.engine.key import CodeReach
from brimline.engine.known import KnownParts, Later, declared_from, plain_of
from brimline.engine.stage import Stage
from brimline.engine.store import Store
from brimline.errors import InputError, InternalError

FILES = {
    "__init__.py": '__version__ = "1"\n',
    "stages/__init__.py": "",
    "stages/flow.py": """
from typing import TYPE_CHECKING
from {p}.water import route
if TYPE_CHECKING:
    from {p}.only_types import Thing

def run(given, report):
    from {p} import late
    return {{}}

def hidden():
    kept = 3
    return lambda given, report: {{"a": kept}}
""",
    "water/__init__.py": "from {p}.water.routing import route\n",
    "water/routing.py": "from {p}.water._kernels import step\n\ndef route():\n    return step()\n",
    "water/_kernels.py": '''def step():
    """Take one step."""
    return 1
''',
    "late.py": "import {p}.tables.cover\n",
    "tables/__init__.py": "",
    "tables/cover.py": "CN = 75\n",
    "only_types.py": "class Thing: ...\n",
    "other.py": "A = 1\n",
    "engine/__init__.py": "",
}
_COUNT = itertools.count()


class Package:
    """A package on disk under a name of its own."""

    def __init__(self, folder):
        self.name = f"toyland{next(_COUNT)}"
        self.root = folder / self.name
        for file, text in FILES.items():
            self.write(file, text.replace("{p}", self.name).replace("{{", "{").replace("}}", "}"))
        importlib.invalidate_caches()
        flow = importlib.import_module(f"{self.name}.stages.flow")
        self.stage = Stage("flow", 1, "Flow", (), (), flow.run)
        self.hidden = replace(self.stage, run=flow.hidden())

    def write(self, file, text):
        path = self.root / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)

    def edit(self, file, old, new):
        text = (self.root / file).read_text()
        assert old in text
        self.write(file, text.replace(old, new))

    def reach(self, stage=None):
        return CodeReach(Digests(), self.name).of(stage or self.stage)


@pytest.fixture
def package(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    yield (made := Package(tmp_path))
    for name in [name for name in sys.modules if name.partition(".")[0] == made.name]:
        del sys.modules[name]


def test_the_reach_is_what_is_imported_by_whatever_way(package):
    short = {name.removeprefix(f"{package.name}.") for name in package.reach()}
    assert short == {
        "stages",
        "stages.flow",
        "water",
        "water.routing",
        "water._kernels",
        "late",
        "tables",
        "tables.cover",
    }


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("water/_kernels.py", "return 1", "return 2"),  # a called kernel of another file
        ("tables/cover.py", "75", "76"),  # a constant behind a late import
        ("stages/flow.py", "kept = 3", "kept = 4"),
        ("water/__init__.py", "route\n", "route\nroute.fast = True\n"),
        ("tables/__init__.py", "", "A = 1\n"),
    ],
)
def test_an_edit_in_reach_changes_the_digest_of_that_module_alone(package, file, old, new):
    before = package.reach()
    package.edit(file, old, new)
    after = package.reach()
    changed = [name for name in after if after[name] != before[name]]
    assert len(changed) == 1
    assert changed[0].replace(".", "/").endswith(file.removesuffix(".py").removesuffix("/__init__"))


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("other.py", "A = 1", "A = 2"),
        ("only_types.py", "...", "x = 1"),
        ("engine/__init__.py", "", "A = 1\n"),
        ("__init__.py", '"1"', '"2"'),  # the root holds no more than the version
        ("water/_kernels.py", "Take one step.", "Step once."),
        ("water/_kernels.py", "return 1", "return 1  # metre\n"),
    ],
)
def test_edits_out_of_reach_docstrings_and_comments_do_not_matter(package, file, old, new):
    before = package.reach()
    package.edit(file, old, new)
    assert package.reach() == before


def test_a_new_import_widens_the_reach(package):
    package.edit("water/_kernels.py", "def step", f"import {package.name}.other\n\ndef step")
    assert f"{package.name}.other" in package.reach()


def test_what_a_package_loads_only_when_asked_counts_where_the_package_is_imported(package):
    package.write(
        "water/__init__.py",
        f"""
from importlib import import_module
from typing import TYPE_CHECKING
if TYPE_CHECKING:
    from {package.name}.water.routing import route

def __getattr__(name):
    return getattr(import_module(__name__ + ".routing"), name)
""",
    )
    reach = package.reach()
    assert {f"{package.name}.water.routing", f"{package.name}.water._kernels"} <= set(reach)
    package.edit("water/_kernels.py", "return 1", "return 2")
    assert package.reach() != reach


def test_a_function_that_carries_hidden_state_is_refused(package):
    with pytest.raises(InternalError, match="stage flow must run a plain function"):
        package.reach(package.hidden)


def test_a_function_from_outside_the_package_is_refused(package):
    with pytest.raises(InternalError, match="of a module of toyland"):
        package.reach(replace(package.stage, run=importlib.import_module))


def test_the_reach_in_brimline_itself_leaves_the_engine_out():
    stage = Stage("toy", 1, "Toy", (), (), brimline.layers.catalogue.layer)
    reach = CodeReach(Digests()).of(stage)
    assert {"brimline.layers.catalogue", "brimline.layers.schema"} <= set(reach)
    assert not any(name.startswith("brimline.engine") for name in reach)


def test_code_that_is_edited_while_a_run_goes_on_is_noticed(package):
    reach = CodeReach(Digests(), package.name)
    package.edit("other.py", "1", "22")  # out of the stage's reach
    reach.check_unchanged(package.stage)
    package.edit("late.py", "import", "\nimport")
    with pytest.raises(InputError, match="changed while"):
        reach.check_unchanged(package.stage)


def test_a_declaration_comes_back_from_plain_values_without_its_module(package):
    plain = json.loads(json.dumps(plain_of(replace(package.stage, typed={"made": Stage}))))
    back = Stage(**declared_from(plain))
    assert back.run == Later(package.stage.run.__module__, "run")
    assert back.run.found is package.stage.run
    assert back.typed["made"].found is Stage
    assert CodeReach(Digests(), package.name).of(back) == package.reach()
    with pytest.raises(InternalError, match="plain function"):
        plain_of(package.hidden)


def test_what_is_known_holds_for_the_same_code_and_the_same_question(tmp_path):
    store, asked = Store(tmp_path), []

    def find():
        asked.append(1)
        return len(asked)

    assert [KnownParts(store, "a").recall("n", [1], find) for _ in range(2)] == [1, 1]
    assert KnownParts(store, "b").recall("n", [1], find) == 2
    assert KnownParts(store, "b").recall("n", [2], find) == 3
    assert KnownParts().recall("n", [2], find) == 4
