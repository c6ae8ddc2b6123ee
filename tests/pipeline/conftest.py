"""A small site that a test can bend: a valley with a stream, written as people bring it."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin

from brimline._jit import thread_count, threads
from brimline.cli.main import main

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:32626"
WEST, NORTH, SIZE = 350_000.0, 5_210_000.0, 160


def valley(size: int = SIZE) -> np.ndarray:
    """A valley that falls southwards, its floor turning from steep to gentle halfway down."""
    row, col = np.indices((size, size), dtype=np.float64)
    across = np.abs(col - (size - 1) / 2)
    down = np.where(row < size / 2, 0.16 * row, 0.16 * size / 2 + 0.05 * (row - size / 2))
    rng = np.random.default_rng(7)
    return (140 - down + 0.0025 * across**2 + rng.normal(0, 0.01, row.shape)).astype(np.float32)


@dataclass
class Result:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict:
        return json.loads(self.out)


class Silent:
    """Stands in for `capsys` in a fixture that outlives one test; what is said is lost."""

    out = err = ""

    def readouterr(self) -> Silent:
        return self


@dataclass
class Site:
    """A folder with inputs and a site file; change the parts, then `write` and run.

    Pages, rasters, styles and stakes take most of a run. They are left out unless `draft` is False,
    or the run is told ``--no-draft`` or ``--only`` what the test looks at.
    """

    folder: Path
    capsys: pytest.CaptureFixture[str]
    monkeypatch: pytest.MonkeyPatch
    dem: np.ndarray = field(default_factory=valley)
    inputs: dict[str, str] = field(default_factory=dict)
    tables: str = ""
    draft: bool = True
    store: Path | None = None
    crs: str = CRS
    west: float = WEST
    north: float = NORTH
    size: int = SIZE

    def __post_init__(self) -> None:
        self.inputs["elevation"] = "terrain.tif"
        self.inputs["boundary"] = "boundary.gpkg"

    def write_terrain(self, *, crs: str | None = CRS, transform=None, name="terrain.tif", **tags):
        transform = transform or from_origin(WEST, NORTH, 1, 1)
        with rasterio.open(
            self.folder / name, "w", driver="GTiff", height=self.dem.shape[0],
            width=self.dem.shape[1], count=1, dtype="float32", crs=crs, transform=transform,
            nodata=np.nan,
        ) as target:  # fmt: skip
            target.write(self.dem.astype(np.float32), 1)
            for key, value in tags.items():
                setattr(target, key, value)

    def write_shapes(self, layer, shapes, *, crs=CRS, to_crs=None, **columns):
        frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
        if to_crs:
            frame = frame.to_crs(to_crs)
        frame.to_file(self.folder / f"{layer}.gpkg", layer=layer, driver="GPKG")
        self.inputs[layer] = f"{layer}.gpkg"

    def box(self, inset: float = 0.0) -> shapely.Polygon:
        """The site's square, drawn in by a distance."""
        west, south = self.west + inset, self.north - self.size + inset
        return shapely.box(west, south, self.west + self.size - inset, self.north - inset)

    def write_boundary(self, inset=12.0, **options):
        self.write_shapes("boundary", [self.box(inset)], name=["Tern Bank"], **options)

    def write_intakes(self, points=((80, 30),), names=None, **options):
        shapes = [shapely.Point(WEST + x, NORTH - SIZE + y) for x, y in points]
        labels = names or [f"intake {n}" for n in range(len(points))]
        self.write_shapes("intakes", shapes, name=labels, **options)

    def write_plan(self, **layers: list[dict]) -> None:
        """Write the plan anew; each row is its columns and a `shape` in metres from the corner."""
        path = self.folder / "plan.gpkg"
        path.unlink(missing_ok=True)
        corner = np.array([self.west, self.north - self.size])
        for name, rows in layers.items():
            shapes = [shapely.transform(row["shape"], lambda xy: xy + corner) for row in rows]
            columns = [{k: v for k, v in row.items() if k != "shape"} for row in rows]
            frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=self.crs)
            frame.to_file(path, layer=name, driver="GPKG")
        self.inputs["plan"] = "plan.gpkg"

    def table(self, name: str):
        return pyogrio.read_dataframe(self.results / "site.gpkg", layer=name)

    def write(self) -> Path:
        """Write the site file; inputs that the test did not write get their usual form."""
        if not (self.folder / "terrain.tif").exists() and "terrain.tif" in self.inputs["elevation"]:
            self.write_terrain()
        if not (self.folder / "boundary.gpkg").exists():
            self.write_boundary()
        lines = ["[site]", 'name = "Tern Bank"', "[inputs]"]
        lines += [f'{key} = "{value}"' for key, value in self.inputs.items()]
        path = self.folder / "site.toml"
        tables = self.tables
        if self.store is not None:
            kept = f'[keep]\nstore = "{self.store.as_posix()}"\n'
            tables = tables.replace("[keep]\n", kept) if "[keep]" in tables else tables + kept
        publish = "\n[publish]\ndraft = true\n" if self.draft else ""
        path.write_text("\n".join(lines) + "\n" + tables + publish, encoding="utf-8")
        return path

    def call(self, *arguments: str) -> Result:
        """Run the command in this process and catch what it says."""
        self.monkeypatch.setattr(sys, "argv", ["brimline", *arguments])
        self.capsys.readouterr()
        code = 0
        with threads(thread_count()):  # as many again after ``--jobs``
            try:
                main()
            except SystemExit as leave:
                code = int(leave.code or 0)
        caught = self.capsys.readouterr()
        return Result(code, caught.out, caught.err)

    def run(self, *options: str) -> Result:
        """Write the site and run it."""
        return self.call("run", str(self.write()), *options)

    def check(self, *options: str) -> Result:
        """Write the site and check it."""
        return self.call("check", str(self.write()), *options)

    @property
    def results(self) -> Path:
        return self.folder / "runs" / "site"

    def layer(self, name: str) -> gpd.GeoDataFrame:
        return gpd.read_file(self.results / "site.gpkg", layer=name)

    def raster(self, name: str) -> np.ndarray:
        with rasterio.open(self.results / "rasters" / f"{name}.tif") as source:
            return source.read(1)

    @property
    def manifest(self) -> dict:
        return json.loads((self.results / "run.json").read_text(encoding="utf-8"))


@pytest.fixture
def site(tmp_path, capsys, monkeypatch) -> Site:
    return Site(tmp_path, capsys, monkeypatch)


@pytest.fixture
def stages_kept(site, tmp_path_factory) -> None:
    """Keep results of stages beside those of other tests, most of which run on the same ground."""
    site.store = tmp_path_factory.getbasetemp() / "stages"


@pytest.fixture(scope="session")
def site_class() -> type[Site]:
    """For fixtures that outlive one test and make a site of their own."""
    return Site
