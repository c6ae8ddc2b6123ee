"""What in the old design no longer holds, the gravest first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from brimline.stages._compare_rows import Pair
    from brimline.terrain.change import Shift

Row = dict[str, Any]

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


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a person must look at; a smaller weight comes first."""

    weight: int
    layer: str
    id: str
    text: str
    mend: str


def findings(
    pair: Pair, intakes: Sequence[Row], lines: Sequence[Row], elements: Sequence[Row]
) -> list[Finding]:
    """Return everything that puts the old design in question, the gravest first."""
    found = [
        *_of_shift(pair.change.shift),
        *(finding for row in elements for finding in _of_element(row, pair.change.shift)),
        *_of_lines(lines, pair),
        *(finding for row in intakes for finding in _of_intake(row)),
    ]
    return sorted(found, key=lambda finding: finding.weight)  # stable: rows keep their order


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


def _of_shift(shift: Shift) -> Iterator[Finding]:
    if shift.kind != "none":
        mend = (
            "find the vertical datum and geoid model of both surveys, and bring one to the other"
            if shift.datum
            else "check both surveys on a mark of known level; what is shown has it taken off"
        )
        yield Finding(0 if shift.datum else 3, "", "", told_shift(shift), mend)


def _of_element(row: Row, shift: Shift) -> Iterator[Finding]:
    name = row["element_id"]
    if row["status"] == "gone":
        yield Finding(1, "elements", name, "is not in the new run", "draw it again, or accept it")
        return
    if row["new_flags"]:
        yield Finding(
            1, "elements", name, f"now carries {row['new_flags']}",
            "read the notes of the element and cascade_findings in the new run",
        )  # fmt: skip
    if row["status"] == "new":
        return
    if row["spills_to_then"] != row["spills_to_now"]:
        yield Finding(
            1, "elements", name,
            f"spilled to {row['spills_to_then'] or 'nowhere'} and now spills to "
            f"{row['spills_to_now'] or 'nowhere'}",
            "follow its overflow on the ground",
        )  # fmt: skip
    yield from _levels(row, name, shift)
    yield from _storage(row, name)


def _levels(row: Row, name: str, shift: Shift) -> Iterator[Finding]:
    rise = row["spill_level_now_m"] - row["spill_level_then_m"]
    alike = 0.0 if shift.kind == "none" else shift.mean_m  # told once, with the survey
    if abs(rise - alike) >= _LEAST_LEVEL_M + shift.span_m / 2:
        yield Finding(
            2, "elements", name,
            f"its designed spill level goes from {row['spill_level_then_m']:.2f} m to "
            f"{row['spill_level_now_m']:.2f} m ({rise:+.2f} m)",
            "set the sill out again from the new level",
        )  # fmt: skip


def _storage(row: Row, name: str) -> Iterator[Finding]:
    then, now = row["storage_then_m3"], row["storage_now_m3"]
    if abs(now - then) > _LEAST_STORAGE_PCT / 100 * max(then, 1.0):
        yield Finding(
            2, "elements", name,
            f"its designed storage goes from {then:.1f} m³ to {now:.1f} m³",
            "check that it still holds the design storm",
        )  # fmt: skip
    before, after, error = (row[f"ground_{key}"] for key in ("then_m3", "now_m3", "error_m3"))
    if before is not None and row["changed_m2"] > 0 and abs(after - before) > error:
        what = "silted or filled" if after < before else "dug or scoured"
        yield Finding(
            2, "elements", name,
            f"the ground within its outline is {what}: it holds {after:.1f} m³ below the old spill "
            f"level and held {before:.1f} m³ (± {error:.1f} m³)",
            "clear it to its floor level" if after < before else "see whether that was meant",
        )  # fmt: skip


def _of_line(row: Row, pair: Pair) -> Iterator[Finding]:
    name, layer = row["line_id"], row["layer"]
    if row["status"] == "new":
        return
    if row["changed_m"] > pair.grid.cell_m:
        yield Finding(
            _CROSSES, layer, name,
            f"crosses {row['changed_m']:.0f} m of changed ground, by "
            f"{row['least_change_m']:+.2f} m to {row['greatest_change_m']:+.2f} m: it is no longer"
            " where its level is",
            "set it out again from the new run",
        )  # fmt: skip
    elif row["status"] == "gone":
        yield Finding(
            _GONE, layer, name, "has no line in the new run beside it", "look at both runs"
        )
    elif row["status"] == "moved":
        yield Finding(
            _MOVED, layer, name,
            f"lies {row['mean_m']:.1f} m from its place in the new run on average, "
            f"{row['most_m']:.1f} m at most",
            "set it out from the new run",
        )  # fmt: skip


def _of_lines(lines: Sequence[Row], pair: Pair) -> Iterator[Finding]:
    """Tell of lines one by one where few are concerned, and else of a layer's lines together."""
    for layer in dict.fromkeys(row["layer"] for row in lines):
        rows = [row for row in lines if row["layer"] == layer]
        each = [finding for row in rows for finding in _of_line(row, pair)]
        for weight in dict.fromkeys(one.weight for one in each):
            alike = [one for one in each if one.weight == weight]
            few = len(alike) <= _FEW and layer != _MANY
            yield from alike if few else [_together(alike, rows)]


def _together(alike: Sequence[Finding], rows: Sequence[Row]) -> Finding:
    """Make one finding of those that say the same of many lines."""
    first = alike[0]
    old = sum(row["status"] != "new" for row in rows)
    shown = ", ".join(one.id for one in alike[:_SHOWN])
    more = f" and {len(alike) - _SHOWN} more" if len(alike) > _SHOWN else ""
    text = f"{len(alike)} of {old} {_WHAT[first.weight]}: {shown}{more}"
    return Finding(first.weight, first.layer, "", f"{text}; see line_changes", first.mend)


def _of_intake(row: Row) -> Iterator[Finding]:
    name = row["name"] or str(row["intake_id"])
    if row["status"] == "gone":
        yield Finding(4, "intakes", name, "is not in the new run", "draw it again, or accept it")
    share = row["change_pct"]
    if row["status"] == "changed" and share is not None and abs(share) >= _LEAST_AREA_PCT:
        spread = " although both areas' spread would allow it" if row["explained"] == "yes" else ""
        yield Finding(
            3, "intakes", name,
            f"its catchment goes from {row['area_then_m2']:,.0f} m² to {row['area_now_m2']:,.0f} m²"
            f" ({share:+.0f} %){spread}",
            "see on both runs which way the water went, and size for the larger",
        )  # fmt: skip
