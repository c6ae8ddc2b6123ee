"""What an earlier run of the same code found out, so that only what must run need be loaded."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from brimline.errors import InternalError

if TYPE_CHECKING:
    from collections.abc import Callable

    from brimline.engine.store import Store

# What a process has found serves all its runs, whichever store they keep.
_found: Final[dict[tuple[str, str], Any]] = {}


class KnownParts:
    """Plain values that follow from the code and from little else, kept between runs.

    Parameters
    ----------
    store : where they are kept; None finds everything out anew.
    code : digest of all code of ours.
    """

    def __init__(self, store: Store | None = None, code: str = "") -> None:
        self._store, self._code = store, code

    def recall(self, name: str, of: object, find: Callable[[], Any]) -> Any:  # noqa: ANN401 - plain
        """Return what an earlier run found from the same code and the same `of`, else find it.

        Parameters
        ----------
        of : plain values that it depends on beside the code.
        find : finds plain values, which JSON can hold.
        """
        if self._store is None:
            return find()
        told = hashlib.sha256(json.dumps([self._code, of], sort_keys=True).encode()).hexdigest()
        note = self._store.noted(name)
        if note is None or note["of"] != told:
            if (name, told) not in _found:
                _found[name, told] = find()
            note = {"of": told, "found": _found[name, told]}
            self._store.note(name, note)
        return note["found"]


@dataclass(frozen=True, slots=True)
class Later:
    """A function or class of a module, which is loaded when it is first called or looked at."""

    module: str
    name: str

    def __call__(self, *args: Any) -> Any:  # noqa: ANN401 - whatever it takes and gives
        """Call it."""
        return self.found(*args)

    @property
    def found(self) -> Any:  # noqa: ANN401 - a function or a class
        """The function or class itself."""
        return getattr(import_module(self.module), self.name)


def place_of(thing: Any) -> Later:  # noqa: ANN401 - a function or a class
    """Return where a function or class stands, without loading it."""
    return thing if isinstance(thing, Later) else Later(thing.__module__, thing.__qualname__)


def plain_of(declared: Any) -> dict[str, Any]:  # noqa: ANN401 - a dataclass
    """Return a declaration as plain values, functions and classes by their places.

    Raises
    ------
    InternalError
        If one of them is not a plain one of a module.
    """
    return {field.name: _plain(getattr(declared, field.name)) for field in fields(declared)}


def declared_from(plain: dict[str, Any]) -> dict[str, Any]:
    """Return the arguments that make a declaration from what `plain_of` gave."""
    return {name: _unpacked(value) for name, value in plain.items()}


def _plain(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, Later):
        return {"module": value.module, "name": value.name}
    if callable(value):
        place = place_of(value)
        if getattr(import_module(place.module), place.name, None) is not value:
            raise InternalError(f"{value!r} must be a plain function or class of a module")
        return _plain(place)
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, dict):
        return {"dict": {key: _plain(inner) for key, inner in value.items()}}
    return value


def _unpacked(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, list):
        return tuple(_unpacked(inner) for inner in value)
    if isinstance(value, dict) and "dict" in value:
        return {key: _unpacked(inner) for key, inner in value["dict"].items()}
    return Later(**value) if isinstance(value, dict) else value
