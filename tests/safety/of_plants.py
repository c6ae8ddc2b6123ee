"""Unsafe and safe places for the flags of plants."""

from __future__ import annotations

import numpy as np
from shapely import LineString, Point, box

from brimline.planting import Plant
from brimline.planting.laying import Around, DrawnPlanting, in_the_way, laid_out
from brimline.planting.standing import GrowingPlace, crowded, unsuited

TREE = Plant("tree", "a tree", "canopy", 5.0, 6.0, 4.0, sun=("full",), frost_limit_c=-10.0)
FERN = Plant("fern", "a fern", "herb", 1.0, 1.0, 1.0, sun=("shade",))
REED = Plant("reed", "a reed", "herb", 1.0, 1.0, 1.0, water=("wet",))


def stands(plant=TREE, sun_h=12.0, wetness="moist", coldest_c=-5.0, depth_m=2.0, *, cold=False):
    return dict(unsuited(plant, GrowingPlace(sun_h, 0.0, wetness, coldest_c, depth_m, cold)))


def near(x, y, *, on_mound=False):
    around = Around(
        inside=box(0, 0, 100, 100), kept_clear=(), buildings=(),
        pipes=(LineString([(50, 0), (50, 100)]),), water_lines=(),
        water_areas=(box(70, 70, 80, 80),),
        line_clear_m=0.5, pipe_clear_m=2.0,
    )  # fmt: skip
    standing, _ = laid_out([DrawnPlanting("s", "row", Point(x, y), ("tree",))], {"tree": TREE}, {})
    return dict.fromkeys(in_the_way(standing, around, np.array([on_mound]))[0], "")


def close(apart_m):
    return dict(crowded(np.array([(0.0, 0.0), (apart_m, 0.0)]), [TREE, TREE])[0])


EXAMPLES = {
    "little-sun": (lambda: stands(sun_h=3.0), stands),
    "much-sun": (lambda: stands(FERN), lambda: stands(FERN, sun_h=2.0)),
    "wet-feet": (lambda: stands(wetness="wet"), stands),
    "dry-ground": (lambda: stands(REED, wetness="dry"), lambda: stands(REED, wetness="wet")),
    "frost-tender": (lambda: stands(coldest_c=-15.0), stands),
    "cold-hollow": (lambda: stands(coldest_c=-8.0, cold=True), lambda: stands(coldest_c=-8.0)),
    "shallow-soil": (lambda: stands(depth_m=0.3), stands),
    "on-mound": (lambda: near(20, 20, on_mound=True), lambda: near(20, 20)),
    "in-water": (lambda: near(75, 75), lambda: near(20, 20)),
    "near-pipe": (lambda: near(51, 20), lambda: near(55, 20)),
    "crowded": (lambda: close(2.0), lambda: close(5.0)),
}
