"""A commented ``site.toml``: every table and key with its meaning, defaults commented out."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from pydantic_core import PydanticUndefined

from brimline.config.tables import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic import BaseModel

_WIDTH = 96


def template(given: Mapping[str, Mapping[str, Any]], missing: Sequence[str] = ()) -> str:
    """Write a site's file as text.

    Parameters
    ----------
    given : values to write, by table and key; a mapping or a list is written inline. All other
        keys stand as comments that show their default.
    missing : what is still to be filled in, named at the top.

    Raises
    ------
    KeyError
        If `given` names a table or key that does not exist.
    """
    unknown = [name for name in given if name not in Settings.model_fields]
    if unknown:
        raise KeyError(f"no such table: {', '.join(unknown)}")
    tables = [
        _table(name, field.annotation, given.get(name, {}))  # type: ignore[arg-type]
        for name, field in Settings.model_fields.items()
    ]
    head = _comment(
        "A site for brimline. Paths are relative to this file. Every quantity's key ends in its "
        "unit. A key behind # has the default shown; take the # away to change it."
    )
    if missing:
        head += "\n" + _comment(f"Still to be filled in: {', '.join(missing)}.")
    return "\n\n".join([head, *tables]) + "\n"


def _table(name: str, model: type[BaseModel], given: Mapping[str, Any]) -> str:
    unknown = [key for key in given if key not in model.model_fields]
    if unknown:
        raise KeyError(f"no such key in [{name}]: {', '.join(unknown)}")
    summary = (model.__doc__ or "").strip().splitlines()[0]
    lines = [_comment(summary), f"[{name}]"]
    for key, field in model.model_fields.items():
        lines.append(_comment(field.description or ""))
        if given.get(key) is not None:
            lines.append(f"{key} = {toml_value(given[key])}")
        elif field.default is PydanticUndefined:
            lines.append(f'# {key} = "…"   # needed')
        else:
            shown = "…" if field.default is None else toml_value(field.default)
            lines.append(f"# {key} = {shown}")
    return "\n".join(lines)


def _comment(text: str) -> str:
    return "\n".join(f"# {line}" for line in textwrap.wrap(text, _WIDTH))


def toml_value(value: object) -> str:
    """Write a text, number, truth value, list or mapping as an inline TOML value.

    Raises
    ------
    TypeError
        If the value is of another kind.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # a JSON string is a TOML basic string
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    raise TypeError(f"no TOML value for {type(value).__name__}")
