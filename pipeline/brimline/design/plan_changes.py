"""A mend as what is to be written into the plan: which row, which columns, which values."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict, dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, Final

import shapely

from brimline.design.plan import (
    KINDS,
    DrawnBasin,
    DrawnDam,
    DrawnDischarge,
    DrawnDrain,
    DrawnOverflow,
    DrawnPipe,
    DrawnPond,
    DrawnSwale,
    DrawnTank,
    Plan,
)
from brimline.elements import (
    Basin,
    Dam,
    Drain,
    Kind,
    Orifice,
    Pipe,
    Pond,
    Sill,
    Swale,
    Tank,
    Trapezoid,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.cascade import Link, Network
    from brimline.design.making import Design
    from brimline.design.plan import DrawnWay
    from brimline.elements import Element

LAYER_OF: Final = {
    Kind.SWALE: DrawnSwale.LAYER,
    Kind.DRAIN: DrawnDrain.LAYER,
    Kind.POND: DrawnPond.LAYER,
    Kind.BASIN: DrawnBasin.LAYER,
    Kind.TANK: DrawnTank.LAYER,
}


def layer_of(element: Element) -> str:
    """Return the layer that an element is drawn in."""
    return DrawnDam.LAYER if isinstance(element.shape, Dam) else LAYER_OF[element.kind]


# dimension of a shape to the column that says it; levels and derived dimensions are handled apart
_COLUMNS: Final[dict[type[Any], tuple[str, ...]]] = {
    Swale: ("depth_m", "bottom_m", "side"),
    Pond: ("depth_m", "side", "shelf_width_m", "shelf_depth_m"),
    Basin: ("depth_m", "side"),
    Dam: (),
    Tank: ("volume_m3", "height_m"),
}
_PLACES: Final = 4  # of a number that is written: a tenth of a millimetre


@dataclass(frozen=True, slots=True)
class PlanChange:
    """What is to be written into one row of the plan.

    Parameters
    ----------
    layer, row : drawing layer, and name of the row; "pond 2" is the second row where it has none.
    values : by column.
    shape_wkt : new shape of the row in the run's CRS; empty leaves it.
    added, removed : whether the row is new, or is left out.
    """

    layer: str
    row: str
    values: dict[str, float | str] = field(default_factory=dict)
    shape_wkt: str = ""
    added: bool = False
    removed: bool = False

    @property
    def told(self) -> str:
        """The change in words, as a note in the row."""
        if self.removed:
            return "left out"
        parts = [f"{column} = {value}" for column, value in self.values.items()]
        if self.shape_wkt and not self.added:
            parts.append("redrawn")
        return ("added: " if self.added else "") + ", ".join(parts)


def changes_text(changes: Sequence[PlanChange]) -> str:
    """Return changes as JSON: what a table holds of them."""
    return json.dumps([asdict(one) for one in changes], ensure_ascii=False)


def changes_of(text: str) -> tuple[PlanChange, ...]:
    """Return changes from the JSON of a table.

    Raises
    ------
    ValueError
        If it is not what `changes_text` gives.
    """
    try:
        return tuple(PlanChange(**one) for one in json.loads(text))
    except TypeError as fault:
        raise ValueError(f"not a change of the plan: {fault}") from fault


def changed_plan(
    plan: Plan, changes: Sequence[PlanChange], usual: Mapping[str, Mapping[str, Any]]
) -> Plan:
    """Write changes into a plan, as `brimline apply` does into its file.

    Parameters
    ----------
    usual : by drawing layer, values of columns that a new row leaves empty.

    Raises
    ------
    ValueError
        If the plan has no such row, or a row no such column.
    """
    parts = {kind.LAYER: part for part, kind in KINDS.items()}
    rows = {part: list(getattr(plan, part)) for part in KINDS}
    for one in changes:
        part = parts[one.layer]
        if one.added:
            rows[part].append(_new_row(KINDS[part], one, usual.get(one.layer, {})))
        elif one.removed:
            del rows[part][_row_place(rows[part], one.row)]
        else:
            place = _row_place(rows[part], one.row)
            rows[part][place] = _rewritten(rows[part][place], one)
    return Plan(**{part: tuple(found) for part, found in rows.items()})


def _row_place(rows: Sequence[Any], name: str) -> int:
    for place, row in enumerate(rows):
        if name == (row.name or f"discharge {place + 1}"):
            return place
    raise ValueError(f"the plan has no row {name}")


def _rewritten(row: Any, change: PlanChange) -> Any:  # noqa: ANN401 - a row of any kind
    values: dict[str, Any] = dict(change.values)
    known = {one.name for one in fields(row)}
    if not values.keys() <= known:
        raise ValueError(f"{change.layer} has no {', '.join(sorted(values.keys() - known))}")
    if "empty" in known:
        values["empty"] = tuple(name for name in row.empty if name not in values)
    if change.shape_wkt:
        values["shape"] = shapely.from_wkt(change.shape_wkt)
    return replace(row, **{"name": change.row, **values} if "name" not in values else values)


def _new_row(kind: type[Any], change: PlanChange, usual: Mapping[str, Any]) -> Any:  # noqa: ANN401
    found: dict[str, Any] = {}
    for one in fields(kind):
        if one.name == "shape":
            found["shape"] = shapely.from_wkt(change.shape_wkt)
        elif one.name == "name":
            found["name"] = change.row
        elif one.name == "empty":
            found["empty"] = tuple(
                other.name for other in fields(kind) if other.name not in change.values
            )
        else:
            open_value = math.nan if one.type == "float" else ""
            found[one.name] = change.values.get(one.name, usual.get(one.name, open_value))
    return kind(**found)


def mend_id(element_id: str, flag: str, changed_id: str, dimension: str) -> str:
    """Name a mend by what it mends and what it changes, whatever the sizes.

    It stays the same from run to run as long as the same change is proposed for the same finding.
    """
    said = json.dumps([element_id, flag, changed_id, dimension])
    return f"m{hashlib.sha256(said.encode()).hexdigest()[:6]}"


def mend_row(
    element_id: str,
    flag: str,
    changed_id: str,
    dimension: str,
    unit: str,
    now: float,
    to: float,
    text: str,
    changes: Sequence[PlanChange],
) -> dict[str, Any]:
    """Return a row of the table of mends for a change that no routing has found."""
    return {
        "storm": None,
        "element_id": element_id,
        "code": flag,
        "changed_id": changed_id,
        "dimension": dimension,
        "unit": unit or None,
        "value_now": now,
        "value_mended": to,
        "text": text,
        "raises_id": None,
        "raises_m": 0.0,
        "more_leaves_m3_s": 0.0,
        "mend_id": mend_id(element_id, flag, changed_id, dimension),
        "safe": False,  # it was not routed here
        "change": changes_text(changes),
    }


def plan_changes(design: Design, mended: Network) -> tuple[PlanChange, ...] | None:
    """Return what makes the plan give a changed cascade; None where no column can say it.

    Parameters
    ----------
    design : as it stands.
    mended : its network with one change made.
    """
    before = design.network
    found: list[PlanChange] = []
    try:
        for old, new in zip(before.elements, mended.elements, strict=True):
            if old is not new:
                found.append(_of_element(old, new))
        shaped = {one.row for one in found}
        found += _of_links(design, mended, shaped)
    except _UnsayableError:
        return None
    for old_end, new_end in zip(before.discharges, mended.discharges, strict=True):
        if old_end.name != new_end.name:
            row = old_end.discharge_id
            found.append(PlanChange(DrawnDischarge.LAYER, row, {"name": new_end.name}))
    return _joined(found) or None


class _UnsayableError(Exception):
    """No column of the plan says this."""


def _of_element(old: Element, new: Element) -> PlanChange:
    layer, name = layer_of(old), old.element_id
    if old.shape is None or new.shape is None or type(old.shape) is not type(new.shape):
        raise _UnsayableError
    if isinstance(old.shape, Drain) and isinstance(new.shape, Drain):
        return PlanChange(layer, name, _of_drain(old.shape, new.shape))
    values: dict[str, float | str] = {}
    for one in fields(old.shape):  # type: ignore[arg-type] # a dataclass
        was, now = getattr(old.shape, one.name), getattr(new.shape, one.name)
        if was is now or was == now:
            continue
        if one.name in ("crest_over_spill_m", "crest_over_line_m"):
            values["crest_level_m"] = _number(new.crest_level_m)
        elif one.name in _COLUMNS.get(type(old.shape), ()):
            values[one.name] = _number(now)
        else:
            raise _UnsayableError
    if not values:  # a level that no column holds, such as the rim of a tank
        raise _UnsayableError
    return PlanChange(layer, name, values)


def _of_drain(old: Drain, new: Drain) -> dict[str, float | str]:
    values: dict[str, float | str] = {}
    if old.depth_m != new.depth_m:
        values["depth_m"] = _number(new.depth_m)
    if old.section != new.section:
        if not isinstance(new.section, Trapezoid):
            raise _UnsayableError
        values["bottom_m"] = _number(new.section.bottom_m)
    if old.roughness != new.roughness:
        values["lining"] = str(new.roughness)
    if not values:
        raise _UnsayableError
    return values


def _of_links(design: Design, mended: Network, shaped: set[str]) -> Iterator[PlanChange]:
    rows = zip(design.links, mended.links, design.drawn_ways, design.lines, strict=False)
    for old, new, row, line in rows:
        if old is new:
            continue
        if row is not None:
            yield _of_row(row, old, new)
        else:
            yield from _of_own_way(design, old, new, line, shaped)
    for added in mended.links[len(design.links) :]:
        line = _way_between(design, added)
        if isinstance(added.outlet, Sill):
            yield _overflow_row(added, added.outlet, line)
        elif isinstance(added.outlet, Orifice | Pipe):
            yield PlanChange(
                DrawnPipe.LAYER,
                f"low outlet of {added.from_id}",
                {
                    "from_id": added.from_id,
                    "to_id": added.to_id,
                    "from_level_m": _number(added.outlet.crest_m),
                    "diameter_mm": _number(1000 * added.outlet.diameter_m),
                },
                line.wkt,
                added=True,
            )
        else:
            raise _UnsayableError


def _of_row(row: DrawnWay, old: Link, new: Link) -> PlanChange:
    """Change a way that a person drew."""
    layer, name = row.LAYER, row.name
    values: dict[str, float | str] = {}
    if old.to_id != new.to_id:
        values["to_id"] = new.to_id
    if old.capacity_m3_s != new.capacity_m3_s:
        # rounded up, or it would carry less than was asked
        values["capacity_m3_s"] = math.ceil(new.capacity_m3_s * 1e4) / 1e4
    was, now = old.outlet, new.outlet
    if was is not now:
        if layer == DrawnOverflow.LAYER and isinstance(was, Sill) and isinstance(now, Sill):
            if was.width_m != now.width_m:
                values["sill_width_m"] = _number(now.width_m)
            if was.crest_m != now.crest_m:
                values["crest_level_m"] = _number(now.crest_m)
        elif isinstance(was, Pipe | Orifice) and isinstance(now, Pipe | Orifice):
            if was.diameter_m != now.diameter_m:
                values["diameter_mm"] = _number(1000 * now.diameter_m)
            if was.crest_m != now.crest_m:
                values["from_level_m"] = _number(now.crest_m)
                values["to_level_m"] = _number(now.leaves_at_m)
    if not values:
        raise _UnsayableError
    return PlanChange(layer, name, values)


def _of_own_way(
    design: Design, old: Link, new: Link, line: shapely.LineString, shaped: set[str]
) -> Iterator[PlanChange]:
    """Change the way that an element has of itself."""
    element = design.network.element(old.from_id)
    layer = layer_of(element)
    was, now = old.outlet, new.outlet
    values: dict[str, float | str] = {}
    if old.to_id != new.to_id:
        values["spills_to"] = new.to_id
    if isinstance(was, Sill) and isinstance(now, Sill):
        if was.crest_m != now.crest_m:
            # its own level would move the whole dig: a sill of its own says it
            way = line if old.to_id == new.to_id else _way_between(design, new)
            yield _overflow_row(new, now, way)
            return
        if was.width_m != now.width_m:
            values["sill_width_m"] = _number(now.width_m)
    elif isinstance(was, Orifice) and isinstance(now, Orifice) and element.kind is Kind.TANK:
        if was.diameter_m != now.diameter_m:
            values["overflow_mm"] = _number(1000 * now.diameter_m)
        if was.crest_m != now.crest_m:
            raise _UnsayableError
    if values:
        yield PlanChange(layer, old.from_id, values)
    elif old.from_id not in shaped:
        raise _UnsayableError


def _overflow_row(link: Link, sill: Sill, line: shapely.LineString) -> PlanChange:
    return PlanChange(
        DrawnOverflow.LAYER,
        f"sill of {link.from_id}",
        {
            "from_id": link.from_id,
            "to_id": link.to_id,
            "form": sill.form,
            "crest_level_m": _number(sill.crest_m),
            "sill_width_m": _number(sill.width_m),
        },
        line.wkt,
        added=True,
    )


def _way_between(design: Design, link: Link) -> shapely.LineString:
    """Return the shortest line to what a new way reaches."""
    start = design.shape_of(link.from_id)
    end = _end_of(design, link.to_id)
    line = shapely.shortest_line(start, end) if end is not None else _stub(start)
    return line if line.length > 0 else _stub(start)  # they touch


def _end_of(design: Design, name: str) -> BaseGeometry | None:
    if name in design.network.index:
        return design.shape_of(name)
    return design.ends.get(name)


def _stub(start: BaseGeometry) -> shapely.LineString:
    x, y = shapely.get_coordinates(start)[-1]
    return shapely.LineString([(x, y), (x + 1.0, y)])


def _joined(changes: Sequence[PlanChange]) -> tuple[PlanChange, ...]:
    """Join what goes into one row."""
    rows: dict[tuple[str, str], PlanChange] = {}
    for one in changes:
        key = one.layer, one.row
        known = rows.get(key)
        if known is None:
            rows[key] = one
        else:
            shape = one.shape_wkt or known.shape_wkt
            values: Mapping[str, float | str] = known.values | one.values
            rows[key] = PlanChange(
                one.layer, one.row, dict(values), shape, known.added or one.added
            )
    return tuple(rows.values())


def _number(value: float) -> float:
    return round(float(value), _PLACES)
