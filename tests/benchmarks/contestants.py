"""Who is measured at what: our functions and those of the libraries that do the same job.

Each contestant gets its input in its own form, made before the clock starts; what it needs from
an earlier step is made by the same library where it can be.
"""

import importlib
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
)
from brimline.grid import NO_DATA, OUTLET
from brimline.terrain.conditioning import breach, fill

OURS = "brimline"
D8 = np.array([1, 128, 64, 32, 16, 8, 4, 2, 0], dtype=np.uint8)  # powers of two, clockwise from E


@dataclass(frozen=True)
class Contestant:
    step: str
    library: str
    call: Any
    note: str = ""


def contestants(dem, intakes):
    """List every contestant whose library is installed, and the names of those that are not."""
    filled = fill(dem)
    directions = flow_directions(filled)
    entries = list(_ours(dem, filled, directions, intakes))
    missing = []
    for library, make in (
        ("richdem", _richdem),
        ("pyflwdir", _pyflwdir),
        ("pysheds", _pysheds),
        ("topotoolbox", _topotoolbox),
        ("fastscapelib", _fastscapelib),
        ("skimage", _skimage),
    ):
        try:
            module = importlib.import_module(library)
        except ImportError:
            missing.append(library)
            continue
        entries.extend(make(module, dem, filled, directions, intakes))
    return entries, missing


def _ours(dem, filled, directions, intakes):
    yield Contestant("fill", OURS, lambda: fill(dem))
    yield Contestant("directions", OURS, lambda: flow_directions(filled))
    yield Contestant("fill and directions", OURS, lambda: flow_directions(fill(dem)))
    yield Contestant("accumulation", OURS, lambda: accumulate(directions))
    yield Contestant("catchments", OURS, lambda: subcatchments(directions, intakes))
    yield Contestant("chain", OURS, lambda: chain(dem, intakes))
    yield Contestant(
        "breach", OURS, lambda: breach(dem, cell_m=1.0, max_depth_m=1.0, max_length_m=30.0)
    )
    yield Contestant("D-infinity", OURS, lambda: dinf_accumulation(filled))
    yield Contestant("multiple directions", OURS, lambda: mfd_accumulation(filled, exponent=1.1))


def chain(dem, intakes):
    """Fill, direct, accumulate, and divide among nested intakes."""
    filled = fill(dem)
    directions = flow_directions(filled)
    return filled, accumulate(directions), subcatchments(directions, intakes)


def _richdem(rd, dem, filled, directions, intakes):
    del directions, intakes

    def wrapped(array):
        return rd.rdarray(array, no_data=-9999, geotransform=(0, 1, 0, 0, 0, -1))

    ground, level = wrapped(dem), wrapped(filled)
    drained = rd.FillDepressions(ground, epsilon=True)
    shares = rd.FlowProportions(drained, method="D8")
    yield Contestant("fill", "richdem", lambda: rd.FillDepressions(ground))
    yield Contestant(
        "directions",
        "richdem",
        lambda: rd.FlowProportions(rd.ResolveFlats(level), method="D8"),
    )
    yield Contestant(
        "directions, flats left",
        "richdem",
        lambda: rd.FlowProportions(level, method="D8"),
    )
    yield Contestant(
        "fill and directions",
        "richdem",
        lambda: rd.FlowProportions(rd.FillDepressions(ground, epsilon=True), method="D8"),
        "fills with a made-up fall",
    )
    yield Contestant("accumulation", "richdem", lambda: rd.FlowAccumFromProps(shares))
    yield Contestant(
        "breach", "richdem", lambda: rd.BreachDepressions(ground), "complete, without limits"
    )
    yield Contestant("D-infinity", "richdem", lambda: rd.FlowAccumulation(drained, method="Dinf"))
    yield Contestant(
        "multiple directions",
        "richdem",
        lambda: rd.FlowAccumulation(drained, method="Freeman", exponent=1.1),
    )


def _pyflwdir(pyflwdir, dem, filled, directions, intakes):
    del filled
    from pyflwdir.dem import fill_depressions

    codes = D8[np.minimum(directions, OUTLET)]
    cells = np.ravel_multi_index(tuple(intakes.T), dem.shape)

    def graph():
        return pyflwdir.from_array(codes, ftype="d8", check_ftype=False, latlon=False)

    ready = graph()
    ready.upstream_area()
    yield Contestant("fill and directions", "pyflwdir", lambda: fill_depressions(dem))
    yield Contestant("accumulation", "pyflwdir", lambda: graph().upstream_area(unit="cell"))
    yield Contestant("catchments", "pyflwdir", lambda: graph().basins(idxs=cells))
    yield Contestant("catchments, order ready", "pyflwdir", lambda: ready.basins(idxs=cells))


def _pysheds(_, dem, filled, directions, intakes):
    from pysheds.grid import Grid
    from pysheds.view import Raster, ViewFinder

    def raster(array, nodata):
        frame = ViewFinder(Affine(1, 0, 0, 0, -1, 0), array.shape, nodata=nodata)
        return Raster(array, viewfinder=frame)

    ground = raster(dem, np.float32(np.nan))
    level = raster(filled, np.float32(np.nan))
    codes = raster(D8[np.minimum(directions, OUTLET)].astype(np.int64), np.int64(NO_DATA))
    grid = Grid.from_raster(ground)

    def direct():
        return grid.flowdir(grid.resolve_flats(level))

    def divide():
        return [grid.catchment(x, y, codes, xytype="index") for y, x in intakes.tolist()]

    yield Contestant("fill", "pysheds", lambda: grid.fill_depressions(ground))
    yield Contestant("directions", "pysheds", direct)
    yield Contestant("accumulation", "pysheds", lambda: grid.accumulation(codes))
    yield Contestant("catchments", "pysheds", divide, "one catchment at a time")
    yield Contestant(
        "D-infinity",
        "pysheds",
        lambda: grid.accumulation(grid.flowdir(level, routing="dinf"), routing="dinf"),
        "flats left undrained",
    )


def _topotoolbox(tt, dem, filled, directions, intakes):
    del filled, directions
    grid = tt.GridObject()
    grid.z, grid.cellsize, grid.transform = dem.copy(), 1.0, Affine(1, 0, 0, 0, -1, 0)
    flow = tt.FlowObject(grid)
    cells = np.ravel_multi_index(tuple(intakes.T), dem.shape)
    yield Contestant("fill", "topotoolbox", grid.fillsinks)
    yield Contestant(
        "fill and directions",
        "topotoolbox",
        lambda: tt.FlowObject(grid),
        "by carving; makes the order for later steps",
    )
    yield Contestant("accumulation, order ready", "topotoolbox", flow.flow_accumulation)
    yield Contestant(
        "catchments, order ready", "topotoolbox", lambda: flow.drainagebasins(outlets=cells)
    )


def _fastscapelib(fs, dem, filled, directions, intakes):
    del filled, directions, intakes
    grid = fs.RasterGrid(list(dem.shape), [1.0, 1.0], fs.NodeStatus.FIXED_VALUE)
    ground = dem.astype(np.float64)
    flood = fs.FlowGraph(grid, [fs.PFloodSinkResolver(), fs.SingleFlowRouter()])
    carve = fs.FlowGraph(grid, [fs.SingleFlowRouter(), fs.MSTSinkResolver()])
    flood.update_routes(ground)

    def route(graph):
        graph.update_routes(ground)
        return grid  # named here to stay alive: graphs do not hold on to their grid

    yield Contestant(
        "fill and directions",
        "fastscapelib",
        lambda: route(flood),
        "priority flood; makes the order for later steps",
    )
    yield Contestant(
        "fill and directions",
        "fastscapelib MST",
        lambda: route(carve),
        "basin graph, carving; makes the order for later steps",
    )
    yield Contestant(
        "accumulation, order ready", "fastscapelib", lambda: (flood.accumulate(1.0), grid)
    )


def _skimage(_, dem, filled, directions, intakes):
    del filled, directions, intakes
    from skimage.morphology import reconstruction

    def raise_hollows():
        seed = np.full_like(dem, dem.max())
        for edge in np.s_[0, :], np.s_[-1, :], np.s_[:, 0], np.s_[:, -1]:
            seed[edge] = dem[edge]
        return reconstruction(seed, dem, "erosion", footprint=np.ones((3, 3)))

    yield Contestant("fill", "skimage", raise_hollows)


warnings.filterwarnings("ignore", module="pysheds")
