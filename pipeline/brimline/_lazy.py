"""Names that a package hands on without loading the modules behind them."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


def lazily(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """Return a package's ``__getattr__``, which loads a name's module when it is first asked for.

    The package imports the same names under ``TYPE_CHECKING``: from there the type checker and
    the keys of stages know what stands behind it.

    Parameters
    ----------
    package : the package's own ``__name__``.
    homes : module of each name, below the package.
    """

    def load(name: str) -> Any:  # noqa: ANN401 - whatever is asked for
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{homes[name]}"), name)

    return load
