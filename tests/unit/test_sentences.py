"""Sentences that people are told: none says a thing by denying its denial."""

import ast
import re
from pathlib import Path

import brimline

NO = "not|never|nor|cannot|without|no|nothing|none|nobody|nowhere"
UN = r"un(?!der|til|less|it|ion|if|iqu)\w+|invalid|incorrect"
# "neither … nor … nor" lists
TWICE = re.compile(rf"\b(?:{NO})\b(?: [\w'{{}}-]+){{0,2}} (?!nor\b)(?:{NO}|{UN})\b", re.IGNORECASE)


def sentences(path):
    """Return texts of a module with its line numbers; what is put into them is `{}`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    left_out = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            left_out |= {id(part) for part in node.values}
            parts = (p.value if isinstance(p, ast.Constant) else "{}" for p in node.values)
            yield node.lineno, "".join(parts)
        elif id(node) not in left_out and isinstance(getattr(node, "value", None), str):
            yield node.lineno, node.value


def test_no_sentence_denies_twice():
    root = Path(brimline.__file__).parent
    found = [
        f"{path.relative_to(root)}:{line}: {match.group()}"
        for path in sorted(root.rglob("*.py"))
        for line, text in sentences(path)
        for match in TWICE.finditer(text)
    ]
    assert found == []


def test_a_denial_that_is_denied_is_seen():
    assert TWICE.search("it is not unsafe")
    assert TWICE.search("there is no sill without a bank")
    assert not TWICE.search("it does not hold under its bank")
