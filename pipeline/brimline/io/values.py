"""Typed values that stages hand each other, as bytes that are equal where the values are.

A value is a frozen dataclass. Its fields hold numbers (NaN and infinity among them), texts, truth
values, None, enums, dates of numpy, shapes, arrays, tuples, mappings with text keys, and further
frozen dataclasses. All comes back as it was, but for other scalars of numpy, which come back as
Python's own. Arrays come back read-only.

The file is one line of JSON, in which arrays and shapes are told by place and length, and then
their bytes: arrays little-endian in C order, shapes as WKB.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from enum import Enum
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.errors import InternalError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_PACKAGE: Final = "brimline."  # classes of others are not made from what a file says
_PLAIN: Final = (str, bool, int, float, type(None))


def value_bytes(value: object) -> bytes:
    """Return a value as bytes; equal values give equal bytes.

    Raises
    ------
    InternalError
        If it is not a frozen dataclass, or holds what cannot be kept; the message names the field.
    """
    if not _is_frozen(value):
        raise InternalError(f"must be a frozen dataclass, is a {type(value).__name__}")
    blobs: list[bytes] = []
    tree = _told(value, type(value).__name__, blobs)
    head = json.dumps(tree, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return b"".join([head.encode(), b"\n", *blobs])


def value_of(content: bytes) -> Any:  # noqa: ANN401 - the stage that asks names the class
    """Return the value that `value_bytes` told.

    Raises
    ------
    InternalError
        If its class is not a frozen dataclass or enum of this package.
    """
    head, _, rest = content.partition(b"\n")
    return _made(json.loads(head), _Bytes(rest))


class _Bytes:
    """What follows the first line, handed out from the front."""

    def __init__(self, content: bytes) -> None:
        self._content = content
        self._at = 0

    def take(self, size: int) -> bytes:
        self._at += size
        return self._content[self._at - size : self._at]


def _is_frozen(value: object) -> bool:
    kind = type(value)
    return is_dataclass(kind) and bool(kind.__dataclass_params__.frozen)  # type: ignore[attr-defined]


def _told(value: Any, where: str, blobs: list[bytes]) -> Any:  # noqa: ANN401 - any field
    """Return what JSON can hold; bytes of arrays and shapes go to `blobs`."""
    if isinstance(value, Enum):
        return {"enum": _path(type(value), where), "name": value.name}
    if isinstance(value, np.datetime64):
        value = np.asarray(value)
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, _PLAIN):
        return float(value) if isinstance(value, float) else value
    if isinstance(value, tuple):
        return [_told(part, f"{where}[{at}]", blobs) for at, part in enumerate(value)]
    if isinstance(value, np.ndarray):
        return _array_told(value, where, blobs)
    if isinstance(value, shapely.Geometry):
        blobs.append(shapely.to_wkb(value, byte_order=1, flavor="iso"))
        return {"wkb": len(blobs[-1])}
    if isinstance(value, dict) and all(isinstance(key, str) for key in value):
        parts = {key: _told(value[key], f"{where}[{key!r}]", blobs) for key in sorted(value)}
        return {"map": parts}
    if _is_frozen(value):
        kind, name = type(value), _path(type(value), where)
        parts = {
            field.name: _told(getattr(value, field.name), f"{where}.{field.name}", blobs)
            for field in sorted(fields(kind), key=lambda field: field.name)
        }
        return {"class": name, "fields": parts}
    raise InternalError(f"{where} holds a {type(value).__name__}, which cannot be kept")


def _array_told(array: NDArray[Any], where: str, blobs: list[bytes]) -> dict[str, Any]:
    if array.dtype.hasobject or array.dtype.names is not None:
        raise InternalError(f"{where} holds an array of {array.dtype}, which cannot be kept")
    dtype = array.dtype.newbyteorder("<")
    blobs.append(np.ascontiguousarray(array, dtype=dtype).tobytes())
    return {"array": dtype.str, "shape": list(array.shape), "size": len(blobs[-1])}


def _path(kind: type, where: str) -> str:
    name = f"{kind.__module__}:{kind.__qualname__}"
    if not kind.__module__.startswith(_PACKAGE) or "<" in name:
        raise InternalError(f"{where} holds a {name}, which is no class of a module of ours")
    return name


def _made(told: Any, rest: _Bytes) -> Any:  # noqa: ANN401 - mirrors `_told`, in the same order
    if isinstance(told, list):
        return tuple(_made(part, rest) for part in told)
    if not isinstance(told, dict):
        return told
    if "map" in told:
        return {key: _made(part, rest) for key, part in told["map"].items()}
    if "wkb" in told:
        return shapely.from_wkb(rest.take(told["wkb"]))
    if "array" in told:
        array = np.frombuffer(rest.take(told["size"]), dtype=told["array"])
        # of bytes, so read-only; without an axis it was a date
        return array.reshape(told["shape"]) if told["shape"] else array[0]
    if "enum" in told:
        return _class(told["enum"])[told["name"]]
    kind = _class(told["class"])
    value = object.__new__(kind)
    for name, part in told["fields"].items():
        # not through the constructor: what was checked or worked out there is stored already
        object.__setattr__(value, name, _made(part, rest))
    return value


def _class(path: str) -> Any:  # noqa: ANN401 - a dataclass or an enum
    module, _, name = path.partition(":")
    if not module.startswith(_PACKAGE):
        raise InternalError(f"{path} is no class of ours")
    found: Any = import_module(module)
    for part in name.split("."):
        found = getattr(found, part)
    if not (isinstance(found, type) and (is_dataclass(found) or issubclass(found, Enum))):
        raise InternalError(f"{path} is neither a dataclass nor an enum")
    return found
