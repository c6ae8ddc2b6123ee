"""`demo.lock` pins, by hash, all that `make demo` installs, at versions that the project allows."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

_ROOT = Path(__file__).parents[2]
_LOCK = (_ROOT / "demo.lock").read_text(encoding="utf-8")
_ASKED = tomllib.loads((_ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _pins() -> dict[str, list[str]]:
    pins: dict[str, list[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", _LOCK, re.MULTILINE):
        pins.setdefault(canonicalize_name(name), []).append(version)
    return pins


@pytest.mark.parametrize("asked", _ASKED["dependencies"])
def test_what_the_project_needs_is_pinned_at_a_version_that_it_allows(asked):
    wanted = Requirement(asked)
    pinned = _pins().get(canonicalize_name(wanted.name), [])
    assert pinned, f"{wanted.name} is not pinned: run `make lock`"
    assert all(wanted.specifier.contains(version) for version in pinned), f"{asked}: {pinned}"


def test_each_pin_carries_hashes_and_no_place_to_fetch_from():
    entries = re.split(r"\n(?=\S)", _LOCK.strip())
    assert len(entries) > 30
    assert all("--hash=sha256:" in entry for entry in entries)
    assert "://" not in _LOCK
