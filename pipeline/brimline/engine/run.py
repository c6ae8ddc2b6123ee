"""Run stages in order, reusing what the store holds under the same key."""

from __future__ import annotations

import json
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Protocol

from brimline.engine.digests import files_of, moving
from brimline.engine.key import changes, key_of, parts_of
from brimline.engine.known import Later
from brimline.engine.listener import Listener
from brimline.engine.order import ordered, taken
from brimline.engine.stage import GRID, NEAR, Given
from brimline.engine.store import DamagedError, Record
from brimline.errors import InputError, InternalError, Severity, StoreError
from brimline.grid import Grid
from brimline.grid.tiles import Window
from brimline.layers import CATALOGUE, Raster

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from brimline.engine.digests import Digests
    from brimline.engine.key import Parts
    from brimline.engine.stage import Params, Source, Stage, Value
    from brimline.engine.store import Store, Stored
    from brimline.errors import Problem
    from brimline.layers import Item

    OnMade = Callable[[Mapping[str, Stored], Mapping[str, Stored]], None]

_HELD_BYTES: Final = 300_000_000  # of rasters that wait for a later stage; others are read again


class Codec(Protocol):
    """How values of the catalogue become files; equal values should become equal bytes."""

    @property
    def version(self) -> str:
        """Text that changes when the bytes of equal values change."""
        ...

    def write(self, path: Path, item: Item, value: Any, grid: Grid | None) -> None:  # noqa: ANN401
        """Write one file at `path` and nothing beside it; `grid` is given for rasters.

        Raises
        ------
        OSError
            If the file cannot be written, whatever the library beneath calls it.
        """
        ...

    def read(self, path: Path, item: Item) -> Any:  # noqa: ANN401 - array or frame, by the item
        """Read what `write` wrote."""
        ...

    def write_value(self, path: Path, value: object) -> None:
        """Write a typed value, as `write` does.

        Raises
        ------
        InternalError
            If it is not a frozen dataclass, or holds what cannot be kept.
        """
        ...

    def read_value(self, path: Path) -> object:
        """Read what `write_value` wrote."""
        ...


@dataclass(frozen=True, slots=True)
class RunInputs:
    """What a run works from.

    Parameters
    ----------
    tables : validated models by the name of their table.
    sources : the person's inputs by name; leave out what the configuration leaves out.
    versions : versions of numba, numpy, GDAL and whatever else results depend on.
    """

    tables: Mapping[str, Params]
    sources: Mapping[str, Source]
    versions: Mapping[str, str]
    digests: Digests


@dataclass(frozen=True, slots=True)
class Tools:
    """What the engine is handed, so that it imports no room beside it.

    Parameters
    ----------
    codec : writes and reads values.
    check : raises `InternalError` where a value breaks its declaration.
    code : digests of the modules that a stage's code reaches (`CodeReach.of`).
    code_unchanged : raises where the code of a stage is no longer as those digests tell
        (`CodeReach.check_unchanged`): a stage's module is loaded when the stage runs.
    """

    codec: Codec
    check: Callable[[Item, Value], None]
    code: Callable[[Stage], Mapping[str, str]]
    catalogue: Mapping[str, Item] = field(default_factory=lambda: CATALOGUE)
    code_unchanged: Callable[[Stage], None] = lambda _: None


@dataclass(frozen=True, slots=True)
class StageDone:
    """How one stage went.

    Parameters
    ----------
    why : why it ran; empty where it was reused.
    seconds : what it took this time [s].
    made_seconds : what it took to make the result, in this run or an earlier one [s].
    """

    stage: Stage
    key: str
    why: str
    seconds: float
    made_seconds: float
    problems: tuple[Problem, ...]

    @property
    def reused(self) -> bool:
        """Whether the result was there already."""
        return not self.why


class RunResult:
    """The stages of a run and what they made; values are read when asked for."""

    def __init__(self, run: _Run) -> None:
        self._run = run

    @property
    def stages(self) -> tuple[StageDone, ...]:
        """The stages, in the order of the run."""
        return tuple(self._run.done.values())

    @property
    def outputs(self) -> Mapping[str, Stored]:
        """The stored object of every value, by name."""
        return self._run.outputs

    @property
    def ran(self) -> tuple[str, ...]:
        """Names of the stages that were not reused."""
        return tuple(done.stage.name for done in self.stages if not done.reused)

    @property
    def fact_names(self) -> tuple[str, ...]:
        """Names of the facts among the values."""
        others = self._run.tools.catalogue.keys() | self._run.typed.keys()
        return tuple(name for name in self.outputs if name not in others)

    @property
    def published(self) -> tuple[Item, ...]:
        """Declarations of what belongs into the run folder, in the catalogue's order."""
        items = self._run.tools.catalogue.values()
        return tuple(item for item in items if item.published and item.name in self.outputs)

    def value(self, name: str) -> Any:  # noqa: ANN401 - the declaration says what it is
        """Read a value; one whose stored bytes are damaged is made again."""
        try:
            return self._run.load(name)
        except DamagedError:
            self.mend()
            return self._run.load(name)

    def mend(self) -> None:
        """Make again what turned out to be damaged in the store."""
        self._run.go()


def execute(
    stages: Iterable[Stage],
    inputs: RunInputs,
    store: Store,
    tools: Tools,
    listener: Listener | None = None,
    *,
    until: str | None = None,
    rebuild: bool = False,
    verify: bool = False,
    on_made: OnMade = lambda _made, _there: None,
) -> RunResult:
    """Run stages, or reuse what an earlier run made under the same key.

    An exception of a stage, or a keyboard interrupt, passes through; what was finished before
    it is kept, and the next run goes on from there.

    Parameters
    ----------
    until : name of the last stage wanted; None runs all.
    rebuild : run every stage, whatever the store holds.
    verify : check every byte of what is reused, not only of what is read.
    on_made : called with what each stage that ran has made, as it is stored, and all that is there.

    Raises
    ------
    InputError
        If a file of the person cannot be read or changes during the run, or a stage says so.
    StoreError
        If the store cannot be written.
    InternalError
        If a stage breaks its declaration.
    """
    chosen = ordered(stages, until, tools.catalogue)
    run = _Run(
        chosen, inputs, store, tools, listener or Listener(),
        rebuild=rebuild, verify=verify, on_made=on_made,
    )  # fmt: skip
    store.sweep()
    try:
        run.go()
    finally:
        inputs.digests.save()
    return RunResult(run)


class _Run:
    """The state of one run."""

    def __init__(
        self,
        stages: tuple[Stage, ...],
        inputs: RunInputs,
        store: Store,
        tools: Tools,
        listener: Listener,
        *,
        rebuild: bool,
        verify: bool,
        on_made: OnMade,
    ) -> None:
        self.stages = stages
        self.inputs = inputs
        self.store = store
        self.tools = tools
        self.listener = listener
        self.rebuild = rebuild
        self.verify = verify
        self.on_made = on_made
        self.done: dict[str, StageDone] = {}
        self.outputs: dict[str, Stored] = {}
        self._memory: dict[str, Value] = {}
        self.typed = {name: kind for stage in stages for name, kind in stage.typed.items()}
        self._made = [name for stage in stages for name in stage.makes]
        # before anything runs: code that is edited from now on is not the code that runs
        self._code = {stage.name: tools.code(stage) for stage in stages}

    def go(self) -> None:
        """Make every value; start over where a stored one turns out to be damaged."""
        for _ in range(len(self.stages) + 1):
            try:
                self._pass()
            except DamagedError:
                continue  # it was removed, so that the stage that makes it runs again
            return
        raise StoreError(
            f"{self.store.folder}: files do not keep what was written to them. Check the disk, or "
            f"move the folder to another"
        )

    def load(self, name: str) -> Value:
        """Return a value from memory or the store."""
        if name not in self._memory:
            path = self.store.open(self.outputs[name])
            item = self.tools.catalogue.get(name)
            if item is not None:
                return self.tools.codec.read(path, item)
            if name in self.typed:
                return self.tools.codec.read_value(path)
            return dict(json.loads(path.read_bytes()))
        return self._memory[name]

    def _pass(self) -> None:
        waiting = Counter(name for stage in self.stages for name in taken(stage, self._made))
        self._memory.clear()
        for place, stage in enumerate(self.stages, start=1):
            parts = self._parts(stage)
            key = key_of(stage, parts)
            if not self._reuse(stage, key, parts):
                self._run(stage, key, parts)
            waiting.subtract(taken(stage, self._made))
            for name in [name for name in self._memory if waiting[name] == 0]:
                del self._memory[name]
            self._make_room(self.stages[place:])

    def _make_room(self, coming: Sequence[Stage]) -> None:
        """Let go of the rasters that are needed last, where too many are held."""
        sizes = {name: getattr(value, "nbytes", 0) for name, value in self._memory.items()}
        over = sum(sizes.values()) - _HELD_BYTES
        if over <= 0:
            return
        turn: dict[str, int] = {}
        for place, stage in enumerate(coming):
            turn |= dict.fromkeys(set(taken(stage, self._made)) - turn.keys(), place)
        for name in sorted(sizes, key=lambda name: turn.get(name, len(coming)), reverse=True):
            if over > 0 and sizes[name]:
                del self._memory[name]
                over -= sizes[name]

    def _parts(self, stage: Stage) -> Parts:
        return parts_of(
            stage,
            inputs={name: self.outputs[name].digest for name in taken(stage, self._made)},
            code=self._code[stage.name],
            tables=self._tables(stage),
            sources={name: self.inputs.sources.get(name) for name in stage.sources},
            digests=self.inputs.digests,
            versions={"codec": self.tools.codec.version} | dict(self.inputs.versions),
            catalogue=self.tools.catalogue,
        )

    def _tables(self, stage: Stage) -> dict[str, Params]:
        missing = [name for name in stage.tables if name not in self.inputs.tables]
        if missing:
            raise InternalError(f"stage {stage.name} reads table {missing[0]}, which is not there")
        return {name: self.inputs.tables[name] for name in stage.tables}

    def _reuse(self, stage: Stage, key: str, parts: Parts) -> bool:
        before = self.done.get(stage.name)
        known = before is not None and before.key == key
        if self.rebuild and not known:
            return False
        began = time.perf_counter()
        record = self.store.record(key, verify=self.verify)
        if record is None:
            return False
        self.outputs |= record.outputs
        if not known:  # otherwise the listener has heard of it in an earlier pass
            for problem in record.problems:
                self.listener.problem(stage, problem)
            self._finish(stage, key, parts, record, began)
        return True

    def _run(self, stage: Stage, key: str, parts: Parts) -> None:
        began = time.perf_counter()
        why = self._why(stage, parts)
        self.listener.started(stage, why)
        given = Given(
            stage,
            self._hold,
            present=[name for name in stage.optional_needs if name in self._made],
            tables=self._tables(stage),
            sources={
                name: source.value
                for name, source in self.inputs.sources.items()
                if name in stage.sources
            },
        )
        reporter = _Reporter(stage, self.listener)
        try:
            values = dict(stage.run(given, reporter))
        except Exception as error:
            error.add_note(f"in stage {stage.name} ({stage.title})")
            raise
        self.tools.code_unchanged(stage)
        for source in (self.inputs.sources.get(name) for name in stage.sources):
            if source is not None:
                _refuse_mixture(source, self.inputs.digests)
        stored = self._keep(stage, values)
        spent = time.perf_counter() - began
        record = Record(stage.name, stored, tuple(reporter.problems), spent)
        self.store.keep(key, record)
        self._finish(stage, key, parts, record, began, why)
        self.on_made(stored, self.outputs)

    def _finish(
        self, stage: Stage, key: str, parts: Parts, record: Record, began: float, why: str = ""
    ) -> None:
        if self.store.noted(f"stage-{stage.name}") != parts:
            self.store.note(f"stage-{stage.name}", parts)
        seconds = time.perf_counter() - began
        done = StageDone(stage, key, why, seconds, record.seconds, record.problems)
        self.done[stage.name] = done
        self.listener.finished(stage, seconds, reused=done.reused)

    def _why(self, stage: Stage, parts: Parts) -> str:
        if self.rebuild and stage.name not in self.done:
            return "a rebuild was asked for"
        last = self.store.noted(f"stage-{stage.name}")
        if last is None:
            return "first run"
        return "; ".join(changes(last, parts)) or "its stored result is gone or damaged"

    def _hold(self, name: str) -> Value:
        """Return a value for a stage, and keep it in memory for the stages to come."""
        self._memory[name] = self.load(name)
        return self._memory[name]

    def _keep(self, stage: Stage, values: dict[str, Value]) -> dict[str, Stored]:
        if set(values) != set(stage.makes):
            raise InternalError(
                f"stage {stage.name} must make {', '.join(sorted(stage.makes))}, "
                f"made {', '.join(sorted(values)) or 'nothing'}"
            )
        stored: dict[str, Stored] = {}
        for name in sorted(
            stage.makes, key=lambda name: name not in (GRID, NEAR)
        ):  # rasters need them
            stored[name] = self._keep_one(stage, name, values.pop(name))
            self.outputs[name] = stored[name]
        return stored

    def _keep_one(self, stage: Stage, name: str, value: Value) -> Stored:
        item = self.tools.catalogue.get(name)
        if name in stage.typed:
            return self._keep_typed(stage, name, value)
        if item is None:
            text = _facts_text(stage, name, value)
            return self.store.put(lambda path: path.write_text(text, encoding="utf-8"))
        grid = self._checked_raster(stage, item, value) if isinstance(item, Raster) else None
        self.tools.check(item, value)
        stored = self.store.put(lambda path: self.tools.codec.write(path, item, value, grid))
        if isinstance(item, Raster):
            # Frames and facts are read back when needed, so that a stage meets the same thing
            # whether the stage before it ran or was reused; an array needs no such care.
            self._memory[name] = value
        return stored

    def _keep_typed(self, stage: Stage, name: str, value: Value) -> Stored:
        kind = stage.typed[name]
        kind = kind.found if isinstance(kind, Later) else kind
        if type(value) is not kind:
            raise InternalError(
                f"stage {stage.name} made {name} as a {type(value).__name__}, "
                f"declared {kind.__name__}"
            )
        try:
            return self.store.put(lambda path: self.tools.codec.write_value(path, value))
        except InternalError as error:
            error.add_note(f"in {name}, which stage {stage.name} made")
            raise

    def _checked_raster(self, stage: Stage, item: Raster, value: Any) -> Grid:  # noqa: ANN401
        facts: Any = self._hold(GRID)
        grid = Grid(**facts)
        if item.near:
            block: Any = self._hold(NEAR)
            grid = grid.window(*Window(**block))
        found = getattr(value, "shape", None), str(getattr(value, "dtype", type(value).__name__))
        if found != (item.shape(grid.shape), item.dtype):
            raise InternalError(
                f"stage {stage.name} made {item.name} as {found[1]} {found[0]}, "
                f"declared {item.dtype} on a grid of {item.shape(grid.shape)}"
            )
        return grid


def _refuse_mixture(source: Source, digests: Digests) -> None:
    """Make sure that a stage has read what its key tells of."""
    digests.check_unchanged(source.files)
    now = [file for path in source.paths for file in files_of(path)]
    if source.paths and (other := set(now) ^ set(source.files)):
        raise moving(min(other))


class _Reporter:
    """Passes on what a stage tells, and collects its problems."""

    def __init__(self, stage: Stage, listener: Listener) -> None:
        self._stage = stage
        self._listener = listener
        self.problems: list[Problem] = []

    def advanced(self, fraction: float, note: str = "") -> None:
        self._listener.advanced(self._stage, min(max(fraction, 0.0), 1.0), note)

    def problem(self, problem: Problem) -> None:
        if problem.severity is Severity.ERROR:
            raise InputError(problem)
        self.problems.append(problem)
        self._listener.problem(self._stage, problem)

    def tell(self, problems: Iterable[Problem]) -> None:
        told = list(problems)
        errors = [problem for problem in told if problem.severity is Severity.ERROR]
        if errors:
            raise InputError(errors)
        for problem in told:
            self.problem(problem)


def _facts_text(stage: Stage, name: str, value: Any) -> str:  # noqa: ANN401 - checked here
    try:
        if not isinstance(value, dict):
            raise TypeError(f"a {type(value).__name__}")
        return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InternalError(
            f"stage {stage.name} made {name}, which must be a dict of plain values: {error}"
        ) from error
