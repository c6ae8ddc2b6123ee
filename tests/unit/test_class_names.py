"""One name, one thing: no two classes of the package share a name."""

import ast
from collections import defaultdict
from pathlib import Path

import brimline

ROOT = Path(brimline.__file__).parent


def test_no_two_classes_share_a_name():
    homes = defaultdict(list)
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes[node.name].append(path.relative_to(ROOT).as_posix())
    assert len(homes) > 200
    assert {name: at for name, at in homes.items() if len(at) > 1} == {}
