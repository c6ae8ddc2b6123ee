"""Where catchments end with the data, and the tiles that go on from there."""

from __future__ import annotations

import numpy as np
import shapely

from brimline.drainage.catchments.edges import SIDES, edge_sides, open_edge, tiles_beyond
from brimline.grid import Grid

GRID = Grid(4, 5, 10.0, 1000.0, 2000.0)


def ground() -> tuple[np.ndarray, np.ndarray]:
    labels = np.zeros((4, 5), np.int32)
    labels[0:2, 1] = 1  # to the northern edge
    labels[2, 2:4] = 2  # beside a notch in the east, and drains to 1
    beyond = np.zeros((4, 5), np.bool_)
    beyond[2, 4] = True
    return labels, beyond


def test_sides_are_those_by_which_ground_and_what_drains_to_it_leave_the_data() -> None:
    edge = open_edge(*ground())
    assert edge_sides(edge, np.array([0, 0], np.int32)) == ("north", "east")
    assert edge_sides(edge, np.array([0, 1], np.int32)) == ("north, east", "east")
    assert (edge.row.tolist(), edge.col.tolist()) == ([-1, 2], [1, 4])
    inner = np.zeros((4, 5), np.int32)
    inner[1:3, 1:4] = 1
    assert edge_sides(open_edge(inner, np.zeros((4, 5), np.bool_)), np.array([0], np.int32)) == (
        "",
    )
    every = open_edge(np.ones((1, 1), np.int32), np.zeros((1, 1), np.bool_))
    assert edge_sides(every, np.array([0], np.int32)) == (", ".join(SIDES),)


def test_tiles_beyond_are_those_that_hold_the_cells_beside() -> None:
    shapes = np.array(
        [
            shapely.box(1000, 2000, 1050, 2040),  # north of the grid
            shapely.box(1040, 1960, 1090, 2000),  # holds the notch
            shapely.box(900, 1900, 1000, 2000),  # in the west, where nothing leaves
        ]
    )
    edge = open_edge(*ground())
    names = ["n", "e", "w"]
    down = np.array([0, 1], np.int32)
    assert tiles_beyond(edge, down, GRID, shapes, names) == (("n", "e"), ("e",))
    assert tiles_beyond(edge, down, GRID, shapes[:0], []) == ((), ())
