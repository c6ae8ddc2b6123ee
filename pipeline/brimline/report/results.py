"""What the pages are made from: a run's layers, rasters and manifest, as values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.grid import Grid
    from brimline.units import System


@dataclass(frozen=True, slots=True)
class Results:
    """A finished run, read-only.

    Parameters
    ----------
    site_name : as the person wrote it.
    units : what is shown; layers and rasters stay SI.
    grid : of every raster.
    frames : vector layers and tables by catalogue name; what a run did not make is absent.
    rasters : arrays (rows, cols) by catalogue name.
    facts : plain values of the stages, by name.
    manifest : of the run, as ``run.json`` holds it; its date is the date on every page.
    cautions : what every reader must know.
    """

    site_name: str
    units: System
    grid: Grid
    frames: Mapping[str, DataFrame]
    rasters: Mapping[str, NDArray[Any]]
    manifest: Mapping[str, Any]
    facts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    def layer(self, name: str) -> GeoDataFrame | None:
        """Return a vector layer with at least one row, or None."""
        frame = self.frames.get(name)
        if frame is None or frame.empty or "geometry" not in frame.columns:
            return None
        return frame

    def table(self, name: str) -> DataFrame | None:
        """Return a table with at least one row, or None."""
        frame = self.frames.get(name)
        return None if frame is None or frame.empty else frame

    def raster(self, name: str) -> NDArray[Any] | None:
        """Return a raster, or None."""
        return self.rasters.get(name)

    def parameter(self, table: str, key: str) -> Any:  # noqa: ANN401 - any TOML value
        """Return a parameter of the run; None where the manifest lacks it."""
        return self.manifest.get("parameters", {}).get(table, {}).get(key)

    @property
    def title_block(self) -> dict[str, str]:
        """What every document says of itself: site, date, version, revision, by and for whom."""
        told = ("revision", "prepared_by", "prepared_for")
        return {
            "site": self.site_name,
            "date": self.date,
            "version": self.manifest.get("brimline", ""),
            **{key: self.parameter("site", key) or "" for key in told},
        }

    @property
    def date(self) -> str:
        """Day on which the run finished, ISO 8601."""
        return str(self.manifest.get("finished", ""))[:10]

    @property
    def crs_text(self) -> str:
        """The coordinate reference system in few words."""
        crs = self.grid.crs
        if not crs:
            return "no CRS"
        from pyproj import CRS  # loaded by what draws, not by a run that keeps everything

        if CRS.from_user_input(crs).is_engineering:
            return "local grid"
        return crs if len(crs) <= 24 else "custom CRS, see run.json"
