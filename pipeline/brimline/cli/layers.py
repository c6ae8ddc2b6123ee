"""``brimline layers``: the catalogue, as people read it or as JSON."""

from __future__ import annotations

import difflib
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.errors import InputError

if TYPE_CHECKING:
    from brimline.layers import Column, Item

_WIDTH = 96


def run(name: str = "", *, as_json: bool) -> None:
    """Print every published item with its columns, what a person draws, and every flag.

    Parameters
    ----------
    name : prints one item or flag alone.

    Raises
    ------
    InputError
        If nothing has that name; the nearest name is told.
    """
    from brimline.layers import FLAGS, drawn, published

    items = published()
    if name:
        _one(name, as_json=as_json)
        return
    if as_json:
        console.result_json(
            {
                "layers": [_plain(item) for item in items],
                "drawn": [_plain(item) for item in drawn.ITEMS],
                "flags": [asdict(flag) for flag in FLAGS.values()],
            }
        )
        return
    for item in items:
        console.result(_text(item))
    console.result("DRAWN by a person in plan.gpkg: a column that is left empty is designed\n")
    for item in drawn.ITEMS:
        console.result(_text(item))
    console.result("FLAGS: why a person must look before using a row\n")
    flags = sorted(FLAGS.values(), key=lambda flag: flag.severity == "notice")
    for place, flag in enumerate(flags):
        if flag.severity == "notice" and flags[place - 1].severity == "look":
            console.result("\nFLAGS that only tell why a row is as it is\n")
        console.result(_wrapped(f"  {flag.code}: ", f"{flag.meaning} {flag.mend}"))


def _one(name: str, *, as_json: bool) -> None:
    from brimline.layers import FLAGS, drawn, published

    items = {item.name: item for item in (*published(), *drawn.ITEMS)}
    if name in items:
        item = items[name]
        if as_json:
            console.result_json(_plain(item))
        else:
            console.result(_text(item))
    elif name in FLAGS:
        flag = FLAGS[name]
        if as_json:
            console.result_json(asdict(flag))
        else:
            console.result(_wrapped(f"{name}: ", f"{flag.meaning} {flag.mend} Asks: {flag.who}."))
    else:
        near = difflib.get_close_matches(name, [*items, *FLAGS], n=3, cutoff=0.5)
        mend = f"did you mean {' or '.join(near)}?" if near else "see all with: brimline layers"
        raise InputError.of(f"no layer, table, raster or flag is called {name}", mend=mend)


def _kind(item: Item) -> str:
    from brimline.layers import Layer, Raster

    if isinstance(item, Layer):
        return f"{item.geometry}"
    if isinstance(item, Raster):
        held = f" held as int16 in steps of {item.step:g}" if item.step else ""
        return f"raster, {item.dtype}{held}"
    return "table"


def _text(item: Item) -> str:
    from brimline.layers import Raster

    unit = f", {item.unit}" if isinstance(item, Raster) and item.unit else ""
    lines = [f"{item.name}  ({_kind(item)}{unit})", _wrapped("  ", item.meaning)]
    if not isinstance(item, Raster):
        lines += [_column(column) for column in item.columns]
    return "\n".join(lines) + "\n"


def _column(column: Column) -> str:
    unit = f" [{column.unit}]" if column.unit else ""
    values = f" One of: {', '.join(column.values)}." if column.values else ""
    usual = "" if column.usual is None else f" Empty: {_usual(column)}."
    return _wrapped(f"    {column.name}{unit}: ", column.meaning + values + usual)


def _usual(column: Column) -> str:
    value = column.usual
    return f"{value:g} {column.unit}".strip() if isinstance(value, float) else str(value)


def _wrapped(head: str, text: str) -> str:
    return textwrap.fill(
        text,
        _WIDTH,
        initial_indent=head,
        subsequent_indent=" " * (len(head) - len(head.lstrip()) + 4),
    )


def _plain(item: Item) -> dict[str, Any]:
    from brimline.layers import Raster

    plain: dict[str, Any] = {"name": item.name, "kind": _kind(item), "title": item.title}
    plain["meaning"] = item.meaning
    if isinstance(item, Raster):
        return plain | {"unit": item.unit}
    return plain | {"columns": [asdict(column) for column in item.columns]}
