"""What a search for the cheapest design must find in what was drawn and stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.errors import Problem, Severity, shown
from brimline.inputs.rules import prices_of

if TYPE_CHECKING:
    from collections.abc import Collection

    from brimline.config import DesignSearch, Rates


def search_problems(
    params: DesignSearch, rates: Rates, names: Collection[str], further_storms: Collection[str]
) -> list[Problem]:
    """Say what a search lacks; none where none is asked for.

    Parameters
    ----------
    names : of all that is drawn.
    further_storms : names of the storms of a run but the design storm.
    """
    if not params.free:
        return []
    problems = [
        _error(f"there is no element called {shown(one.element)}", names, "search.free")
        for one in params.free
        if one.element not in names
    ]
    problems += [
        _error(
            f"there is no check storm called {shown(one)}", further_storms, "search.check_storms"
        )
        for one in params.check_storms
        if one not in further_storms
    ]
    if not any(prices_of(rates).values()):
        message = "a search for the cheapest design needs prices"
        mend = "fill in [rates], at least cut_per_m3 and fill_per_m3"
        problems.append(Problem(Severity.ERROR, message, mend, "configuration", "rates"))
    return problems


def _error(message: str, known: Collection[str], place: str) -> Problem:
    mend = f"known: {shown(', '.join(known) or 'none')}"
    return Problem(Severity.ERROR, message, mend, "configuration", place)
