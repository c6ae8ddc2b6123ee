"""What a search for the cheapest design must find in what was drawn and stated."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from brimline.cascade import SILL_WIDTH, Goals, value_of
from brimline.elements.building import ITEMS
from brimline.errors import Problem, Severity, shown
from brimline.inputs.rules import prices_of

if TYPE_CHECKING:
    from collections.abc import Collection

    from brimline.cascade import Network
    from brimline.config import DesignSearch, Rates, SearchDimension, Works
    from brimline.rainfall import RunStorms, Storm

_ALIKE_H: Final = 0.01


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


def searched_dimensions(
    params: DesignSearch, network: Network
) -> tuple[list[SearchDimension], list[Problem]]:
    """Return what is searched for; what was drawn but could not be built so stays as it is."""
    found, problems = [], []
    for one in params.free:
        made = one.element in network.index
        if made and value_of(network, one.element, one.dimension) is not None:
            found.append(one)
            continue
        lacks = "sill" if one.dimension == SILL_WIDTH else one.dimension
        why, mend = "was left out", "draw it right"
        if made:
            why = f"has no {lacks}"
            mend = "name a dimension of its kind, such as depth_m or sill_width_m"
        problems.append(_warning(f"{one.element} {why}: it is not searched for", mend))
    return found, problems


def held_storms(params: DesignSearch, asked: RunStorms) -> tuple[list[Storm], list[Problem]]:
    """Return the design storm, then the storms in which no crest may be passed."""
    if params.check_storms:
        wanted = [one for one in (*asked.checks, *asked.beyond) if one.name in params.check_storms]
    else:
        wanted = [*asked.checks, *(one for one in asked.beyond if _is_rarer(one, asked.design))]
    text = "the search knows no check storm: designs hold in the design storm alone"
    mend = "give a rainfall table, or name one of the greater storms in search.check_storms"
    return [asked.design, *wanted], [] if wanted else [_warning(text, mend)]


def _is_rarer(one: Storm, design: Storm) -> bool:
    """Tell whether a storm is the check storm: rarer than the design storm, and as long."""
    period_y, own_y = one.return_period_y, design.return_period_y
    rarer = period_y is not None and own_y is not None and period_y > own_y
    return rarer and abs(one.duration_h - design.duration_h) < _ALIKE_H


def searched_goals(params: DesignSearch, works: Works) -> Goals:
    """Return what a design must do in the design storm."""
    share = works.goal_capture_share if params.keep_share is None else params.keep_share
    return Goals(share, works.goal_drawdown_h or math.inf)


def unpriced_told(rates: Rates) -> list[Problem]:
    """Say which earth is taken as free of cost."""
    known = prices_of(rates)
    lacking = [ITEMS[key].title for key in ("cut", "fill") if known[key] is None]
    text = f"the search takes as free of cost: {'; '.join(lacking)}"
    return [_warning(text, "fill in [rates]")] if lacking else []


def _warning(message: str, mend: str) -> Problem:
    return Problem(Severity.WARNING, message, mend, "site.toml", "search")
