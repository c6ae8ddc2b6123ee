"""Every error of brimline, by whose fault it is.

::

    BrimlineError
    ├── InputError          the person's files or configuration; exit code 2
    │   └── ConfigError     a table or key of the site's TOML file
    ├── StoreError          a folder that cannot be read, written or published; exit code 2
    └── InternalError       a fault of ours; exit code 1
        └── GridError       an array that breaks a kernel's contract (also a ValueError)

A message says where, what was found, the limit with its unit, and the next step.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


_SHOWN_LETTERS = 80


def shown(text: object) -> str:
    """Return what a person wrote as one short line: control characters as escapes, long texts cut.

    Formatting and separator characters count as control characters: they can turn a line around.
    """
    line = "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode()
        for letter in str(text)
    )
    return line if len(line) <= _SHOWN_LETTERS else f"{line[: _SHOWN_LETTERS - 1]}…"


class Severity(StrEnum):
    """How much a problem matters."""

    ERROR = "error"  # the run cannot go on
    WARNING = "warning"  # the run goes on; a person should look
    NOTICE = "notice"  # something was changed on the person's behalf


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing found in an input: what, where, and how to mend it.

    Parameters
    ----------
    message : what was found, with values and units.
    mend : the next step for the person; empty where there is nothing to do.
    source : file, or file and layer, as the person wrote it.
    place : row, key path, line or coordinate inside the source.
    """

    severity: Severity
    message: str
    mend: str = ""
    source: str = ""
    place: str = ""

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.source, self.place) if part)
        text = f"{where}: {self.message}" if where else self.message
        return f"{text} Mend: {self.mend}" if self.mend else text


class BrimlineError(Exception):
    """Base of every error that brimline raises on purpose."""

    exit_code = 1


class InputError(BrimlineError):
    """One or more problems in the person's files; all of them are carried, not only the first."""

    exit_code = 2

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def of(cls, message: str, *, mend: str, source: str = "", place: str = "") -> InputError:
        """Make the error for a single problem."""
        return cls(Problem(Severity.ERROR, message, mend, source, place))


class ConfigError(InputError):
    """The site's TOML file holds something that cannot be used."""


class StoreError(BrimlineError):
    """A folder cannot be read, written or published; what was there before is untouched."""

    exit_code = 2


class InternalError(BrimlineError):
    """A fault of brimline itself."""


class GridError(InternalError, ValueError):
    """An array argument breaks the contract of the function that it was given to."""
