"""Plants where they stand, what shades them, what is in their way, and the calendar."""

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from icalendar import Calendar
from shapely import LineString, Point, box

from brimline.balance.planting import Planting
from brimline.errors import InputError
from brimline.io.plants import read_guilds, read_plants
from brimline.planting import Companion, Guild, Plant
from brimline.planting.care import Task, building_and_planting, calendar_text
from brimline.planting.laying import Around, DrawnPlanting, in_the_way, laid_out
from brimline.planting.standing import (
    GrowingPlace,
    crowded,
    lacking,
    shade_between,
    suits,
    unsuited,
)
from brimline.sun.path import ANGLES_RAD, BEARINGS_RAD

TREE = Plant("tree", "a tree", "canopy", 5.0, 6.0, 4.0, sun=("full",), frost_limit_c=-10.0)
HERB = Plant("herb", "a herb", "herb", 0.5, 0.9, 0.5, sun=("part", "shade"), water=("moist", "wet"))
PLANTS = {"tree": TREE, "herb": HERB}
GUILDS = {"ring": Guild("ring", "tree", (Companion("herb", 4, 1.0),))}
GOOD = GrowingPlace(12.0, 0.0, "moist", -5.0)


def even_sun():
    """An hour of sun in each sector, evenly from the horizon to the zenith."""
    share = 1 - ANGLES_RAD / ANGLES_RAD[-1]
    return np.tile(share, (len(BEARINGS_RAD), 1))


def test_a_lone_tall_neighbour_takes_the_sectors_and_heights_that_it_covers():
    # 20 m away to the east, asked at 2/3 of 0.9 m: the crown covers asin(r / d) to either side and
    # rises to atan((H - h) / (d - r)); closed form, from the cylinder that it is taken for
    places = np.array([(0.0, 0.0), (20.0, 0.0)])
    tall = Plant("tall", "tall", "canopy", 5.0, 15.0, 8.0)
    found = shade_between(places, np.zeros(2), [HERB, tall], even_sun(), let_through=0.25)
    half = math.asin(4 / 20)
    sectors = np.abs((BEARINGS_RAD - math.pi / 2 + math.pi) % (2 * math.pi) - math.pi) <= half
    rise = math.atan2(15 - 0.6, 16)
    expected = 0.75 * sectors.sum() * rise / (math.pi / 2)
    assert found.lost_h[0] == pytest.approx(expected, rel=0.02)
    assert found.lost_h[1] == 0
    assert found.by.tolist() == [1, -1]


def test_under_a_crown_what_it_lets_through_is_left():
    places = np.array([(0.0, 0.0), (1.0, 0.0)])
    found = shade_between(places, np.zeros(2), [HERB, TREE], even_sun(), let_through=0.3)
    assert found.lost_h[0] == pytest.approx(0.7 * len(BEARINGS_RAD), rel=0.02)


@pytest.mark.parametrize(
    ("plant", "place", "codes"),
    [
        (TREE, GOOD, []),
        (TREE, GrowingPlace(7.0, 2.0, "moist", -5.0), ["little-sun"]),
        (TREE, GrowingPlace(12.0, 0.0, "wet", -15.0), ["wet-feet", "frost-tender"]),
        (TREE, GrowingPlace(math.nan, 0.0, "", math.nan), []),
        (Plant("fern", "fern", "herb", 1, 1, 1, sun=("shade",)), GOOD, ["much-sun"]),
        (Plant("reed", "reed", "herb", 1, 1, 1, water=("wet",)),
         GrowingPlace(12.0, 0.0, "dry", 0.0), ["dry-ground"]),
        (TREE, GrowingPlace(12.0, 0.0, "moist", -8.0, 0.4, True), ["cold-hollow", "shallow-soil"]),
        (TREE, GrowingPlace(12.0, 0.0, "moist", -6.0, 0.5, True), []),
    ],
)  # fmt: skip
def test_what_will_not_thrive_is_told_with_figures(plant, place, codes):
    assert [code for code, _ in unsuited(plant, place)] == codes


def test_ground_that_suits_is_counted_cell_by_cell():
    sun_h = np.array([7.0, 5.0, 7.0, 7.0, np.nan])
    wet = np.array([1, 1, 2, 0, 9], dtype=np.uint8)
    told = lacking(TREE, sun_h, wet, -5.0, np.array([2.0, 2, 2, 0.4, np.nan]), np.zeros(5, bool))
    found = suits(told)
    assert found.share == pytest.approx(2 / 5)  # one lacks sun, one is wet, one is shallow
    assert found.lacks == "little-sun"
    assert suits(lacking(HERB, sun_h[:1], wet[:1], math.nan, math.nan, False)).lacks == ""
    frozen = suits(lacking(TREE, sun_h, wet, -20.0, math.nan, False))
    assert (frozen.share, frozen.lacks) == (0.0, "frost-tender")


def test_plants_nearer_than_they_bear_are_crowded_within_their_layer_alone():
    places = np.array([(0.0, 0.0), (2.0, 0.0), (9.0, 0.0), (0.1, 0.0)])
    close = (("crowded", "2.0 m from the next of its layer; it wants 5.0 m"),)
    assert crowded(places, [TREE, TREE, TREE, HERB]) == [close, close, (), ()]


def test_guilds_and_turns_are_set_out_along_a_row():
    row = DrawnPlanting(
        "Hedge", "plant_rows, row 1", LineString([(0, 0), (10, 0)]), ("ring", "tree")
    )
    standing, problems = laid_out([row], PLANTS, GUILDS)
    assert not problems
    trees = [(one.x, one.guild) for one in standing if one.plant is TREE]
    assert trees == [(0.0, "ring"), (5.0, ""), (10.0, "ring")]
    assert sum(one.plant is HERB for one in standing) == 8


def test_rows_follow_the_lines_within_a_zone():
    lines = (LineString([(-50, 5), (50, 5)]), LineString([(-50, 12), (50, 12)]))
    zone = DrawnPlanting("Z", "row 1", box(0, 0, 20, 10), ("tree",), lines=lines)
    standing, _ = laid_out([zone], PLANTS, GUILDS)
    assert len(standing) == 5  # floor(20 / 5) + 1, on the one line that crosses it
    assert {one.y for one in standing} == {5.0}


def test_lines_nearer_than_rows_are_planted_where_they_lie_apart():
    # level lines a metre apart: every fifth is a row; one that bends away is taken up again
    lines = tuple(LineString([(-50, y), (50, y)]) for y in range(21))
    zone = DrawnPlanting("Z", "row 1", box(0, 0, 20, 20), ("tree",), lines=lines)
    rows, _ = laid_out([zone], PLANTS, GUILDS)
    assert sorted({one.y for one in rows}) == [0.0, 5.0, 10.0, 15.0, 20.0]
    assert len(rows) == 5 * 5
    closer = DrawnPlanting("Z", "row 1", box(0, 0, 20, 20), ("tree",), lines=lines, row_spacing_m=4)
    assert {one.y for one in laid_out([closer], PLANTS, GUILDS)[0]} == {
        0.0,
        4.0,
        8.0,
        12.0,
        16.0,
        20.0,
    }
    bends = (LineString([(0, 0), (20, 0)]), LineString([(0, 1), (20, 19)]))
    both = DrawnPlanting("Z", "row 1", box(0, 0, 20, 20), ("tree",), lines=bends)
    laid, _ = laid_out([both], PLANTS, GUILDS)
    places = np.array([(one.x, one.y) for one in laid])
    apart = np.linalg.norm(places[:, None] - places, axis=-1)[~np.eye(len(places), dtype=bool)]
    assert apart.min() > 4.9
    assert len(places) > 5


def test_a_name_that_is_not_known_is_told_with_the_nearest():
    _, problems = laid_out([DrawnPlanting("Z", "row 3", Point(0, 0), ("tre",))], PLANTS, GUILDS)
    assert problems[0].place == "row 3"
    assert "did you mean tree" in problems[0].mend


def test_what_is_in_the_way_is_told_by_what_it_is():
    around = Around(
        inside=box(0, 0, 100, 100), kept_clear=(box(0, 0, 10, 10),),
        buildings=(box(20, 20, 30, 30),), pipes=(LineString([(50, 0), (50, 100)]),),
        water_lines=(LineString([(60, 0), (60, 100)]),), water_areas=(box(70, 70, 80, 80),),
        line_clear_m=0.5, pipe_clear_m=2.0,
    )  # fmt: skip
    spots = [
        (TREE, 5, 5), (TREE, 31, 25), (TREE, 51, 50), (HERB, 51, 50), (TREE, 60.4, 50),
        (HERB, 75, 75), (TREE, 120, 50), (TREE, 90, 90), (HERB, 90, 90), (TREE, 40, 40),
    ]  # fmt: skip
    standing, _ = laid_out(
        [DrawnPlanting("s", "row", Point(x, y), (plant.name,)) for plant, x, y in spots], PLANTS, {}
    )
    on_mound = np.array([(x, y) == (90, 90) for _, x, y in spots])
    assert in_the_way(standing, around, on_mound) == [
        ["in-setback"], ["near-building"], ["near-pipe"], [], ["in-water"], ["in-water"],
        ["outside-boundary"], ["on-mound"], [], [],
    ]  # fmt: skip


def test_a_plants_file_says_everything_that_is_wrong(tmp_path):
    path = tmp_path / "plants.csv"
    path.write_text(
        "name,layer,spacing_m,height_m,crown_m,sun,plant_months,care\n"
        "a,canopy,5,4,4,full;part,11-2,prune @ 1-2 @ 20 | pick @ 9 @ 5\n"
        "b,tree,5,x,4,bright,13,prune\n"
        "a,herb,1,1,1,,,\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        read_plants(path)
    told = [(problem.place, problem.message) for problem in caught.value.problems]
    assert [place for place, _ in told] == ["line 3"] * 5 + ["line 4"]
    for word in ("layer", "height_m", "sun", "plant_months", "care", "twice"):
        assert any(word in message for _, message in told)


def test_plants_and_guilds_are_read(tmp_path):
    path = tmp_path / "plants.csv"
    path.write_text(
        "name,layer,spacing_m,height_m,crown_m,plant_months,care\n"
        "a,canopy,5,4,4,11-2,prune @ 1-2 @ 20 | pick @ 9 @ 5\n",
        encoding="utf-8",
    )
    plants = read_plants(path)
    assert plants["a"].plant_months == (11, 12, 1, 2)
    assert plants["a"].care == (("prune", (1, 2), 20.0), ("pick", (9,), 5.0))
    guilds = tmp_path / "guilds.csv"
    guilds.write_text("guild,plant,count,radius_m\ng,a,1,0\ng,a,3,1.5\n", encoding="utf-8")
    assert read_guilds(guilds, plants)["g"] == Guild("g", "a", (Companion("a", 3, 1.5),))
    guilds.write_text("guild,plant,count,radius_m\ng,z,1,0\n", encoding="utf-8")
    with pytest.raises(InputError, match="there is no plant z"):
        read_guilds(guilds, plants)


def test_earth_is_moved_in_the_dry_month_and_plants_follow():
    care = (("cut", (2,), 10.0),)
    tree = Plant("t", "t", "canopy", 5, 5, 5, plant_months=(11, 12, 3), care=care)
    herb = Plant("h", "h", "herb", 1, 1, 1, plant_months=(3, 4))
    tasks = building_and_planting([("Pond", "pond")], {"Z": {tree: 3, herb: 10}}, 7, 11)
    first = [(task.year, task.month, task.subject, task.what) for task in tasks if not task.every_y]
    assert first == [
        (1, 7, "Pond", "build"),
        (1, 11, "Z: 3 t", "plant and water in"),
        (2, 3, "Z: 10 h", "plant and water in"),
    ]
    cut = next(task for task in tasks if task.what == "cut")
    assert (cut.year, cut.month, cut.minutes) == (2, 2, 30.0)
    clear = next(task for task in tasks if task.what.startswith("clear the sill"))
    assert (clear.year, clear.month) == (1, 10)  # before the wet season


def test_the_calendar_keeps_to_the_standard():
    """RFC 5545: lines end in CRLF and hold 75 bytes at most; commas and semicolons are escaped."""
    long = "schneiden, düngen; wässern — " * 5
    dig = Task("dig", "Pond", 2027, 7, math.nan, 0)
    text = calendar_text([Task(long, "Zone", 2027, 2, 90.0), dig], "Höhe", dt.date(2026, 1, 2))
    lines = text.split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    assert "\n" not in "".join(lines)
    assert max(len(line.encode()) for line in lines) <= 75
    whole = text.replace("\r\n ", "")
    assert long.replace(",", "\\,").replace(";", "\\;") in whole
    assert whole.count("RRULE:FREQ=YEARLY;INTERVAL=1") == 1
    assert "DTSTART;VALUE=DATE:20270201" in whole


def test_another_parser_reads_the_calendar():
    """Library icalendar: no errors, and the same tasks come out, repeated as often as meant."""
    care = (("cut; thin, lift", (2, 11), 10.0),)
    tree = Plant("Apfel, früh", "t", "canopy", 5, 5, 5, plant_months=(11,), care=care)
    tasks = building_and_planting([("Pond", "pond"), ("Tank", "tank")], {"Z": {tree: 30}}, 7, 11)
    text = calendar_text(
        [replace(task, year=2026 + task.year) for task in tasks], "Hof", dt.date(2026, 1, 2)
    )
    calendar = Calendar.from_ical(text)
    events = calendar.walk("VEVENT")
    assert not calendar.errors
    assert not any(event.errors for event in events)
    assert len({str(event["UID"]) for event in events}) == len(events) == len(tasks)
    for event, task in zip(events, tasks, strict=True):
        assert str(event["SUMMARY"]) == f"{task.subject}: {task.what}"
        assert event["DTSTART"].dt == dt.date(2026 + task.year, task.month, 1)
        assert (event["DTEND"].dt - event["DTSTART"].dt).days == 1
        rule = event.get("RRULE")
        assert (rule["INTERVAL"] if rule else [0]) == [task.every_y]
    planted = next(task for task in tasks if task.what == "plant and water in")
    assert planted.minutes == 30 * 30.0  # half an hour for each of thirty trees
    cuts = [task for task in tasks if task.what.startswith("cut;")]
    assert [(task.year, task.month, task.minutes) for task in cuts] == [
        (2, 2, 150.0),
        (2, 11, 150.0),
    ]


def test_a_year_takes_coefficients_by_month():
    months = tuple(np.linspace(0.2, 0.75, 12))
    planting = Planting(
        "p", (0.7,) * 3, (0.7,) * 3, (0, 0, 365, 0), 1, 0.7, 0.9, 0.5, kc_months=months
    )
    days = np.arange(1, 366)
    kc = planting.kc_of(days, southern=True)  # they are the site's own: nothing is shifted
    assert kc[14] == pytest.approx(months[0], abs=0.01)
    assert kc[195] == pytest.approx(months[6], abs=0.01)
    assert kc.mean() == pytest.approx(np.mean(months), abs=0.005)
    assert planting.mulched(1.0) is planting
