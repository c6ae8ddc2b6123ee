"""A finished run folder, read again."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from brimline.errors import InputError
from brimline.io.rasters import OnGrid, read_raster

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd


@dataclass(frozen=True, slots=True)
class RunFolder:
    """What a run left: its manifest, and layers and rasters when asked for."""

    folder: Path
    manifest: dict[str, Any]
    layers: frozenset[str]

    @property
    def name(self) -> str:
        """Name of the site."""
        return str(self.manifest.get("parameters", {}).get("site", {}).get("name", "site"))

    def parameter(self, table: str, key: str) -> Any:  # noqa: ANN401 - by the key
        """Return a parameter that the run was made with; None where it had none of that name."""
        return self.manifest.get("parameters", {}).get(table, {}).get(key)

    def layer(self, name: str) -> gpd.GeoDataFrame | None:
        """Read a layer; None where the run did not make it.

        Raises
        ------
        InputError
            If the file is damaged.
        """
        if name not in self.layers:
            return None
        try:
            return pyogrio.read_dataframe(self.folder / "site.gpkg", layer=name)
        except (DataSourceError, DataLayerError) as fault:
            raise _unreadable(self.folder / "site.gpkg", str(fault)) from fault

    def raster(self, name: str) -> OnGrid:
        """Read a raster and where its cells are.

        Raises
        ------
        InputError
            If the run did not make it.
        StoreError
            If it cannot be read.
        """
        path = self.folder / "rasters" / f"{name}.tif"
        if not path.exists():
            raise _unreadable(path, "the run has no such raster")
        return read_raster(path)


def read_run(folder: Path) -> RunFolder:
    """Open a run folder.

    Raises
    ------
    InputError
        If it is none, or a part of it cannot be read.
    """
    try:
        manifest = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise InputError.of(
            f"is not a run folder: its run.json cannot be read ({fault})",
            mend="name a folder that `brimline run` has written, such as runs/site",
            source=str(folder),
        ) from fault
    if not isinstance(manifest, dict) or "brimline" not in manifest:
        raise InputError.of(
            "is not a run folder: its run.json is of something else",
            mend="name a folder that `brimline run` has written, such as runs/site",
            source=str(folder),
        )
    package = folder / "site.gpkg"
    if not package.exists():
        return RunFolder(folder, manifest, frozenset())
    try:
        names = frozenset(str(name) for name in pyogrio.list_layers(package)[:, 0])
    except DataSourceError as fault:
        raise _unreadable(package, str(fault)) from fault
    return RunFolder(folder, manifest, names)


def _unreadable(path: Path, why: str) -> InputError:
    return InputError.of(why, mend="run the site again", source=str(path))
