"""Seeded sites drawn as someone new would, and a driver that only follows the tool's own advice.

Grounds are invented: rough at every scale, hummocks with kettles, terraces, and a valley. Designs
are careless in ways that were seen: lines off level, ponds on slopes, links left out or led past
the next element, drains into ponds, tanks with pipes, ends that miss, a discharge without a name.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio.transform import from_origin
from scipy import ndimage

from brimline.config import load
from brimline.design import changes_of
from brimline.drainage.flow import flow_directions
from brimline.drainage.receiving import way_down
from brimline.engine.order import ordered, taken
from brimline.engine.stage import Given
from brimline.inputs.profile import at_scale
from brimline.inputs.sources import sources_of
from brimline.io.plan_rows import write_changes
from brimline.layers.flags import needs_look
from brimline.stages.registry import stages_for
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

CRS = "EPSG:32626"
WEST, NORTH = 350_000.0, 5_210_000.0
CELLS = 120
KINDS = ("fractal", "glacial", "terraced", "valley")
CELL_SIZES_M = (0.5, 1.0, 2.0, 5.0)
NOISE_M = 0.02
STORMS = """
[storm]
return_period_y = 10
check_periods_y = [100]
duration_h = 3
[survey]
rmse_m = 0.05
[earthworks]
"""
# what people read of a round
_TOLD = {
    "cascade_findings": ("text",),
    "design_proof": ("notes",),
    "cascade_mends": ("text",),
    "advice": ("text", "does", "why_none"),
}
RAIN = "duration_h,10,100\n0.5,22,34\n1,30,46\n3,42,64\n6,50,76\n24,70,105\n"
# what must be gone for a cascade to hold, in any storm that is run
BREAKS = frozenset(
    {"cycle", "uphill", "overtopped", "small-outlet", "no-safe-outlet", "not-computable",
     "leaks", "sill-shut", "reaches-other", "at-building", "over-boundary", "off-level"}
)  # fmt: skip


def ground(kind: str, cell_m: float, rng: np.random.Generator) -> np.ndarray:
    """Elevation of a square of `CELLS` cells, falling southwards on the whole [m]."""
    row, col = np.indices((CELLS, CELLS), dtype=np.float64)
    side_m = CELLS * cell_m
    x, y = col / CELLS, row / CELLS
    rough = _rough(rng, 2.2)
    if kind == "fractal":
        shape = -0.07 * y + 0.008 * rough
    elif kind == "glacial":
        shape = -0.04 * y + 0.001 * rough
        for _ in range(14):
            at, wide = rng.uniform(0, 1, 2), rng.uniform(0.06, 0.14)
            bump = np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * wide**2))
            shape += rng.uniform(-0.008, 0.014) * bump
    elif kind == "terraced":
        steps = rng.integers(4, 7)
        phase = 2 * np.pi * steps * (y + 0.06 * np.sin(2 * np.pi * x))
        shape = -0.09 * (
            y + 0.06 * np.sin(2 * np.pi * x) + 0.8 * np.sin(phase) / (2 * np.pi * steps)
        )
        shape += 0.001 * rough
    else:
        shape = -0.06 * y + 0.25 * (x - 0.5 - 0.05 * np.sin(4 * y)) ** 2 + 0.002 * rough
    level = 100 + side_m * shape
    return (level + rng.normal(0, NOISE_M, level.shape)).astype(np.float32)


def _rough(rng: np.random.Generator, power: float) -> np.ndarray:
    """A field that is rough at every scale, of standard deviation 1."""
    white = np.fft.rfft2(rng.normal(size=(2 * CELLS, 2 * CELLS)))
    fy, fx = np.fft.fftfreq(2 * CELLS)[:, None], np.fft.rfftfreq(2 * CELLS)[None]
    wave = np.hypot(fy, fx)
    wave[0, 0] = np.inf
    found = np.fft.irfft2(white / wave ** (power / 2 + 0.5))[:CELLS, :CELLS]
    return (found - found.mean()) / found.std()


@dataclass
class Careless:
    """One drawn site: its files are written into a folder by `write`.

    Where `dem` is given, `CELLS` by `CELLS` of surveyed ground, a swale, a swale along a straight
    fence, a pond and an outlet are drawn on it.
    """

    seed: int
    kind: str = ""
    cell_m: float = 1.0
    dem: np.ndarray = field(default_factory=lambda: np.zeros(0))
    plan: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    surfaces: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        rng = np.random.default_rng([2026, self.seed])
        if self.dem.size:
            _Drawer(self, rng).draw_with_fence()
            return
        self.kind = KINDS[self.seed % 4]
        self.cell_m = CELL_SIZES_M[(self.seed // 4) % 4]
        self.dem = ground(self.kind, self.cell_m, rng)
        _Drawer(self, rng).draw()

    @property
    def side_m(self) -> float:
        return CELLS * self.cell_m

    @property
    def boundary(self) -> shapely.Polygon:
        inset = 0.06 * self.side_m
        return shapely.box(
            WEST + inset, NORTH - self.side_m + inset, WEST + self.side_m - inset, NORTH - inset
        )

    def write(self, folder: Path) -> Path:
        """Write terrain, boundary, surfaces, rain, plan and site file."""
        folder.mkdir(parents=True, exist_ok=True)
        with rasterio.open(
            folder / "terrain.tif", "w", driver="GTiff", height=CELLS, width=CELLS, count=1,
            dtype="float32", crs=CRS, nodata=np.nan,
            transform=from_origin(WEST, NORTH, self.cell_m, self.cell_m),
        ) as target:  # fmt: skip
            target.write(self.dem, 1)
        gpd.GeoDataFrame({"name": ["site"]}, geometry=[self.boundary], crs=CRS).to_file(
            folder / "boundary.gpkg"
        )
        inputs = ['elevation = "terrain.tif"', 'boundary = "boundary.gpkg"', 'plan = "plan.gpkg"']
        inputs.append('rainfall = "rain.csv"')
        (folder / "rain.csv").write_text(RAIN)
        if self.surfaces:
            _frame(self.surfaces).to_file(folder / "surfaces.gpkg", layer="surfaces")
            inputs.append('surfaces = "surfaces.gpkg"')
        (folder / "plan.gpkg").unlink(missing_ok=True)
        for name, rows in self.plan.items():
            _frame(rows).to_file(folder / "plan.gpkg", layer=name, driver="GPKG")
        path = folder / "site.toml"
        path.write_text('[site]\nname = "Careless"\n[inputs]\n' + "\n".join(inputs) + STORMS)
        return path


def _frame(rows: Sequence[dict[str, Any]]) -> gpd.GeoDataFrame:
    columns = [{k: v for k, v in row.items() if k != "shape"} for row in rows]
    return gpd.GeoDataFrame(columns, geometry=[row["shape"] for row in rows], crs=CRS)


class _Drawer:
    """Draws one site down a way that water takes, by eye."""

    def __init__(self, site: Careless, rng: np.random.Generator) -> None:
        self.site, self.rng = site, rng
        self.eye = ndimage.gaussian_filter(site.dem.astype(np.float64), 3)

    def draw(self) -> None:
        site, rng = self.site, self.rng
        way = self._way()
        length = shapely.length(way)
        count = int(rng.integers(2, 5))
        at = np.sort(rng.uniform(0.1, 0.85, count)) if count > 1 else np.array([0.4])
        at = np.linspace(0.12, 0.82, count) + rng.uniform(-0.05, 0.05, count)
        kinds = [str(rng.choice(["swale", "swale", "pond", "basin"])) for _ in range(count)]
        names = [f"{kind} {letter}" for kind, letter in zip(kinds, "abcde", strict=False)]
        end = {
            "name": "Brook" if rng.random() < 0.7 else None,
            "shape": shapely.Point(way.coords[-1]),
        }
        below = [*names[1:], end["name"] or ""]
        plan: dict[str, list[dict[str, Any]]] = {"discharge_points": [end]}
        for place, (kind, name) in enumerate(zip(kinds, names, strict=True)):
            point = way.interpolate(at[place] * length)
            row: dict[str, Any] = {"name": name, "spills_to": self._said(place, below)}
            if kind == "swale":
                row["shape"] = self._swale(point)
                layer = "drawn_swales"
            else:
                row["shape"] = self._round(point, 0.035 if kind == "basin" else 0.06)
                layer = f"drawn_{kind}s"
                row["depth_m"] = 0.4 if kind == "basin" else 1.2
            if rng.random() < 0.3:
                row["sill_width_m"] = 0.3
            plan.setdefault(layer, []).append(row)
        self._drain(plan, names, kinds)
        self._tank(plan, way, names)
        self._overflow(plan, names)
        site.plan = plan

    def draw_with_fence(self) -> None:
        """Draw by eye: a swale, one along a fence below it, a pond to take both, and a brook."""
        way = self._way()
        upper, middle, lower = (way.interpolate(at, normalized=True) for at in (0.2, 0.5, 0.8))
        fall = self._fall(middle)
        half = 0.12 * self.site.side_m * np.array([-fall[1], fall[0]])
        fence = shapely.LineString(
            [np.array(middle.coords[0]) - half, np.array(middle.coords[0]) + half]
        )
        self.site.plan = {
            "drawn_swales": [
                {"name": "Top swale", "shape": self._swale(upper)},
                {"name": "Fence swale", "spills_to": "Pond", "shape": self._inside(fence)},
            ],
            "drawn_ponds": [{"name": "Pond", "depth_m": 1.2, "shape": self._round(lower, 0.06)}],
            "discharge_points": [{"name": "Brook", "shape": shapely.Point(way.coords[-1])}],
        }

    def _way(self) -> shapely.LineString:
        """Follow water from high ground to the boundary."""
        site, rng = self.site, self.rng
        filled = fill(site.dem)
        directions = flow_directions(filled)
        best: list[tuple[float, float]] = []
        inside = site.boundary
        for _ in range(12):
            row, col = int(rng.integers(10, 30)), int(rng.integers(25, CELLS - 25))
            rows, cols = way_down(directions, row, col, np.zeros_like(filled, dtype=np.int32))
            x, y = WEST + (cols + 0.5) * site.cell_m, NORTH - (rows + 0.5) * site.cell_m
            keep = shapely.contains_xy(inside, x, y)
            last = int(np.argmin(keep)) if not keep.all() else keep.size
            if last > len(best):
                best = list(zip(x[:last], y[:last], strict=True))
        if len(best) < 4:
            raise ValueError("no way down")
        return shapely.LineString(best)

    def _said(self, place: int, below: list[str]) -> str | None:
        dice = self.rng.random()
        if dice < 0.45:
            return None
        if dice < 0.85 or place + 1 >= len(below):
            return below[place] or None
        return below[place + 1] or None  # led past the next one

    def _fall(self, point: shapely.Point) -> np.ndarray:
        """Direction downhill as the eye sees it."""
        m = self.site.cell_m
        col, row = int((point.x - WEST) / m), int((NORTH - point.y) / m)
        row, col = np.clip([row, col], 4, CELLS - 5)
        part = self.eye[row - 3 : row + 4, col - 3 : col + 4]
        gy, gx = np.gradient(part)
        fall = np.array([-gx.mean(), gy.mean()])
        return fall / max(np.hypot(*fall), 1e-9)

    def _swale(self, point: shapely.Point) -> shapely.LineString:
        """A line of a few points along the slope, each followed by eye and none of them right."""
        rng, half = self.rng, self.rng.uniform(0.08, 0.16) * self.site.side_m
        arms = []
        for sign in (-1, 1):
            here, arm = np.array([point.x, point.y]), []
            for _ in range(3):
                fall = self._fall(shapely.Point(here))
                turn = rng.normal(0, 0.12)
                along = sign * np.array([-fall[1], fall[0]])
                along = along + turn * fall
                here = here + along * half / 3
                arm.append(tuple(here))
            arms.append(arm)
        line = shapely.LineString([*arms[0][::-1], (point.x, point.y), *arms[1]])
        return self._inside(line)

    def _inside(self, line: shapely.LineString) -> shapely.LineString:
        part = line.intersection(self.site.boundary.buffer(-0.02 * self.site.side_m))
        return max(shapely.get_parts(part), key=shapely.length)

    def _round(self, point: shapely.Point, share: float) -> shapely.Polygon:
        radius = share * self.site.side_m * self.rng.uniform(0.7, 1.2)
        radius = float(np.clip(radius, 2.0, 14.0))
        ring = shapely.affinity.scale(point.buffer(radius, 6), 1.0, self.rng.uniform(0.6, 1.0))
        return (
            ring
            if self.site.boundary.contains(ring)
            else shapely.affinity.translate(
                ring, *(np.array(self.site.boundary.centroid.coords[0]) - [point.x, point.y]) * 0.2
            )
        )

    def _drain(self, plan: dict[str, Any], names: list[str], kinds: list[str]) -> None:
        """Draw a drain from the end of a swale into the next pond or basin."""
        for place, kind in enumerate(kinds[:-1]):
            if kind == "swale" and kinds[place + 1] != "swale" and self.rng.random() < 0.6:
                swale = next(r for r in plan["drawn_swales"] if r["name"] == names[place])
                layer = f"drawn_{kinds[place + 1]}s"
                pond = next(r for r in plan[layer] if r["name"] == names[place + 1])
                line = shapely.LineString([swale["shape"].coords[-1], pond["shape"].centroid])
                swale["spills_to"] = "drain"
                plan["drawn_drains"] = [
                    {"name": "drain", "spills_to": names[place + 1], "shape": line}
                ]
                return

    def _tank(self, plan: dict[str, Any], way: shapely.LineString, names: list[str]) -> None:
        if self.rng.random() > 0.5:
            return
        start = way.interpolate(0.02, normalized=True)
        size = float(np.clip(0.04 * self.site.side_m, 3, 9))
        roof = shapely.box(start.x - 3 * size, start.y, start.x - 2 * size, start.y + size)
        if not self.site.boundary.contains(roof):
            return
        spot = shapely.Point(start.x - 2 * size + 1, start.y)
        self.site.surfaces.append({"name": "roof", "cover": "roof", "shape": roof})
        plan["drawn_tanks"] = [{"name": "tank", "volume_m3": 5.0, "roofs": "roof", "shape": spot}]
        first = _shape_of(plan, names[0])
        line = shapely.shortest_line(spot, first)
        plan["drawn_pipes"] = [{"name": "pipe", "shape": line}]

    def _overflow(self, plan: dict[str, Any], names: list[str]) -> None:
        """Draw one overflow whose ends miss what they mean by about a metre."""
        if len(names) < 2 or self.rng.random() > 0.4:
            return
        place = int(self.rng.integers(0, len(names) - 1))
        one, other = _shape_of(plan, names[place]), _shape_of(plan, names[place + 1])
        line = shapely.shortest_line(one, other)
        if line.length < 8:
            return
        line = shapely.LineString([line.interpolate(1.0), line.interpolate(line.length - 1.2)])
        plan["drawn_overflows"] = [{"name": "way", "shape": line}]


def _shape_of(plan: dict[str, list[dict[str, Any]]], name: str) -> Any:
    return next(row["shape"] for rows in plan.values() for row in rows if row["name"] == name)


@dataclass
class Round:
    """What a run said."""

    findings: dict[tuple[str, str], str]
    applied: list[str]
    lengths: dict[str, float]
    explained: list[tuple[str, str]]
    told: list[str] = field(default_factory=list)

    @property
    def broken(self) -> dict[tuple[str, str], str]:
        return {mark: text for mark, text in self.findings.items() if mark[1] in BREAKS}


class _Quiet:
    """A reporter that keeps nothing."""

    def advanced(self, fraction: float, note: str = "") -> None: ...

    def problem(self, problem: Any) -> None: ...

    def tell(self, problems: Any) -> None: ...


class Stages:
    """The stages of a site up to one, in memory: what the plan does not touch runs once."""

    def __init__(self, site: Path, until: str = "advice") -> None:
        loaded, _ = at_scale(load(site))
        self.stages = ordered(stages_for(loaded.settings), until)
        self.sources = {name: one.value for name, one in sources_of(loaded).items()}
        settings = loaded.settings
        self.tables = {name: getattr(settings, name) for name in type(settings).model_fields}
        self.values: dict[str, Any] = {}
        self.plan = site.parent / "plan.gpkg"

    def run(self) -> Round:
        """Run what depends on the plan, and return what is said."""
        self.compute("plan")
        return self._round()

    def compute(self, anew: str) -> dict[str, Any]:
        """Run a stage anew, and what depends on it or has not run; return all that is known."""
        touched: set[str] = set()
        made = {name for stage in self.stages for name in stage.makes}
        for stage in self.stages:
            takes = taken(stage, made)
            known = set(stage.makes) <= set(self.values)
            if known and stage.name != anew and touched.isdisjoint(takes):
                continue
            given = Given(
                stage, self.values.__getitem__,
                present=[name for name in stage.optional_needs if name in made],
                tables={name: self.tables[name] for name in stage.tables},
                sources={n: v for n, v in self.sources.items() if n in stage.sources},
            )  # fmt: skip
            self.values |= stage.run(given, _Quiet())
            touched |= set(stage.makes)
        return self.values

    def _round(self) -> Round:
        found, proof = self.values["cascade_findings"], self.values["design_proof"]
        pairs = [((r.element_id, r.code), r.text) for r in found.itertuples()]
        for row in proof.itertuples():
            pairs += [((row.element_id, code), row.notes) for code in (row.flag or "").split(";")]
        findings = {mark: text for mark, text in pairs if mark[1] and needs_look([mark[1]])}
        told = self.values["advice"]
        said = told["mend_id"].notna() | told["why_none"].notna()
        explained = list(zip(told["element_id"][said], told["code"][said], strict=True))
        sentences = [
            text
            for name, columns in _TOLD.items()
            for column in columns
            for text in self.values[name][column].dropna()
        ]
        return Round(findings, [], lengths_of(self.plan), explained, sentences)

    def follow(self) -> list[str]:
        """Write the advised mends into the plan, as `brimline apply --advised` does."""
        mends = self.values["cascade_mends"]
        taken_rows = mends[mends["advised"] > 0].sort_values("advised")
        changes = [one for text in taken_rows["change"] for one in changes_of(text)]
        if changes:
            write_changes(self.plan, changes, [one.told for one in changes], crs=CRS)
        return taken_rows["text"].tolist()


def drive(site: Path, rounds: int = 3) -> list[Round]:
    """Run, follow the advice, and run again, as often as allowed or until nothing is left to do."""
    stages = Stages(site)
    found = [stages.run()]
    for _ in range(rounds):
        found[-1].applied = stages.follow()
        if not found[-1].applied:
            break
        found.append(stages.run())
    return found


def lengths_of(plan: Path) -> dict[str, float]:
    """Length of each drawn line outside ponds, bays of one swale together, by name [m]."""
    lengths: dict[str, float] = {}
    there = {str(name) for name, _ in pyogrio.list_layers(plan)}
    ponds = [
        pyogrio.read_dataframe(plan, layer=layer).geometry.union_all()
        for layer in sorted(there & {"drawn_ponds", "drawn_basins"})
    ]
    water = shapely.union_all(ponds)
    for layer in sorted(there & {"drawn_swales", "drawn_drains"}):
        for row in pyogrio.read_dataframe(plan, layer=layer).itertuples():
            name = row.name.split(" bay ")[0]
            lengths[name] = lengths.get(name, 0.0) + row.geometry.difference(water).length
    return lengths
