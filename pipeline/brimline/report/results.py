"""What the pages are made from: a run's layers, rasters and manifest, as values."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, is_dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.grid import Grid
    from brimline.rainfall import Storm
    from brimline.units import System


class Memory(Protocol):
    """Keeps what was drawn, so that the same is not drawn again."""

    def told(self, raster: str) -> str | None:
        """Return a digest of a raster without loading it; None where there is none."""
        ...

    def recall(self, of: object, draw: Callable[[], Any]) -> Any:  # noqa: ANN401 - plain values
        """Return what was drawn of the same before, else draw it; plain values.

        Parameters
        ----------
        of : plain values: all that it is drawn from.
        """
        ...


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
    memory : keeps drawings; None draws each anew.
    """

    site_name: str
    units: System
    grid: Grid
    frames: Mapping[str, DataFrame]
    rasters: Mapping[str, NDArray[Any]]
    manifest: Mapping[str, Any]
    facts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    memory: Memory | None = None

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
    def design_storm(self) -> Storm | None:
        """What was designed for; None where nothing was."""
        asked: Any = self.facts.get("storms")
        storm: Storm | None = asked.design if asked else None
        return storm

    def drawn(
        self,
        draw: Callable[..., Any],
        *args: Any,  # noqa: ANN401 - plain values, frames, dataclasses
        frames: Mapping[str, DataFrame] | None = None,
        rasters: tuple[str, ...] = (),
    ) -> Any:  # noqa: ANN401 - plain values
        """Return ``draw(part, *args)``, or what it gave before of the same part and arguments.

        Parameters
        ----------
        draw : a plain function; returns what JSON can hold, and is shown nothing but the part.
        frames, rasters : all that the part holds beside the grid, units and the site's north.
        """
        north = {"sun": {"grid_north_deg": self.parameter("sun", "grid_north_deg")}}
        shown = dict(frames or {})

        def make() -> Any:  # noqa: ANN401
            part = replace(
                self,
                frames=shown,
                rasters={name: self.rasters[name] for name in rasters if name in self.rasters},
                manifest={"parameters": north},
                facts={},
                cautions=(),
                memory=None,
            )
            return draw(part, *args)

        if self.memory is None:
            return make()
        pictures = {name: self.memory.told(name) for name in rasters}
        of = [draw.__module__, draw.__qualname__, [_told(one) for one in args],
              {name: _told(frame) for name, frame in shown.items()}, pictures, north]  # fmt: skip
        return self.memory.recall(of, make)

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


def _told(value: Any) -> Any:  # noqa: ANN401 - an argument of a drawing
    """Return plain values for an argument, a digest for a frame."""
    if not hasattr(value, "columns"):
        return asdict(value) if is_dataclass(value) and not isinstance(value, type) else value
    import shapely

    digest = hashlib.sha256()
    for name in value.columns:
        cells = value[name].to_numpy()
        digest.update(f"{name} {cells.dtype}".encode())
        if name == "geometry":
            for shape in shapely.to_wkb(cells):
                digest.update(shape or b"none")
        elif cells.dtype.kind in "biuf":
            digest.update(cells.tobytes())
        else:
            digest.update(json.dumps(cells.tolist(), default=str).encode())
    return digest.hexdigest()
