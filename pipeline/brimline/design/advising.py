"""Which mends to follow: each written into the plan in thought, and the whole judged again."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Protocol

from brimline.design.plan_changes import changes_of, changes_text, mend_id

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

    from brimline.design.plan_changes import PlanChange

Mark = tuple[str, str]  # element and flag
Row = dict[str, Any]  # of the table of mends

# what decides where water goes is mended before how much of it there is
_FIRST: Final = (
    "off-level", "cycle", "uphill", "no-safe-outlet", "reaches-other", "over-boundary",
    "at-building", "leaks", "sill-shut", "shape-limit",
)  # fmt: skip
# what is mended before anything else: without that nothing else holds
_BREAKING: Final = frozenset({*_FIRST, "overtopped", "small-outlet"} - {"shape-limit"})
# what shows only where a fault or more than the storms of the run comes on top
_ON_TOP: Final = frozenset(
    {"takes-next", "fails-beyond", "blocked-pipe", "feed-left-on", "fails-high-end", "fails-frozen"}
)
# in turn: whether only that is mended, and how many mends are tried with one that alone does not
# do, and with those two; wider and deeper where narrower search found nothing
_SWEEPS: Final[tuple[tuple[bool, tuple[int, ...]], ...]] = (
    (True, ()), (True, (2,)), (False, ()), (True, (4,)), (False, (4,)), (True, (4, 3)),
    (False, (4, 3)), (True, (3, 2, 2)),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a plan comes to.

    Parameters
    ----------
    marks : every finding that needs a person, with its text.
    cut_m3, fill_m3 : its earth [m³].
    fittings : amounts of other items of the bill, in their units.
    """

    marks: Mapping[Mark, str]
    cut_m3: float
    fill_m3: float
    fittings: Mapping[str, float] = field(default_factory=dict)


class Situation(Protocol):
    """A plan that was designed and routed; it is dug and followed once that is asked for."""

    @property
    def drawn(self) -> Mapping[Mark, str]:
        """Findings of the drawing and of the storms of the run."""

    @property
    def soon(self) -> Mapping[Mark, str]:
        """Those, and what its water does on the designed surface."""

    @property
    def outcome(self) -> Outcome:
        """All of it, with what greater storms and single faults show."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Mends that were tried, and how often in vain.

    Parameters
    ----------
    rows : with what the trial told, those chosen first; those that do not mend are left out.
        Those chosen hold amounts of `fittings` that they need more.
    in_vain : by finding, how many mends were tried that did not take it away.
    last : the plan with all that are chosen.
    tries : how many plans were tried.
    """

    rows: tuple[Row, ...]
    in_vain: Mapping[Mark, int]
    last: Situation
    tries: int = 0


def advised(
    base: Situation,
    mends: Callable[[Any, Collection[Mark] | None], Sequence[Row]],
    trial: Callable[[Sequence[PlanChange]], Situation | None],
    harm: Callable[[str], int],
    most: int,
) -> Advice:
    """Prove mends by what the plan comes to with them, and choose those to follow together.

    A mend is proved where its finding is gone, no worse one is brought, and no more findings than
    before are left. Each is tried on top of those chosen before it, so that all chosen ones hold
    together. With those chosen mends are looked for anew; where none is left that does by itself,
    two, then three are tried together, the further ones for what the first brings or leaves.

    Parameters
    ----------
    mends : rows of the table of mends for a situation, the least change first; for some of its
        findings, or for all.
    trial : what the plan comes to with changes; None where it cannot be made.
    harm : how harmful a flag is, 0 the worst.
    most : how many plans to try.
    """
    search = _MendSearch(base, mends, trial, harm, most)
    place = 0
    while place < len(_SWEEPS):
        breaking, widths = _SWEEPS[place]
        # one that took something makes room for those that do by themselves
        place = 0 if search.sweep(widths, breaking=breaking) and place else place + 1
    return search.told()


@dataclass(slots=True)
class _Tried:
    """A set of changes, what it comes to, and its row as told."""

    row: Row
    changes: list[PlanChange]
    after: Situation | None


@dataclass(slots=True)
class _MendSearch:
    base: Situation
    mends: Callable[[Any, Collection[Mark] | None], Sequence[Row]]
    trial: Callable[[Sequence[PlanChange]], Situation | None]
    harm: Callable[[str], int]
    most: int
    chosen: list[PlanChange] = field(default_factory=list)
    taken: list[Row] = field(default_factory=list)
    others: dict[str, Row] = field(default_factory=dict)
    in_vain: dict[Mark, set[str]] = field(default_factory=dict)
    known: dict[str, Situation | None] = field(default_factory=dict)
    offered: dict[int, list[Row]] = field(default_factory=dict)
    now: Situation = field(init=False)

    def __post_init__(self) -> None:
        self.now = self.base

    def sweep(self, widths: tuple[int, ...], *, breaking: bool) -> bool:
        """Go once through what may mend the situation; tell whether anything was taken.

        Parameters
        ----------
        breaking : only what leads water astray or over a crest; else all that is left.
        """
        taken = len(self.taken)
        cells: set[tuple[str, ...]] = set()
        for row in self._open_rows():
            mark = _mark(row)
            if breaking and mark[1] not in _BREAKING:
                continue
            changes = list(changes_of(row["change"])) if row["change"] else []
            if not widths and any(one.removed for one in changes):
                continue  # what was drawn is left out only where nothing else does by itself
            own = {(c.layer, c.row, k) for c in changes for k in (*c.values, *_shape(c))}
            if mark not in self.now.outcome.marks or not changes or own & cells:
                self.others.setdefault(row["mend_id"], row | untried(open_still=mark in self._left))
                continue
            for tried in self._together(_Tried(row, changes, None), mark, widths):
                if self._judged(tried, mark):
                    self._take(tried)
                    cells |= own
                    break
        return len(self.taken) > taken

    @property
    def _left(self) -> Mapping[Mark, str]:
        return self.now.outcome.marks

    def _open_rows(self) -> list[Row]:
        if id(self.now) not in self.offered:
            presumes = "; ".join(row["mend_id"] for row in self.taken) or None
            rows = [
                row | {"mend_id": self._free_id(row), "presumes": presumes}
                for row in self.mends(self.now, None)
                if _mark(row) in self._left
            ]
            self.offered[id(self.now)] = sorted(rows, key=self._order)
        return self.offered[id(self.now)]

    def _order(self, row: Row) -> tuple[int, int]:
        return _place(row["code"]), self.harm(row["code"])

    def _free_id(self, row: Row) -> str:
        """Name a mend that is taken twice, such as a level that is lowered once more, anew."""
        name, number = row["mend_id"], 1
        while any(one["mend_id"] == name for one in self.taken):
            number += 1
            dimension = f"{row['dimension']} {number}"
            name = mend_id(row["element_id"], row["code"], row["changed_id"], dimension)
        return str(name)

    def _together(self, first: _Tried, mark: Mark, widths: tuple[int, ...]) -> Iterator[_Tried]:
        """Try changes, then with them what mends that which they leave or bring."""
        first.after = self._asked(first.changes)
        yield first
        if not widths or first.after is None:
            return
        for marks in _closer(first.after):
            wrong = {one for one in marks if one not in self._left} | ({mark} & set(marks))
            if len(wrong) > len(widths) + 1:
                return
        if not wrong:
            return
        rows = sorted(self.mends(first.after, wrong), key=self._order)
        rows = [row for row in rows if row["change"] and not _meets(first.row, row)]
        for row in rows[: widths[0]]:
            changes = [*first.changes, *changes_of(row["change"])]
            both = _Tried(_joined(first.row, row, changes), changes, None)
            yield from self._together(both, mark, widths[1:])

    def _asked(self, changes: Sequence[PlanChange]) -> Situation | None:
        whole = [*self.chosen, *changes]
        key = changes_text(whole)
        if key not in self.known and len(self.known) < self.most:
            self.known[key] = self.trial(whole)
        return self.known.get(key)

    def _judged(self, tried: _Tried, mark: Mark) -> bool:
        """Tell whether it mends; write down what came of it."""
        after, left = tried.after, self._left
        if after is None and len(self.known) >= self.most:
            self.others.setdefault(tried.row["mend_id"], tried.row | untried(open_still=True))
            return False
        if after is None:
            self.in_vain.setdefault(mark, set()).add(changes_text(tried.changes))
            return False
        for marks in _closer(after):
            if mark in marks:
                self.in_vain.setdefault(mark, set()).add(changes_text(tried.changes))
                return False
            proved = not self._worse(marks, mark)
            if not proved:
                break
        brought = sorted(one for one in marks if one not in left)
        tried.row |= {
            "proved": "yes" if proved else "no",
            "clears": sum(one not in marks for one in left),
            "brings": ", ".join(f"{flag} of {name}" for name, flag in brought) or None,
            "cut_m3": None,
            "fill_m3": None,
            "advised": 0,
        }
        if not proved:
            self.others[tried.row["mend_id"]] = tried.row
        return proved

    def _worse(self, marks: Mapping[Mark, str], mark: Mark) -> bool:
        brought = {flag for name, flag in marks if (name, flag) not in self._left}
        if mark[1] in _BREAKING:  # it is wrong without any fault
            brought -= _ON_TOP
        most = self.harm(mark[1])
        return len(marks) > len(self._left) or any(self.harm(flag) <= most for flag in brought)

    def _take(self, tried: _Tried) -> None:
        assert tried.after is not None
        before, after = self.now.outcome, tried.after.outcome
        tells = {
            "cut_m3": after.cut_m3 - before.cut_m3,
            "fill_m3": after.fill_m3 - before.fill_m3,
            "fittings": {
                item: after.fittings.get(item, 0.0) - before.fittings.get(item, 0.0)
                for item in {**before.fittings, **after.fittings}
            },
            "advised": len(self.taken) + 1,
        }
        self.taken.append(tried.row | tells)
        self.chosen += tried.changes
        self.now = tried.after

    def told(self) -> Advice:
        """Return the rows, the chosen first; of the others each once."""
        chosen = {row["mend_id"] for row in self.taken}
        rest = [row for name, row in self.others.items() if name not in chosen]
        in_vain = {mark: len(tried) for mark, tried in self.in_vain.items()}
        return Advice((*self.taken, *rest), in_vain, self.now, len(self.known))


def _closer(after: Situation) -> Iterator[Mapping[Mark, str]]:
    """Look closer and closer at a plan; each sees all that the one before saw."""
    yield after.drawn
    yield after.soon
    yield after.outcome.marks


def _mark(row: Row) -> Mark:
    return row["element_id"], row["code"]


def _meets(one: Row, other: Row) -> bool:
    """Tell whether a mend was joined already, or sets a level of an element that is set already."""
    if other["text"] in one["text"].split("; and "):
        return True
    levels = [row["dimension"].split(",")[0] for row in (one, other)]
    same = one["changed_id"] == other["changed_id"]
    return same and levels[0] != levels[1] and all("level" in text for text in levels)


def _joined(one: Row, other: Row, changes: Sequence[PlanChange]) -> Row:
    """Return the row of two mends that are followed together."""
    dimension = f"{one['dimension']}, {other['dimension']} of {other['changed_id']}"
    return one | {
        "dimension": dimension,
        "mend_id": mend_id(one["element_id"], one["code"], one["changed_id"], dimension),
        "text": f"{one['text']}; and {other['text']}",
        "raises_id": one["raises_id"] or other["raises_id"],
        "raises_m": max(one["raises_m"], other["raises_m"]),
        "more_leaves_m3_s": one["more_leaves_m3_s"] + other["more_leaves_m3_s"],
        "safe": False,
        "change": changes_text(changes),
    }


def _place(flag: str) -> int:
    return _FIRST.index(flag) if flag in _FIRST else len(_FIRST)


def _shape(change: PlanChange) -> tuple[str, ...]:
    return ("shape",) if change.shape_wkt else ()


def untried(*, open_still: bool) -> Row:
    """Say of a mend that it was not dug: another mends its finding, or none was left to try."""
    return {
        "proved": "not tried" if open_still else "not needed",
        "clears": 0,
        "brings": None,
        "cut_m3": None,
        "fill_m3": None,
        "advised": 0,
    }
