"""Lines through a whole run: what a person draws is taken, corrected, kept apart and told."""

import json
import re

import numpy as np
import pytest
import shapely
from tests.pipeline.careless_sites import Stages

CORNER = np.array([350_000.0, 5_210_000.0 - 160.0])
SETTINGS = """
[lines]
max_slope_pct = 60
path_area_m2 = 3000
[swales]
rule = "interval"
interval_m = 1.5
min_spacing_m = 6
[storm]
depth_mm = 40
duration_h = 2
"""
KEEP_OUT = shapely.box(112, 44, 126, 52)  # on the eastern arm of the keyline


def ground(x, y):
    """Level of the small valley without its noise; metres from the corner."""
    row, across = 159.5 - y, x - 80.0
    down = np.where(row < 80, 0.16 * row, 0.16 * 80 + 0.05 * (row - 80))
    return 140 - down + 0.0025 * across**2


def contour_of_the_west_slope():
    """A line along the contour of 133 m: 0.16 row = 7 + 0.0025 a² at a from the floor."""
    a = np.arange(-30.0, -9.0)
    return shapely.LineString(np.column_stack((80 + a, 159.5 - (7 + 0.0025 * a**2) / 0.16)))


PLAN = {
    "drawn_swales": [
        {"name": "Crooked", "shape": shapely.LineString([(95, 120), (115, 120)])},
        {"name": "Level", "shape": contour_of_the_west_slope()},
    ],
    "drawn_keypoints": [{"name": "Mine", "shape": shapely.Point(80, 95)}],
    "guide_lines": [{"name": "Fence", "shape": shapely.LineString([(22, 20), (60, 24)])}],
    "drain_starts": [
        {"name": "Catch drain", "run_per_fall": 100.0, "side": "left",
         "shape": shapely.Point(56, 118)},
    ],
    "drawn_drains": [
        # 25 cm down over some 38 m: between 0.1 and 1 per cent
        {"name": "Feeder", "shape": shapely.LineString([(100, 119.5), (125, 92.6)])},
        {"name": "Uphill", "shape": shapely.LineString([(100, 60), (100, 100)])},
    ],
    "discharge_points": [{"name": "Brook", "shape": shapely.Point(80, 18)}],
}  # fmt: skip


class _Heard:
    """Stands in for `capsys`, which lives no longer than one test."""

    out = err = ""

    def readouterr(self):
        return self


@pytest.fixture(scope="module")
def run(tmp_path_factory, site_class):
    """One finished run that all tests look at."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("lines"), _Heard(), patch)
        site.tables = SETTINGS
        site.write_plan(**PLAN)
        site.write_shapes(
            "keep_out", [shapely.transform(KEEP_OUT, lambda xy: xy + CORNER)],
            kind=["other"], setback_m=[2.0], name=["Shed"],
        )  # fmt: skip
        done = site.run("--only", "rasters")
        assert done.code == 0, done.err
        yield site


def lines_of(site, name):
    """Rows of a layer, metres from the corner."""
    rows = site.layer(name)
    rows["geometry"] = rows.geometry.translate(*-CORNER)
    rows["flag"] = rows["flag"].fillna("")
    return rows


def named(rows, name):
    (row,) = rows[rows["name"] == name].itertuples(index=False)
    return row


def crossing(lines):
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    return [(int(a), int(b)) for a, b in zip(one, other, strict=True) if a < b]


def test_a_drawn_swale_is_corrected_to_level_and_tells_how_far(run):
    swales = lines_of(run, "swale_lines")
    row = named(swales, "Crooked")
    drawn = PLAN["drawn_swales"][0]["shape"]
    # along it the ground rises from 15 to 35 m beside the floor: 0.0025 (35² - 15²) = 2.5 m; the
    # middle level lies 1.4 m below its upper end
    assert row.moved_level_m == pytest.approx(1.4, abs=0.15)
    assert row.moved_m > 3
    assert "moved" in row.flag.split(";")
    assert row.drawn
    assert row.geometry.distance(drawn) == 0  # its level is that of the drawn line's middle
    level = ground(*shapely.get_coordinates(row.geometry).T)
    assert np.ptp(level) < 0.1  # the survey's noise is 1 cm; its smoothing bends the contour less
    assert row.level_error_m <= 0.05
    assert 0 < row.level_rms_m < row.level_error_m
    kept = named(swales, "Level")
    assert kept.moved_m < 0.5
    assert "moved" not in kept.flag.split(";")


def test_proposed_rows_keep_clear_of_what_is_drawn_and_of_each_other(run):
    swales = lines_of(run, "swale_lines")
    assert (~swales["drawn"]).sum() >= 3
    assert (swales[~swales["drawn"]].length >= 30).all()
    lines = list(swales.geometry)
    assert crossing(lines) == []
    for row in swales[swales["drawn"]].itertuples():
        assert swales[~swales["drawn"]].distance(row.geometry).min() >= 3.0 - 0.01
    site = shapely.box(12, 12, 148, 148)
    assert shapely.contains(site.buffer(-4.99), lines).all()
    assert not shapely.intersects(KEEP_OUT.buffer(1.99), lines).any()
    # no row dams a flow path: cells that gather more than the threshold
    area = run.raster("contributing_area_m2")
    x, y = shapely.get_coordinates(shapely.segmentize(lines, 0.25)).T
    assert area[(160 - y).astype(int), x.astype(int)].max() <= 3000
    assert area[:, 80].max() > 9000


def test_works_flag_the_swale_that_is_not_level_and_say_what_to_take(run):
    elements = run.layer("elements").set_index("element_id")
    assert "off-level" in elements.loc["Crooked", "flag"].split(";")
    mends = run.table("cascade_mends").query("code == 'off-level'")
    assert set(mends["element_id"]) == {"Crooked"}
    assert (mends["value_mended"] <= 0.1).all()  # the survey's error, which no line is more than
    assert "the error of the survey" in elements.loc["Crooked", "notes"]
    assert "off-level" not in (elements.loc["Level", "flag"] or "").split(";")
    told = {(flag["layer"], flag["code"]): flag for flag in run.manifest["flagged"]}
    assert told["elements", "off-level"]["rows"] == ["Crooked"]
    assert told["elements", "off-level"]["severity"] == "look"
    assert told["swale_lines", "at-flow-path"]["severity"] == "notice"


def test_lines_copied_into_the_plan_as_they_were_given_are_not_flagged(run, site_class, tmp_path):
    """Every proposed row, and the corrected line of what was drawn off level."""
    given = run.layer("swale_lines")
    assert "Crooked" in set(given["name"])
    assert given["name"].isna().any()
    names = [f"copy {number}" for number in range(len(given))]
    copy = site_class(tmp_path, _Heard(), None)
    copy.tables = SETTINGS
    copy.write_plan(
        drawn_swales=[
            {"name": name, "shape": shapely.transform(line, lambda xy: xy - CORNER)}
            for name, line in zip(names, given.geometry, strict=True)
        ]
    )
    made = Stages(copy.write(), "works").compute("plan")
    assert set(made["elements"]["element_id"]) == set(names)
    assert "off-level" not in set(made["cascade_findings"]["code"])


def test_a_drawn_keypoint_takes_the_place_of_the_one_that_was_found(run):
    points = run.layer("keypoints")
    assert points["kind"].tolist() == ["given"]
    keylines = lines_of(run, "keylines")
    own = keylines[keylines["keypoint_id"] == points["keypoint_id"].iloc[0]]
    assert own.distance(shapely.Point(80, 95)).min() < 1.5
    assert own["level_m"].iloc[0] == pytest.approx(ground(80, 95), abs=0.1)


def test_keylines_and_their_lines_end_at_the_boundary_and_at_keep_outs(run):
    for name in ("keylines", "cultivation_lines"):
        rows = lines_of(run, name)
        assert shapely.contains(shapely.box(12, 12, 148, 148).buffer(-4.99), rows.geometry).all()
        assert not shapely.intersects(KEEP_OUT.buffer(1.99), list(rows.geometry)).any()
        told = set(";".join(rows["flag"]).split(";"))
        assert told >= {"at-keep-out", "at-boundary"}


def test_a_guide_line_has_lines_of_its_own_and_none_crosses_another(run):
    keylines, lines = lines_of(run, "keylines"), lines_of(run, "cultivation_lines")
    (guide,) = keylines[keylines["kind"] == "drawn"].itertuples()
    drawn = PLAN["guide_lines"][0]["shape"]
    assert guide.geometry.hausdorff_distance(drawn) < 0.05  # it stays as it was drawn
    beside = lines[lines["keyline_id"] == guide.keyline_id]
    assert set(beside["side"]) == {"above", "below"}
    for row in beside.itertuples():
        assert row.geometry.distance(drawn) == pytest.approx(row.offset_m, abs=0.1)
    assert crossing([*keylines.geometry, *lines.geometry]) == []


def test_drains_fall_at_every_vertex_and_as_stated(run):
    drains = lines_of(run, "drain_lines")
    assert set(drains["name"]) == {"Catch drain", "Feeder"}
    for row in drains.itertuples():
        level = ground(*shapely.get_coordinates(row.geometry).T)
        assert (np.diff(level) < 0.01).all()  # but for the survey's noise of 1 cm
        assert level[0] > level[-1]
        assert row.from_level_m > row.to_level_m
        assert row.fall_error_m <= 0.05
    assert named(drains, "Catch drain").fall_pct == pytest.approx(1.0, abs=0.1)
    feeder = named(drains, "Feeder")
    assert 0.1 <= feeder.fall_pct <= 1.0
    ends = shapely.get_coordinates(feeder.geometry)[[0, -1]]
    np.testing.assert_allclose(ends, [(100, 119.5), (125, 92.6)], atol=0.1)


def test_between_points_that_no_drain_can_join_it_is_said_that_none_exists(run):
    (told,) = (
        problem["message"]
        for problem in run.manifest["problems"]
        if "Uphill" in problem["message"] and "graded line" in problem["message"]
    )
    assert re.match(r"no graded line for Uphill: .+", told)


def test_each_side_of_a_keyline_has_one_verdict_weighed_by_length(run):
    lines, told = lines_of(run, "cultivation_lines"), run.table("cultivation_families")
    known = lines[lines["share_right_pct"].notna()]
    assert len(told) > 1
    for row in told.itertuples(index=False):
        own = known[(known["keyline_id"] == row.keyline_id) & (known["side"] == row.side)]
        assert row.lines == len(own)
        assert row.length_m == pytest.approx(own["length_m"].sum())
        right = (own["share_right_pct"] * own["length_m"]).sum() / own["length_m"].sum()
        assert row.share_right_pct == pytest.approx(right)
        assert (row.flag == "family-falls-to-valley") == (right < 80)
    assert told["lines"].sum() == len(known)


def test_on_ground_without_valleys_it_is_said_why_little_is_lined(site):
    row, col = np.indices(site.dem.shape)
    rng = np.random.default_rng(3)
    site.dem = 140 - 0.08 * row - 0.02 * col + rng.normal(0, 0.01, site.dem.shape)
    assert site.run("--until", "keylines").code == 0
    told = json.loads((site.results / "run.json").read_text(encoding="utf-8"))
    texts = [json.dumps(one) for one in told["problems"]]
    assert any("cultivation lines cover 0% of the site" in one for one in texts), texts
