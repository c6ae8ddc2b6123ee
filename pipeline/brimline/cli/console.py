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


def is_terminal() -> bool:
    """Tell whether a person watches standard error."""
    return sys.stderr.isatty()


def say(text: str = "") -> None:
    """Write a message for people."""
    print(text, file=sys.stderr, flush=True)  # noqa: T201


def result(text: str) -> None:
    """Write a command's result."""
    print(text, flush=True)  # noqa: T201


def result_json(value: dict[str, Any]) -> None:
    """Write a command's result for machines."""
    result(json.dumps(value, indent=2, ensure_ascii=False, default=str))


def say_problem(problem: Problem) -> None:
    """Write one problem: how bad, where, what, and the mend on a line of its own."""
    label = str(problem.severity)
    if is_terminal():
        label = f"\x1b[{_COLOUR[problem.severity]}m{label}\x1b[0m"
    where = ", ".join(part for part in (problem.source, problem.place) if part)
    say(f"{label}: {where + ': ' if where else ''}{problem.message}")
    if problem.mend:
        say(f"    mend: {problem.mend}")


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
        say(f"error: {error}")
    for problem in problems:
        say_problem(problem)
