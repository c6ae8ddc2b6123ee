"""What a command says: results on standard output, everything else on standard error."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from brimline.errors import InputError, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brimline.errors import BrimlineError, Problem

_COLOUR = {Severity.ERROR: "31", Severity.WARNING: "33", Severity.NOTICE: "36"}


_quiet = False
_said: set[tuple[str, ...]] = set()


def be_quiet(*, quiet: bool) -> None:
    """Leave out what is not wrong, from here on."""
    global _quiet  # noqa: PLW0603 - of the one command that this process runs
    _quiet = quiet


def begin() -> None:
    """Begin anew to say each problem once, as a run does."""
    _said.clear()


def is_terminal() -> bool:
    """Tell whether a person watches standard error."""
    return sys.stderr.isatty() and not _quiet


def say(text: str = "", *, always: bool = False) -> None:
    """Write a message for people; quiet commands say only what they must."""
    if always or not _quiet:
        print(text, file=sys.stderr, flush=True)  # noqa: T201


def result(text: str) -> None:
    """Write a command's result."""
    print(text, flush=True)  # noqa: T201


def result_json(value: dict[str, Any]) -> None:
    """Write a command's result for machines."""
    result(json.dumps(value, indent=2, ensure_ascii=False, default=str))


def say_problem(problem: Problem) -> None:
    """Write one problem, once: how bad, where, what, and the mend on a line of its own."""
    told = (str(problem.severity), problem.source, problem.place, problem.message)
    if told in _said or (_quiet and problem.severity is Severity.NOTICE):
        return
    _said.add(told)
    label = str(problem.severity)
    if is_terminal():
        label = f"\x1b[{_COLOUR[problem.severity]}m{label}\x1b[0m"
    where = ", ".join(part for part in (problem.source, problem.place) if part)
    say(f"{label}: {where + ': ' if where else ''}{problem.message}", always=True)
    if problem.mend:
        say(f"    mend: {problem.mend}", always=True)


def problems_json(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Problems as plain values."""
    return [asdict(problem) for problem in problems]


def say_error(error: BrimlineError, *, as_json: bool) -> None:
    """Write an error that ends the command, each of its problems."""
    problems = error.problems if isinstance(error, InputError) else ()
    if as_json:
        result_json(
            {"ok": False, "error": str(error), "problems": problems_json(problems)},
        )
    if not problems:
        say(f"error: {error}", always=True)
    for problem in problems:
        say_problem(problem)
