"""The page on licences says what the installed libraries say of themselves, and misses none."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement

_ROOT = Path(__file__).parents[3]
_PAGE = (_ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
_TABLE = dict(re.findall(r"^\| (\w+) \| ([A-Z]\S+) \| [^|]+ \|$", _PAGE, re.MULTILINE))
_PROJECT = tomllib.loads((_ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
_EXTRAS = _PROJECT["optional-dependencies"]
_DIRECT = [*_PROJECT["dependencies"], *_EXTRAS["pdf"], *_EXTRAS["vast"]]

# words in metadata, and the kind of licence that they name; each is compatible with GPL-3.0:
# https://www.gnu.org/licenses/license-list.html
_KINDS = {
    r"GPL-3\.0-only": "GPL-3.0-only",
    r"LGPL|Lesser General": "LGPL",
    r"MPL|Mozilla": "MPL",
    r"Apache": "Apache",
    r"0?BSD": "BSD",
    r"\bMIT\b|HPND": "MIT",
    r"PSF|Python Software Foundation": "PSF",
    r"ISC": "ISC",
    r"Zlib": "Zlib",
    r"CC0|Unlicense|Public Domain": "public domain",
}


def _kinds(text):
    return {kind for words, kind in _KINDS.items() if re.search(words, text)}


def _stated(name):
    """What a library says of its licence: the expression, else the classifiers, else a line."""
    held = metadata(name)
    classifiers = [one for one in held.get_all("Classifier") or () if one.startswith("License ::")]
    line = (held.get("License") or "").partition("\n")[0]
    return held.get("License-Expression") or "; ".join(classifiers) or line


def _needed(texts):
    """Every library that these need in turn, as far as it is installed."""
    found, waiting = set(), [(Requirement(text).name, ()) for text in texts]
    while waiting:
        name, extras = waiting.pop()
        if name in found:
            continue
        try:
            needs = [Requirement(text) for text in requires(name) or ()]
        except PackageNotFoundError:
            continue
        found.add(name)
        waiting += [
            (one.name, one.extras)
            for one in needs
            if not one.marker or any(one.marker.evaluate({"extra": e}) for e in ("", *extras))
        ]
    return sorted(found)


def test_every_library_that_is_asked_for_stands_in_the_table():
    assert sorted(_TABLE) == sorted(Requirement(text).name for text in _DIRECT)


@pytest.mark.parametrize("name", sorted(_TABLE))
def test_a_library_says_the_same_of_itself(name):
    try:
        stated = _stated(name)
    except PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    assert _kinds(_TABLE[name])
    assert _kinds(_TABLE[name]) <= _kinds(stated), stated


def test_what_is_needed_in_turn_is_under_licences_of_these_kinds():
    needed = _needed(_DIRECT)
    assert len(needed) > len(_PROJECT["dependencies"])
    assert [name for name in needed if not _kinds(_stated(name))] == []
    bound = [name for name in needed if "GPL-3.0-only" in _kinds(_stated(name))]
    assert bound == ["richdem2"]  # what the page says follows from it


def test_only_the_second_opinion_imports_what_binds_to_one_version():
    package = _ROOT / "pipeline" / "brimline"
    found = [
        path.relative_to(package).as_posix()
        for path in sorted(package.rglob("*.py"))
        if re.search(r"^\s*(import|from) richdem", path.read_text(encoding="utf-8"), re.MULTILINE)
    ]
    assert found == ["drainage/audit.py"]
