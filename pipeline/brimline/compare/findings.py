"""What changed between two runs and what that means for the old design, the worst first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from brimline.compare.below import lost_ground

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from brimline.compare.changes import (
        AreaChange,
        ElementChange,
        IntakeChange,
        LineChange,
        RunPair,
    )
    from brimline.terrain.change import Shift

Effect = Literal["worse", "different", "better"]

_MANY: Final = "cultivation_lines"  # always told together
_FEW: Final = 5
_SHOWN: Final = 12
_CROSSES, _GONE, _MOVED = 4, 5, 6  # weights of what becomes of a line
_WHAT: Final = {
    _CROSSES: "cross changed ground and are no longer where their level is",
    _GONE: "have no line in the new run beside them",
    _MOVED: "lie elsewhere in the new run",
}
_LEAST_STORAGE_PCT: Final = 5.0
_LEAST_AREA_PCT: Final = 10.0
_LEAST_LEVEL_M: Final = 0.05
_SAME_COST_PCT: Final = 1.0


@dataclass(frozen=True, slots=True)
class ChangeFinding:
    """One thing that changed; a smaller weight comes first.

    Parameters
    ----------
    effect : worse puts the old design in question, different asks for another setting-out or a
        look, better asks for nothing.
    """

    weight: int
    layer: str
    id: str
    text: str
    mend: str
    effect: Effect = "worse"


def change_findings(
    pair: RunPair,
    areas: Sequence[AreaChange],
    intakes: Sequence[IntakeChange],
    lines: Sequence[LineChange],
    elements: Sequence[ElementChange],
) -> list[ChangeFinding]:
    """Return everything that is worse, then what is different, then what is better."""
    found = [
        *_of_shift(pair.change.shift),
        *(
            ChangeFinding(1, "change_areas", str(lost.area_id), lost.text, lost.mend)
            for lost in lost_ground(pair, areas)
        ),
        *(finding for row in elements for finding in _of_element(row, pair.change.shift)),
        *_of_lines(lines, pair),
        *(finding for row in intakes for finding in _of_intake(row)),
        *_of_cost(pair.then.cost, pair.now.cost),
    ]
    order: tuple[Effect, ...] = ("worse", "different", "better")
    return sorted(found, key=lambda one: (order.index(one.effect), one.weight))  # stable


def told_shift(shift: Shift) -> str:
    """Say a shift in a sentence; empty where there is none."""
    if shift.kind == "none":
        return ""
    way = "higher" if shift.mean_m > 0 else "lower"
    text = f"the new survey lies {abs(shift.mean_m):.3f} m {way} than the old on all ground alike"
    if shift.kind == "tilt":
        text += (
            f", and is tilted by {shift.span_m:.2f} m over the site ("
            f"{shift.east_m_per_km:+.3f} m/km eastwards, "
            f"{shift.north_m_per_km:+.3f} m/km northwards)"
        )
    if shift.datum:
        text += (
            f"; against a noise of {shift.noise_m:.3f} m that is no survey error but two height"
            " references: a mismatch of datum or geoid model, or of units"
        )
    return text


def _of_shift(shift: Shift) -> Iterator[ChangeFinding]:
    if shift.kind != "none":
        mend = (
            "find the vertical datum and geoid model of both surveys, and bring one to the other"
            if shift.datum
            else "check both surveys on a mark of known level; what is shown has it taken off"
        )
        effect: Effect = "worse" if shift.datum else "different"
        yield ChangeFinding(0 if shift.datum else 3, "", "", told_shift(shift), mend, effect)


def _of_cost(then: float | None, now: float | None) -> Iterator[ChangeFinding]:
    if then is None or now is None or abs(now - then) <= _SAME_COST_PCT / 100 * abs(then):
        return
    yield ChangeFinding(
        7, "", "", f"the works cost {now:,.0f} and did cost {then:,.0f}",
        "see the bill of both runs",
        "better" if now < then else "different",
    )  # fmt: skip


def _of_element(row: ElementChange, shift: Shift) -> Iterator[ChangeFinding]:
    name = row.element_id
    if row.status == "gone":
        yield ChangeFinding(
            1, "elements", name, "is not in the new run", "draw it again, or accept it"
        )
        return
    if row.new_flags:
        yield ChangeFinding(
            1, "elements", name, f"now carries {';'.join(row.new_flags)}",
            "read the notes of the element and cascade_findings in the new run",
        )  # fmt: skip
    if row.gone_flags:
        text = f"no longer carries {';'.join(row.gone_flags)}"
        yield ChangeFinding(1, "elements", name, text, "nothing: it is mended", "better")
    if row.status == "new":
        return
    if row.spills_to_then != row.spills_to_now:
        text = (
            f"spilled to {row.spills_to_then or 'nowhere'} and now spills to "
            f"{row.spills_to_now or 'nowhere'}"
        )
        effect: Effect = "better" if not row.spills_to_then else "different"
        effect = effect if row.spills_to_now else "worse"
        yield ChangeFinding(1, "elements", name, text, "follow its overflow on the ground", effect)
    yield from _levels(row, shift)
    yield from _storage(row)


def _levels(row: ElementChange, shift: Shift) -> Iterator[ChangeFinding]:
    then, now = row.spill_level_then_m, row.spill_level_now_m
    alike = 0.0 if shift.kind == "none" else shift.mean_m  # told once, with the survey
    if then is None or now is None or abs(now - then - alike) < _LEAST_LEVEL_M + shift.span_m / 2:
        return
    yield ChangeFinding(
        2, "elements", row.element_id,
        f"its designed spill level goes from {then:.2f} m to {now:.2f} m ({now - then:+.2f} m)",
        "set the sill out again from the new level", "different",
    )  # fmt: skip


def _storage(row: ElementChange) -> Iterator[ChangeFinding]:
    name = row.element_id
    then, now = row.storage_then_m3 or 0.0, row.storage_now_m3 or 0.0
    if abs(now - then) > _LEAST_STORAGE_PCT / 100 * max(then, 1.0):
        less = now < then
        yield ChangeFinding(
            2, "elements", name, f"its designed storage goes from {then:.1f} m³ to {now:.1f} m³",
            "check that it still holds the design storm" if less else "nothing: it holds more",
            "worse" if less else "better",
        )  # fmt: skip
    before, after, error = row.ground_then_m3, row.ground_now_m3, row.ground_error_m3
    if before is None or after is None or error is None:
        return
    if row.changed_m2 > 0 and abs(after - before) > error:
        less = after < before
        yield ChangeFinding(
            2, "elements", name,
            f"the ground within its outline is {'silted or filled' if less else 'dug or scoured'}:"
            f" it holds {after:.1f} m³ below the old spill level and held {before:.1f} m³"
            f" (± {error:.1f} m³)",
            "clear it to its floor level" if less else "see whether that was meant",
            "worse" if less else "different",
        )  # fmt: skip


def _of_line(row: LineChange, pair: RunPair) -> Iterator[ChangeFinding]:
    name, layer = row.line_id, row.layer
    if row.status == "new":
        return
    if row.changed_m > pair.grid.cell_m:
        yield ChangeFinding(
            _CROSSES, layer, name,
            f"crosses {row.changed_m:.0f} m of changed ground, by "
            f"{row.least_change_m:+.2f} m to {row.greatest_change_m:+.2f} m: it is no longer"
            " where its level is",
            "set it out again from the new run",
        )  # fmt: skip
    elif row.status == "gone":
        yield ChangeFinding(
            _GONE,
            layer,
            name,
            "has no line in the new run beside it",
            "look at both runs",
            "different",
        )
    elif row.status == "moved":
        yield ChangeFinding(
            _MOVED, layer, name,
            f"lies {row.mean_m:.1f} m from its place in the new run on average, "
            f"{row.most_m:.1f} m at most",
            "set it out from the new run", "different",
        )  # fmt: skip


def _of_lines(lines: Sequence[LineChange], pair: RunPair) -> Iterator[ChangeFinding]:
    """Tell of lines one by one where few are concerned, and else of a layer's lines together."""
    for layer in dict.fromkeys(row.layer for row in lines):
        rows = [row for row in lines if row.layer == layer]
        each = [finding for row in rows for finding in _of_line(row, pair)]
        for weight in dict.fromkeys(one.weight for one in each):
            alike = [one for one in each if one.weight == weight]
            few = len(alike) <= _FEW and layer != _MANY
            yield from alike if few else [_together(alike, rows)]


def _together(alike: Sequence[ChangeFinding], rows: Sequence[LineChange]) -> ChangeFinding:
    """Make one finding of those that say the same of many lines."""
    first = alike[0]
    old = sum(row.status != "new" for row in rows)
    shown = ", ".join(one.id for one in alike[:_SHOWN])
    more = f" and {len(alike) - _SHOWN} more" if len(alike) > _SHOWN else ""
    text = f"{len(alike)} of {old} {_WHAT[first.weight]}: {shown}{more}"
    text = f"{text}; see line_changes"
    return ChangeFinding(first.weight, first.layer, "", text, first.mend, first.effect)


def _of_intake(row: IntakeChange) -> Iterator[ChangeFinding]:
    name = row.name or str(row.intake_id)
    if row.status == "gone":
        yield ChangeFinding(
            4, "intakes", name, "is not in the new run", "draw it again, or accept it"
        )
    share = row.change_pct
    if row.status == "changed" and share is not None and abs(share) >= _LEAST_AREA_PCT:
        alike = " although their ranges, 5 to 95 %, overlap" if row.explained == "yes" else ""
        yield ChangeFinding(
            3, "intakes", name,
            f"its catchment goes from {row.area_then_m2:,.0f} m² to {row.area_now_m2:,.0f} m²"
            f" ({share:+.0f} %){alike}",
            "see on both runs which way the water went, and size for the larger",
            "worse" if share > 0 else "different",
        )  # fmt: skip
