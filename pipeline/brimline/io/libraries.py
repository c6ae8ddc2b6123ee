"""Versions of the libraries that results may depend on."""

from __future__ import annotations

import importlib.metadata
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_LIBRARIES: Final = ("geopandas", "numba", "numpy", "pandas", "pyarrow", "scipy", "shapely")
_BOUND: Final = ("pyogrio", "pyproj", "rasterio", "shapely")  # to GDAL, PROJ and GEOS


def versions(recall: Callable[..., Any] | None = None) -> dict[str, str]:
    """Return the versions of the libraries that results may depend on.

    Parameters
    ----------
    recall : remembers what lies beneath the libraries, by a name, what it depends on, and a
        function that finds it out (`Known.recall`).
    """
    whole = _sealed()
    if recall is None or whole is None:
        beneath = _beneath()
    else:
        beneath = recall("libraries", whole, _beneath)
    return dict(sorted((versions_of(_LIBRARIES) | beneath).items()))


def versions_of(libraries: Iterable[str]) -> dict[str, str]:
    """Return the versions of installed libraries by their names."""
    return {name: importlib.metadata.version(name) for name in libraries}


def _beneath() -> dict[str, str]:
    """Return the versions of what lies beneath the libraries, which they have to be loaded for."""
    import pyogrio
    import pyproj
    import rasterio
    import shapely

    return {
        "GEOS": str(shapely.geos_version_string),
        "PROJ": str(pyproj.proj_version_str),
        "GDAL": str(rasterio.__gdal_version__),
        "GDAL for vectors": ".".join(str(part) for part in pyogrio.__gdal_version__),
    }


def _sealed() -> dict[str, str] | None:
    """Return the versions of libraries that bring what lies beneath them; None if one does not.

    Wheels hold GDAL, PROJ and GEOS, which so change with them only. Where a library was built on
    the machine's own, that may change by itself.
    """
    found = [find_spec(name) for name in _BOUND]
    places = [Path(spec.origin).parent for spec in found if spec is not None and spec.origin]
    whole = [(place.parent / f"{place.name}.libs").is_dir() for place in places]
    whole = [one or (place / ".dylibs").is_dir() for one, place in zip(whole, places, strict=True)]
    return versions_of(_BOUND) if len(whole) == len(_BOUND) and all(whole) else None
