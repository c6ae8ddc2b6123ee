"""The order of stages, found by matching what each makes to what others need."""

from __future__ import annotations

import difflib
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from brimline.engine.stage import GRID
from brimline.errors import InputError, InternalError
from brimline.layers import CATALOGUE, Raster

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brimline.engine.stage import Stage
    from brimline.layers import Item


def ordered(
    stages: Iterable[Stage],
    until: str | None = None,
    catalogue: Mapping[str, Item] = CATALOGUE,
) -> tuple[Stage, ...]:
    """Return stages in an order in which every value is made before it is needed.

    Among stages that could come next, the declared order decides.

    Parameters
    ----------
    until : name of a stage; only it, what it builds on and what finds the grid are returned.

    Raises
    ------
    InternalError
        If a value is made twice or by nobody, or if stages need each other in a ring.
    InputError
        If no stage is called `until`.
    """
    by_name = _by_name(stages)
    makers = _makers(by_name.values())
    before = {stage.name: _before(stage, makers, catalogue) for stage in by_name.values()}
    place = {name: index for index, name in enumerate(by_name)}
    sorter = TopologicalSorter(before)
    try:
        sorter.prepare()
    except CycleError as error:
        raise InternalError(f"stages need each other: {' -> '.join(error.args[1])}") from error
    names: list[str] = []
    while ready := sorted(sorter.get_ready(), key=place.__getitem__):
        names += ready
        sorter.done(*ready)
    wanted = set(names) if until is None else _ancestry(_known(until, names), before)
    if GRID in makers:  # what a run leaves is told with its place, whatever it stops at
        wanted |= _ancestry(makers[GRID], before)
    return tuple(by_name[name] for name in names if name in wanted)


def taken(stage: Stage, made: Iterable[str]) -> tuple[str, ...]:
    """Return the names of the values that a stage is given in a run that makes `made`."""
    there = set(made)
    return stage.needs + tuple(name for name in stage.optional_needs if name in there)


def _by_name(stages: Iterable[Stage]) -> dict[str, Stage]:
    found: dict[str, Stage] = {}
    for stage in stages:
        if stage.name in found:
            raise InternalError(f"two stages are called {stage.name}")
        found[stage.name] = stage
    return found


def _makers(stages: Iterable[Stage]) -> dict[str, str]:
    makers: dict[str, str] = {}
    for stage in stages:
        for name in stage.makes:
            if name in makers:
                raise InternalError(f"{name} is made by stages {makers[name]} and {stage.name}")
            makers[name] = stage.name
    return makers


def _before(stage: Stage, makers: dict[str, str], catalogue: Mapping[str, Item]) -> set[str]:
    missing = [name for name in stage.needs if name not in makers]
    if missing:
        raise InternalError(f"stage {stage.name} needs {', '.join(missing)}, which no stage makes")
    strange = [name for name in stage.typed if name not in stage.makes or name in catalogue]
    if strange:
        raise InternalError(f"stage {stage.name} makes no typed value {', '.join(strange)}")
    rasters = [name for name in stage.makes if isinstance(catalogue.get(name), Raster)]
    if rasters and GRID not in stage.needs + stage.makes:
        raise InternalError(
            f"stage {stage.name} makes raster {rasters[0]} and so must need the fact {GRID}"
        )
    return {makers[name] for name in taken(stage, makers)}


def _known(until: str, names: list[str]) -> str:
    if until in names:
        return until
    near = difflib.get_close_matches(until, names, n=1)
    hint = f"did you mean {near[0]}? The stages are" if near else "the stages are"
    raise InputError.of(
        f"there is no stage called {until!r}", mend=f"{hint} {', '.join(names)}", source="--until"
    )


def _ancestry(name: str, before: dict[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = [name]
    while waiting:
        current = waiting.pop()
        if current not in found:
            found.add(current)
            waiting += before[current]
    return found
