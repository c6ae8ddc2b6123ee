"""Putting a run's results where people read them: one folder, replaced as a whole."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import brimline
from brimline.engine import NEAR, declared_from, manifest, plain_of
from brimline.engine.store import DamagedError
from brimline.errors import StoreError
from brimline.grid.tiles import Window
from brimline.io import atomic, kept
from brimline.io.libraries import versions_of
from brimline.layers import CATALOGUE
from brimline.publish.groups import FIGURES, GROUPS, LAYERS, REPORT_PDF
from brimline.publish.piece import Piece, base_key, found, make
from brimline.publish.sight import TYPED, World
from brimline.report.digest import assets_digest

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from pathlib import Path

    from brimline.engine import CodeReach, RunInputs, RunResult, Store
    from brimline.grid import Grid
    from brimline.publish.piece import Made
    from brimline.publish.workers import Workers
    from brimline.units import System

MANIFEST: Final = "run.json"
_LIBRARIES: Final = ("ezdxf", "gpxpy", "jinja2", "matplotlib", "pillow")
_TRIES: Final = 3  # where stored files turn out to be damaged

CAUTIONS: Final = (
    (
        "These are design aids, not engineering certification; local codes and licensed practice"
        " decide."
    ),
    (
        "Dams and embankments can fail and kill: above the local height or volume limit a licensed"
        " engineer and a permit are needed."
    ),
    (
        "Wetting a slope can start a slip: hold no water above steep or made ground, or near"
        " foundations."
    ),
    (
        "Call the utility-locating service before digging. Keep the setbacks of the local code from"
        " buildings, septic fields, wells, boundaries and roads."
    ),
    (
        "Ponds drown: give them a gentle shelf, and a fence where required. Water that stands over"
        " 72 hours breeds mosquitoes. Roof water is not drinking water."
    ),
    "Water rights and drainage law: divert no water onto or away from a neighbour.",
    "The survey decides where a line goes, not its final level: set levels on site before digging.",
)


@dataclass(frozen=True, slots=True)
class Published:
    """Where the results are, and how they came there.

    Parameters
    ----------
    written : whether the folder had to be written.
    made : pieces that were made now; those of earlier runs are not among them.
    keys : under which the store holds the pieces.
    """

    folder: Path
    written: bool
    manifest: dict[str, Any]
    made: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()

    @property
    def left_out(self) -> tuple[str, ...]:
        """Groups of pieces that the folder does not hold."""
        there = self.manifest.get("groups", GROUPS)
        return tuple(group for group in GROUPS if group not in there)


def publish(
    result: RunResult,
    inputs: RunInputs,
    target: Path,
    *,
    reach: CodeReach,
    store: Store,
    site_folder: Path,
    site_name: str,
    units: System,
    grid: Grid,
    workers: Workers,
    groups: Collection[str] = tuple(GROUPS),
    pdf: bool = False,
    keep_runs: int = 0,
    told: Callable[[str], None] = lambda _: None,
) -> Published:
    """Make the pieces of a run folder, fill it beside the old one and put it in its place.

    A folder that already holds the same results of the same version is left alone.

    Parameters
    ----------
    reach : tells the code that makes each piece.
    units : that pages show; layers are SI.
    groups : what is made, of `GROUPS`; layers always are. What else is there already, made of the
        same results, goes into the folder too.
    pdf : print the report as PDF too.
    keep_runs : how many earlier runs stay beside `target`, under their dates.
    told : hears what is being made.

    Raises
    ------
    StoreError
        If the folder cannot be written, or holds something else than a run; what was there
        before is untouched. Also if a PDF is wanted and the library that prints is missing.
    """
    made = manifest(result, inputs, version=brimline.__version__, base=site_folder)
    world = _world(result, made, store, grid, site_name, units)
    pieces = _pieces(world, store, reach, pdf=pdf)
    bases = base_keys(pieces, inputs, reach, world)
    made["pieces"] = _digest(sorted(bases.values()))
    atomic.recover(target)
    before = _read_manifest(target)
    wanted = {LAYERS, *groups}
    if before is not None and _same(before, made, wanted, target, pdf=pdf):
        return Published(target, written=False, manifest=before)
    refuse_what_is_no_run(target)
    for _ in range(_TRIES):
        try:
            making = _Making(pieces, bases, world, store, workers, told)
            making.make(wanted)
            break
        except DamagedError:
            result.mend()
            world = _world(result, made, store, grid, site_name, units)
    else:
        raise StoreError(f"{store.folder}: files do not keep what was written to them")
    made["groups"] = making.groups
    figures = making.done[FIGURES].stored
    if figures is not None:
        made |= json.loads(store.open(figures).read_bytes())
    told("writing the run folder")
    atomic.make_room_for(target)
    with atomic.alone_beside(target):
        _replace(target, making, store, made, before, keep_runs)
    keys = tuple(key for one in making.done.values() for key in one.keys)
    return Published(target, written=True, manifest=made, made=tuple(making.new), keys=keys)


def _pieces(world: World, store: Store, reach: CodeReach, *, pdf: bool) -> tuple[Piece, ...]:
    """Return every piece; what makes them is loaded where one has to be made."""

    def find() -> list[dict[str, Any]]:
        from brimline.publish.plan import pieces_of

        return [plain_of(piece) for piece in pieces_of(world, store, pdf=pdf)]

    stakes = world.outputs.get("stakes")  # tell which elements have a sheet
    of = [sorted(world.outputs), stakes and stakes.digest, pdf]
    known = reach.known.recall("pieces", of, find)
    return tuple(Piece(**declared_from(piece)) for piece in known)


def refuse_what_is_no_run(target: Path) -> None:
    """Refuse to replace a folder that holds something else.

    Raises
    ------
    StoreError
        If it holds anything, and no run.
    """
    if target.exists() and _read_manifest(target) is None and any(target.iterdir()):
        raise StoreError(
            f"{target} holds something that is not a run of brimline and would be replaced; "
            "name another folder with --out, or empty it"
        )


class _Making:
    """Pieces on their way: found in the store, made here, or made by another process."""

    def __init__(
        self,
        pieces: Sequence[Piece],
        bases: Mapping[str, str],
        world: World,
        store: Store,
        workers: Workers,
        told: Callable[[str], None],
    ) -> None:
        self.pieces = pieces
        self.done: dict[str, Made] = {}
        self.new: list[str] = []
        self._bases, self._world, self._store = bases, world, store
        self._workers, self._told = workers, told
        self._begun = 0

    @property
    def groups(self) -> list[str]:
        """Groups of which every piece is there."""
        open_groups = {piece.group for piece in self.pieces if piece.name not in self.done}
        return [group for group in GROUPS if group not in open_groups]

    def make(self, groups: Collection[str]) -> None:
        """Make the pieces of these groups, and find those of others as far as they are there."""
        todo: deque[Piece] = deque()
        left = list(self.pieces)
        while True:
            left = self._settle(left, todo, groups)
            coming = sum(piece.group in groups for piece in left)
            while todo and self._workers.free:
                piece = todo.popleft()
                self._tell(piece, len(todo) + coming)
                self._workers.hand_over(piece, self._bases[piece.name], self._seen())
            if todo:  # this process takes the least, which come last
                piece = todo.pop()
                self._tell(piece, len(todo) + coming)
                self._enter(piece, make(piece, self._bases[piece.name], self._seen()))
            elif not self._workers.busy:
                return
            for piece, one in (
                self._workers.finished(patient=not todo) if self._workers.busy else ()
            ):
                self._enter(piece, one)

    def _settle(
        self, left: list[Piece], todo: deque[Piece], groups: Collection[str]
    ) -> list[Piece]:
        """Find what is there already; line up what is not; return what waits for other pieces."""
        waiting = []
        for piece in left:
            ahead = self._workers.is_at(piece.name)
            if ahead or any(name not in self.done for name in piece.after):
                waiting.append(piece)
                continue
            there = found(self._bases[piece.name], self._seen(), self._store)
            if there is not None:
                self.done[piece.name] = there
            elif piece.group in groups:
                todo.append(piece)
        return waiting

    def _seen(self) -> World:
        return self._world.with_made({name: one.stored for name, one in self.done.items()})

    def _enter(self, piece: Piece, one: Made) -> None:
        self.done[piece.name] = one
        self.new.append(piece.name)

    def _tell(self, piece: Piece, behind: int) -> None:
        self._begun += 1
        self._told(f"{self._begun} of {self._begun + behind}: {piece.title}")


def _replace(
    target: Path,
    making: _Making,
    store: Store,
    made: dict[str, Any],
    before: dict[str, Any] | None,
    keep_runs: int,
) -> None:
    folder = atomic.new_folder_beside(target)
    try:
        for piece in making.pieces:
            stored = making.done[piece.name].stored if piece.name in making.done else None
            if piece.part or piece.group not in making.groups or stored is None:
                continue
            path = folder / piece.name
            try:
                path.parent.mkdir(exist_ok=True)
                shutil.copyfile(store.open(stored), path)
            except OSError as fault:
                raise atomic.told(fault, target) from fault
        atomic.write_text(folder / MANIFEST, json.dumps(made, indent=2, ensure_ascii=False) + "\n")
        if before is not None and keep_runs:
            kept.keep_dated(target, before["finished"])
        atomic.replace_folder(folder, target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)  # what is half done takes room on a full disk
        raise
    kept.forget_older(target, keep_runs)


def _world(
    result: RunResult,
    made: Mapping[str, Any],
    store: Store,
    grid: Grid,
    site_name: str,
    units: System,
) -> World:
    shown = {
        name: made[name]
        for name in ("brimline", "inputs", "parameters", "versions", "problems", "headline")
    }
    shown["finished"] = made["finished"][:10]
    plain = CATALOGUE.keys() | set(result.fact_names) | TYPED
    outputs = {name: stored for name, stored in result.outputs.items() if name in plain}
    near = Window(**result.value(NEAR)) if NEAR in outputs else None
    return World(store.folder, outputs, shown, grid, site_name, units, CAUTIONS, near=near)


def base_keys(
    pieces: Sequence[Piece], inputs: RunInputs, reach: CodeReach, world: World
) -> dict[str, str]:
    """Return the key of each piece without what it reads: code, libraries, where the cells are."""
    common = {
        "brimline": brimline.__version__,
        "versions": dict(inputs.versions) | versions_of(_LIBRARIES),
        "assets": assets_digest(),
        "grid": str(world.grid),
        "site": world.site_name,
        "units": world.units,
        "cautions": world.cautions,
    }
    code: dict[tuple[str, ...], str] = {}
    found_keys = {}
    for piece in pieces:
        if piece.modules not in code:
            code[piece.modules] = _digest(reach.of_modules(piece.modules))
        found_keys[piece.name] = base_key(piece, common | {"code": code[piece.modules]})
    return found_keys


def _same(
    before: dict[str, Any], made: dict[str, Any], groups: set[str], target: Path, *, pdf: bool
) -> bool:
    same = ("outputs", "brimline", "pieces", "parameters", "problems")
    return (
        all(before.get(key) == made[key] for key in same)
        and groups <= set(before.get("groups", ()))
        and (not pdf or (target / REPORT_PDF).exists())
    )


def _digest(plain: Any) -> str:  # noqa: ANN401 - what JSON can hold
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()[:32]


def _read_manifest(target: Path) -> dict[str, Any] | None:
    try:
        told = json.loads((target / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return told if isinstance(told, dict) and "brimline" in told else None
