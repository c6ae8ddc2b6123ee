"""Elements near buildings, in setbacks and beyond the boundary are flagged by where they lie."""

import pytest
import shapely

from brimline.design import KeptClear, PlacedElement, misplaced
from brimline.elements import Pond, Soak, Swale, Tank

SITE = shapely.box(0, 0, 100, 100)
NEAR_M = 6.0


def keep_out(kind, shape, setback_m, name=""):
    """What is kept clear of, as the site stage reads it: as drawn, and grown by its setback."""
    return [KeptClear(shape, shape.buffer(max(setback_m, 0.5)), kind, setback_m, name)]


NOTHING = keep_out("other", shapely.Point(-900, -900), 1.0)


def pond(x, y):
    shape = shapely.box(x - 5, y - 5, x + 5, y + 5)
    return PlacedElement(Pond("pond", shape, 10.0, 1.0, 2.0).element(), shape)


def flags(one, areas):
    return {found.flag for found in misplaced([one], areas, SITE, NEAR_M)}


def test_a_pond_out_of_the_way_is_not_flagged():
    assert flags(pond(50, 50), NOTHING) == set()


@pytest.mark.parametrize(("gap_m", "flagged"), [(5.9, True), (6.1, False)])
def test_held_water_keeps_its_distance_from_buildings(gap_m, flagged):
    house = keep_out("building", shapely.box(55 + gap_m, 40, 90, 60), 3.0, "House")
    assert ("near-building" in flags(pond(50, 50), house)) == flagged


@pytest.mark.parametrize(
    "shape",
    [
        shapely.Point(59, 50),
        shapely.LineString([(59, 0), (59, 100)]),
        shapely.box(59, 40, 90, 60),
    ],
)
@pytest.mark.parametrize("setback_m", [0.0, 1.0, 3.0])
def test_a_building_counts_however_it_was_drawn(shape, setback_m):
    near = misplaced([pond(50, 50)], keep_out("building", shape, setback_m), SITE, NEAR_M)
    told = [found.text for found in near if found.flag == "near-building"]
    assert told == ["holds water 4.0 m from a building to keep clear of, where 6 m is asked"]


@pytest.mark.parametrize("kind", ["septic", "well", "utility", "tree", "road", "other"])
def test_every_kind_of_setback_counts(kind):
    drawn = shapely.LineString([(58, 0), (58, 100)])  # three metres from the pond's edge
    assert flags(pond(50, 50), keep_out(kind, drawn, 3.5)) == {"in-setback"}
    assert flags(pond(50, 50), keep_out(kind, drawn, 2.5)) == set()
    found = misplaced([pond(50, 50)], keep_out(kind, drawn, 3.5), SITE, NEAR_M)
    assert f"within 3.5 m of a {kind}" in found[0].text


def test_a_tank_may_stand_by_its_building_but_not_in_a_septic_field():
    point = shapely.Point(50, 50)
    tank = PlacedElement(Tank("tank", 10.0, 5.0).element(), point)
    assert flags(tank, keep_out("building", shapely.box(51, 40, 60, 60), 3.0)) == set()
    assert flags(tank, keep_out("septic", shapely.box(51, 40, 60, 60), 3.0)) == {"in-setback"}


def test_what_lies_beyond_the_boundary_is_said_with_how_much():
    found = misplaced([pond(98, 50)], NOTHING, SITE, NEAR_M)
    assert [one.flag for one in found] == ["outside-boundary"]
    assert "25 m² beyond" in found[0].text  # 3 m over, less half a metre of drawing, by 10 m
    line = shapely.LineString([(10, 50), (120, 50)])
    swale = PlacedElement(Swale("s", 10.0, line.length, 8.0, soak=Soak(10.0)).element(), line)
    assert "20 m beyond" in misplaced([swale], NOTHING, SITE, NEAR_M)[0].text
