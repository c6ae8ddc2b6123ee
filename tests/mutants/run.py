"""Plant errors in the domain rooms, one by one, and tell which of them no test notices.

    python tests/mutants/run.py [--most N] [--seed N] [ROOM ...]

Of all errors that mutmut can plant in a room, N are drawn (80; the same
for the same seed), less those
that change nothing but words. Writes build/mutants/ROOM.txt, those that lived, and prints the share
that was caught. What is compiled is left out: it is compiled before an error can be chosen; kernels
have hand-worked grids and independent libraries against them.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
BUILD = ROOT / "build" / "mutants"
# room: modules that errors are planted in, and tests that are to notice them
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "rainfall": (
        ("runoff", "concentration", "hydrographs", "infiltration", "storms", "ddf"),
        ("unit/rainfall", "reference/test_rainfall_published.py"),
    ),
    "elements": (
        ("swale", "pond", "basin", "drain", "sill", "pipe", "profile", "section", "storage"),
        (
            "unit/elements",
            "unit/cascade/test_routing.py",
            "reference/test_routing_published.py",
            "reference/test_drain_travel.py",
        ),
    ),
    "cascade": (
        ("beyond", "failure", "findings", "judge", "safety", "sills", "network"),
        ("unit/cascade",),
    ),
    "balance": (
        ("evapotranspiration", "wetness", "surface", "planting"),
        (
            "unit/balance",
            "reference/test_evapotranspiration_examples.py",
            "reference/test_dual_coefficient_examples.py",
            "reference/test_soil_balance_examples.py",
        ),
    ),
    "terrain": (
        ("noise", "slope", "support", "earthwork/volumes", "earthwork/spoil", "shaping/along"),
        ("unit/terrain",),
    ),
}
CAUGHT = ("killed", "timeout", "caught by type check", "segfault")
NOTICED_BY_NONE = ("survived", "no tests", "suspicious")
_CHANGES = """\
import json, sys
from mutmut.mutation.diff_apply import get_diff_for_mutant
print(json.dumps({name: get_diff_for_mutant(name) for name in sys.argv[1:]}))
"""
# which tests reach an error is noted as they run: what one has kept would hide it from the next
_FORGET = """\
import functools, gc
kept = []
def pytest_collection_finish(session):
    kept[:] = [one for one in gc.get_objects() if isinstance(one, functools._lru_cache_wrapper)
               and str(one.__module__).startswith("brimline")]
def pytest_runtest_setup(item):
    for one in kept:
        one.cache_clear()
"""


def main() -> None:
    """Run every room that was named, or all."""
    asked_of = argparse.ArgumentParser(description=main.__doc__)
    asked_of.add_argument("rooms", nargs="*", choices=[*ROOMS, []], metavar="ROOM")
    asked_of.add_argument("--most", type=int, default=80, help="errors planted in a room")
    asked_of.add_argument("--seed", type=int, default=1, help="draws others of them")
    options = asked_of.parse_args()
    for room in options.rooms or ROOMS:
        counts, lived = plant(room, options.most, options.seed)
        caught = sum(counts[word] for word in CAUGHT)
        asked = caught + sum(counts[word] for word in NOTICED_BY_NONE)
        left, share = counts.total() - asked, 100 * caught / max(asked, 1)
        print(
            f"{room}: {caught} of {asked} planted errors caught, {share:.0f} %"
            + (f"; {left} were not tried" if left else ""),
            flush=True,
        )
        text = "\n".join(lived) + "\n"
        (BUILD / f"{room}.txt").write_text(text, encoding="utf-8")


def plant(room: str, most: int, seed: int = 1) -> tuple[Counter[str], list[str]]:
    """Plant errors in a room; returns how many met which end, and those that lived, as changes."""
    modules, tests = ROOMS[room]
    place = BUILD / room
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    quiet = shutil.ignore_patterns("__pycache__", "*.pyc")
    shutil.copytree(ROOT / "pipeline", place / "src", ignore=quiet)
    shutil.copytree(ROOT / "tests", place / "tests", ignore=quiet)
    (place / "src" / "forget.py").write_text(_FORGET, encoding="utf-8")
    only = [f"src/brimline/{room}/{module}.py" for module in modules]
    chosen = [f"tests/{test}" for test in tests]
    own = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    (place / "pyproject.toml").write_text(
        f"{own}\n[tool.mutmut]\nsource_paths = ['src']\nonly_mutate = {only}\n"
        f"pytest_add_cli_args_test_selection = {chosen}\n"
        "pytest_add_cli_args = ['-W', 'ignore', '-p', 'forget']\n",
        encoding="utf-8",
    )
    env = os.environ | {"PYTHONPATH": str(place / "mutants" / "src")}
    mutmut = str(Path(sys.executable).with_name("mutmut"))  # run as a module it finds no tests

    def call(*arguments: str, check: bool = True) -> str:
        done = subprocess.run(
            [mutmut, *arguments], cwd=place, env=env, check=check, capture_output=True, text=True
        )
        return done.stdout

    children = ("--max-children", str(max((os.cpu_count() or 2) // 2, 1)))
    call("run", *children, "none of them", check=False)  # only makes them
    names = sorted(_made(place / "mutants" / "src", only))
    drawn = random.Random(seed).sample(names, min(most, len(names)))
    # all at once: a process each takes longer than the tests of many
    told = subprocess.run(
        [sys.executable, "-c", _CHANGES, *drawn],
        cwd=place, env=env, check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    changes: dict[str, str] = json.loads(told)
    drawn = [name for name in drawn if not _only_words(changes[name])]
    call("run", *children, *drawn)
    told = call("results", "--all", "true")
    every = dict(re.findall(r"^\s*(\S+): (.+)$", told, flags=re.MULTILINE))
    ends = {name: every[name] for name in drawn}
    lived = sorted(name for name, end in ends.items() if end in NOTICED_BY_NONE)
    return Counter(ends.values()), [f"# {name}: {ends[name]}\n{changes[name]}" for name in lived]


def _only_words(change: str) -> bool:
    """Tell a change of nothing but words, which no test should pin letter by letter.

    Neither can a test tell whether `zip` counts what is as long by construction.
    """
    before, after = (
        [
            re.sub(r"""f?"[^"]*"|None""", "words", re.sub(r"strict=\w+", "", line[1:]))
            for line in re.findall(sign, change, re.MULTILINE)
        ]
        for sign in (r"^-(?!--).*$", r"^\+(?!\+\+).*$")
    )
    return before == after


def _made(root: Path, only: list[str]) -> Iterator[str]:
    """Names of all errors that were made, as `module.error`."""
    for path in only:
        text = (root.parent / path).read_text(encoding="utf-8")
        module = path.removeprefix("src/").removesuffix(".py").replace("/", ".")
        for error in re.findall(r"def (x\w+__mutmut_\d+)\b", text):
            yield f"{module}.{error}"


if __name__ == "__main__":
    main()
