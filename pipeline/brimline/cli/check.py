"""``brimline check``: every problem of every input at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from brimline.cli import console
from brimline.errors import InputError, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.errors import Problem
    from brimline.inputs.checking import CheckedInputs


def examined(site: Path) -> CheckedInputs:
    """Read every input of a site, and return what was found.

    Raises
    ------
    ConfigError
        If the site's file cannot be used.
    """
    from brimline.config import load
    from brimline.engine import refuse_store
    from brimline.inputs.checking import CheckedInputs, check_inputs
    from brimline.inputs.profile import at_scale
    from brimline.inputs.remote import kept_remote
    from brimline.inputs.size import ground_near, survey_size
    from brimline.inputs.sources import sources_of, store_of

    said, unfetched = kept_remote(load(site))
    if unfetched:
        files = counted(unfetched, "elevation file is", "elevation files are")
        told = (
            f"{files} still to be fetched from {', '.join(said.settings.inputs.hosts)}:"
            " `brimline run` does so, and keeps them; a check then reads all inputs"
        )
        return CheckedInputs([], [told])
    loaded, profile_told = at_scale(said)
    refuse_store(store_of(loaded))
    size, near = None, None
    faults: tuple[Problem, ...] = ()
    try:
        size = survey_size(loaded)
        near = ground_near(loaded, size) if size is not None and size.in_tiles else None
    except InputError as fault:
        faults = fault.problems
    found = check_inputs(loaded.settings, sources_of(loaded), near=near)
    found.problems[:0] = [one for one in faults if one not in found.problems]
    if size is not None:
        found.facts.insert(0, size.told())
        found.problems += size.index.notices if size.in_tiles else ()
    if profile_told:
        found.facts.append(profile_told)
    return found


def run(site: Path, *, as_json: bool) -> None:
    """Read every input, tell what was found, leave with 2 where the run could not go on."""
    found = examined(site)
    errors, warnings = found.count(Severity.ERROR), found.count(Severity.WARNING)
    for problem in found.problems:
        console.say_problem(problem)
    if as_json:
        console.result_json(
            {
                "ok": errors == 0,
                "facts": found.facts,
                "problems": console.problems_json(found.problems),
            }
        )
    else:
        for fact in found.facts:
            console.result(fact)
        verdict = "a run can go on" if errors == 0 else "a run cannot go on"
        console.result(f"{counted(errors, 'error')}, {counted(warnings, 'warning')}: {verdict}")
    if errors:
        raise typer.Exit(InputError.exit_code)
