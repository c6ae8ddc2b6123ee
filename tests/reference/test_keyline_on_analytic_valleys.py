"""Valleys, keypoints, keylines and cultivation lines on surfaces with exact answers.

Definitions of the trade: common practice, no source. The geometry is worked out beside each test.
"""

import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.grid import Grid
from brimline.lines.keyline import (
    cultivation_lines,
    families,
    find_keypoints,
    given_keypoint,
    guide_line,
    keyline,
)
from brimline.lines.limits import limits
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.terrain.smooth import smoothed

KEYPOINTS = {"smooth_m": 2.0, "noise_m": 0.05, "correlation_m": 5.0}
LINES = {"width_m": 3.0, "reach_m": 45.0, "turning_radius_m": 6.0}


def paraboloid_valley(profile, bend, bearing_deg, half_width_m=60.0):
    """Floor levels by `profile` of the distance downstream, sides rising with bend × distance²."""
    grid = Grid(300, 260, 1.0, 5000.0, 8000.0)
    x, y = grid.xy(*np.indices(grid.shape))
    middle = np.array([5130.37, 7850.0])
    east, south = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    down = (x - middle[0]) * east - (y - middle[1]) * south
    across = (x - middle[0]) * south + (y - middle[1]) * east
    z = profile(down) + bend * across**2
    z[np.abs(across) > half_width_m] = np.nan

    def place(point):
        offset = np.array([point.x, point.y]) - middle
        return offset @ [east, -south], offset @ [south, east]

    return smoothed(z.astype(np.float32), cell_m=1.0, sigma_m=2.0), grid, place


def two_slopes(down):
    return 100 - np.where(down < 0, 0.18, 0.06) * down


def one_curve(down):
    return 100 - 12 * np.tanh(down / 60) - 0.01 * down


@pytest.mark.parametrize(
    ("bend", "bearing_deg"), [(0.002, 0), (0.004, 0), (0.01, 0), (0.01, 17), (0.01, 30), (0.01, 45)]
)
def test_keypoint_where_two_slopes_meet_is_found_within_a_cell(bend, bearing_deg):
    surface, grid, place = paraboloid_valley(two_slopes, bend, bearing_deg)
    valleys = valley_lines(surface, grid, min_area_m2=2000.0)
    (found,) = find_keypoints(surface, grid, valleys, **KEYPOINTS)
    along, aside = place(found.point)
    assert abs(along) <= 1.0
    assert abs(aside) <= 1.0
    assert found.slope_above_pct == pytest.approx(18, abs=0.5)
    assert found.slope_below_pct == pytest.approx(6, abs=0.5)
    assert found.confidence > 0.99
    assert found.kind == "break"


@pytest.mark.parametrize(("bend", "bearing_deg"), [(0.004, 0), (0.004, 17), (0.01, 0), (0.01, 30)])
def test_keypoint_at_the_inflection_of_a_curve_is_found_within_a_cell(bend, bearing_deg):
    # The second derivative of tanh changes sign at 0, from convex above to concave below.
    surface, grid, place = paraboloid_valley(one_curve, bend, bearing_deg)
    valleys = valley_lines(surface, grid, min_area_m2=2000.0)
    (found,) = find_keypoints(surface, grid, valleys, turn="inflection", **KEYPOINTS)
    along, aside = place(found.point)
    assert found.kind == "inflection"
    assert abs(along) <= 1.0
    assert abs(aside) <= 1.0
    assert found.slope_above_pct > found.slope_below_pct
    # by the break it lies where the floor has become gentle, further down
    (gentle,) = find_keypoints(surface, grid, valleys, turn="break", **KEYPOINTS)
    assert 20 < place(gentle.point)[0] < 90


def survey_noise(rng, shape, noise_m, alike_m):
    """Noise with correlation exp(-r² / 2 alike²)."""
    sigma = alike_m / np.sqrt(2)
    white = rng.normal(size=(shape[0] + 80, shape[1] + 80))
    return (
        noise_m * np.sqrt(4 * np.pi) * sigma * ndimage.gaussian_filter(white, sigma)[40:-40, 40:-40]
    )


@pytest.mark.parametrize("slope", [0.005, 0.02, 0.08])
def test_survey_noise_makes_no_keypoints_in_a_straight_valley(slope):
    grid = Grid(300, 120, 1.0)
    row, col = np.indices(grid.shape)
    bare = 100 - slope * row + 0.004 * (col - 59.7) ** 2
    rng = np.random.default_rng(11)
    with_valley = with_keypoint = 0
    for _ in range(20):
        dem = (bare + survey_noise(rng, grid.shape, 0.1, 10.0)).astype(np.float32)
        surface = smoothed(dem, cell_m=1.0, sigma_m=2.0)
        valleys = valley_lines(surface, grid, min_area_m2=2000.0)
        with_valley += len(valleys) > 0
        with_keypoint += bool(
            find_keypoints(surface, grid, valleys, smooth_m=2.0, noise_m=0.1, correlation_m=10.0)
        )
    assert with_valley == 20
    assert with_keypoint <= 1  # 5 %


def keyline_country(above=0.20, below=0.06, ridge=0.10, set_back_m=50.0):
    """Three valleys side by side whose contours are known.

    Contours run at y(x, z) = z / ridge + A(z) g(x), with g = 1 on the floors, 0 on the ridges
    120 m to both sides. Where A grows upwards the floor is gentler than the ridges, where it
    shrinks it is steeper. A is largest at the keyline, level 115 m, and 0 where a valley ends.
    """
    grid = Grid(400, 728, 1.0, 1000.0, 5400.0)
    x, y = grid.xy(*np.indices(grid.shape))
    g = 0.5 * (1 + np.cos(np.pi * (x - 1364) / 120))
    shrinks, grows = 1 / ridge - 1 / above, 1 / below - 1 / ridge
    past = y - 5200 - set_back_m * (g - 1)
    up, down = past / (1 / ridge - shrinks * g), past / (1 / ridge + grows * g)
    rise = np.where(past > 0, up, down)
    plain = (y - 5200 + set_back_m) * ridge
    if shrinks > 0:
        rise = np.where(up > set_back_m / shrinks, plain, rise)
    if grows > 0:
        rise = np.where(down < -set_back_m / grows, plain, rise)
    return (115 + rise).astype(np.float32), grid


@pytest.fixture(scope="module")
def designed():
    dem, grid = keyline_country()
    surface = smoothed(dem, cell_m=1.0, sigma_m=1.0)
    valleys = valley_lines(surface, grid, min_area_m2=3000.0)
    found = find_keypoints(surface, grid, valleys, **(KEYPOINTS | {"smooth_m": 1.0}))
    return dem, surface, grid, valleys, found


def test_each_valley_of_the_keyline_country_has_its_keypoint(designed):
    _, _, _, valleys, found = designed
    assert len(valleys) == 3
    assert len(found) == 3
    assert sorted(round((one.point.x - 1364) / 240) for one in found) == [-1, 0, 1]
    for one in found:
        assert one.level_m == pytest.approx(115, abs=0.2)
        assert one.slope_above_pct == pytest.approx(20, abs=1)
        assert one.slope_below_pct == pytest.approx(6, abs=0.5)


def test_keyline_is_the_contour_from_ridge_to_ridge(designed):
    dem, surface, grid, valleys, found = designed
    middle = min(found, key=lambda one: abs(one.point.x - 1364))
    line = keyline(middle, dem, surface, grid, valleys)
    ends = np.array(line.line.coords)[[0, -1]]
    # the contour comes round the ridges 120 m to both sides of the floor, where it lies lowest
    np.testing.assert_allclose(np.sort(ends[:, 0]), [1244, 1484], atol=12)
    assert line.level_error_m <= 0.05
    assert line.flags == ()
    assert line.line.is_simple
    assert shapely.distance(line.line, middle.point) < 1.0
    # the higher ground, north, is on its right
    assert ends[0, 0] > ends[1, 0]


def test_cultivation_falls_from_valley_to_ridge_on_both_sides(designed):
    # Above, the floor (20 %) is steeper than the ridges (10 %), below it is gentler (6 %): at d the
    # ground differs from the keyline by d × steepness, so at 30 m the lines fall by about
    # 30 × 0.10 m from floor to ridge above, 30 × 0.04 m below, over some 130 m of line.
    dem, surface, grid, valleys, _found = designed
    exact = given_keypoint(dem, grid, valleys, shapely.Point(1364, 5200))
    guide = keyline(exact, dem, surface, grid, valleys)
    lines = cultivation_lines(surface, grid, guide, limits(surface, grid), **LINES)
    above, below = families(lines)
    assert (above.side, below.side) == ("above", "below")
    assert above.lines == below.lines == 15
    assert above.share_right_pct >= 95
    assert below.share_right_pct >= 95
    ten = {one.side: one for one in lines if one.offset_m == 30.0}
    assert ten["above"].fall_to_ridge_pct == pytest.approx(100 * 30 * 0.10 / 130, rel=0.25)
    assert ten["below"].fall_to_ridge_pct == pytest.approx(100 * 30 * 0.04 / 130, rel=0.25)
    assert {one.offset_m for one in lines if one.flags} <= {3.0}
    for one in lines:
        higher = np.nanmean(
            ndimage.map_coordinates(surface, grid.position(*np.array(one.line.coords).T), order=1)
        )
        assert (higher > guide.level_m) == (one.side == "above")


def test_cultivation_beside_the_keypoints_that_were_found_falls_the_right_way(designed):
    # In so wide a valley the floor is found to some metres aside; its level is then a decimetre
    # high, and the first lines below begin on the steep side of the break.
    dem, surface, grid, valleys, found = designed
    for one in found:
        guide = keyline(one, dem, surface, grid, valleys)
        for family in families(
            cultivation_lines(surface, grid, guide, limits(surface, grid), **LINES)
        ):
            assert family.share_right_pct >= 90


def test_where_the_valley_is_as_steep_as_the_ridge_lines_are_flagged():
    # Contours that are copies of each other: floor and ridge are equally steep and the flanks are
    # the steepest ground, so that lines above rise from the floor to the flanks and fall again,
    # and lines below do the contrary. No parallel to any contour helps there.
    row, col = np.indices((400, 728))
    g = 0.5 * (1 + np.cos(np.pi * (col + 0.5 - 364) / 120))
    dem = (100 + 0.10 * (400 - row) - 8.0 * g).astype(np.float32)
    grid = Grid(400, 728, 1.0)
    valleys = valley_lines(dem, grid, min_area_m2=3000.0)
    place = min(valleys, key=lambda one: abs(one.line.centroid.x - 364)).line.interpolate(
        0.5, normalized=True
    )
    guide = keyline(given_keypoint(dem, grid, valleys, place), dem, dem, grid, valleys)
    above, below = families(cultivation_lines(dem, grid, guide, limits(dem, grid), **LINES))
    for family in (above, below):
        assert family.share_right_pct < 60
        assert family.flags == ("family-falls-to-valley",)
        assert abs(family.fall_to_ridge_pct) < 0.1
    lines = cultivation_lines(dem, grid, guide, limits(dem, grid), **LINES)
    assert all("falls-to-valley" in one.flags for one in lines)


def test_lines_end_at_keep_outs_and_the_boundary_and_say_so(designed):
    dem, surface, grid, valleys, found = designed
    middle = min(found, key=lambda one: abs(one.point.x - 1364))
    guide = keyline(middle, dem, surface, grid, valleys)
    pond, site = shapely.Point(1330, 5215).buffer(12), shapely.box(1200, 5050, 1440, 5350)
    where = limits(
        surface, grid, boundary=site, boundary_setback_m=5.0, keep_out=[pond], max_slope_pct=60.0
    )
    lines = cultivation_lines(surface, grid, guide, where, **LINES)
    drawn = [one.line for one in lines]
    assert not shapely.intersects(pond, drawn).any()
    assert shapely.contains(site.buffer(-4.99), drawn).all()
    assert {flag for one in lines for flag in one.flags} >= {"at-keep-out", "at-boundary"}
    assert all(one.length_m >= 20 for one in lines)
    # both pieces of a line that was cut fall as parts of the whole: outwards from the floor
    assert all(family.share_right_pct > 90 for family in families(lines))


def test_steep_ground_stops_lines(designed):
    dem, surface, grid, valleys, found = designed
    middle = min(found, key=lambda one: abs(one.point.x - 1364))
    guide = keyline(middle, dem, surface, grid, valleys)
    lines = cultivation_lines(
        surface, grid, guide, limits(surface, grid, max_slope_pct=17.0), **LINES
    )
    assert any("at-steep-ground" in one.flags for one in lines)
    assert not any(
        shapely.intersects(one.line, shapely.Point(1364, 5220).buffer(5)) for one in lines
    )


def test_valley_and_ridge_lines_lie_where_the_ground_turns():
    # Furrowed slope: floors where cos = -1, crests where cos = 1, 60 m to both sides.
    row, col = np.indices((240, 480))
    dem = (100 - 0.05 * row + 3 * np.cos(2 * np.pi * (col + 0.5) / 120)).astype(np.float32)
    grid = Grid(240, 480, 1.0)
    valleys = valley_lines(dem, grid, min_area_m2=5000.0)
    ridges = ridge_lines(dem, grid, min_area_m2=5000.0)
    assert len(valleys) == 4
    assert len(ridges) == 3
    floors = np.sort([np.median(np.array(one.line.coords)[:, 0]) for one in valleys])
    np.testing.assert_allclose(floors, [60, 180, 300, 420], atol=1.0)
    crests = np.sort([np.median(np.array(one.line.coords)[:, 0]) for one in ridges])
    np.testing.assert_allclose(crests, [120, 240, 360], atol=1.0)
    for one in (*valleys, *ridges):
        assert one.fall_pct == pytest.approx(5, abs=0.3)
        assert one.order == 1
        assert one.length_m > 120
    assert all(one.downstream_id == 0 for one in valleys)


def test_two_arms_and_their_trunk_are_two_valleys():
    # Three straight furrows of equal depth that meet at one point: two arms run into a trunk.
    grid = Grid(400, 400, 1.0)
    x, y = grid.xy(*np.indices(grid.shape))
    arms = [((80, 0), (200, -200)), ((320, 0), (200, -200)), ((200, -200), (200, -400))]
    points = shapely.points(x, y)
    off = np.min([shapely.distance(points, shapely.LineString(arm)) for arm in arms], axis=0)
    dem = (100 + 0.08 * y - 6 * np.exp(-0.5 * (off / 25) ** 2)).astype(np.float32)
    valleys = valley_lines(smoothed(dem, cell_m=1.0, sigma_m=3.0), grid, min_area_m2=3000.0)
    assert len(valleys) == 2  # the trunk goes on into one arm, the other joins it
    main, side = valleys
    assert (main.order, side.order) == (2, 1)
    assert (main.downstream_id, side.downstream_id) == (0, main.valley_id)
    assert main.area_m2 > side.area_m2
    for one in valleys:
        away = shapely.distance(
            shapely.union_all([shapely.LineString(arm) for arm in arms]),
            shapely.points(np.array(one.line.coords)),
        )
        assert np.median(away) < 3


def test_an_even_slope_has_neither_valleys_nor_ridges():
    grid = Grid(300, 300, 1.0)
    row, col = np.indices(grid.shape)
    rng = np.random.default_rng(4)
    dem = 100 - 0.08 * row + 0.03 * col + survey_noise(rng, grid.shape, 0.05, 5.0)
    surface = smoothed(dem.astype(np.float32), cell_m=1.0, sigma_m=4.0)
    assert valley_lines(surface, grid, min_area_m2=3000.0) == ()
    assert ridge_lines(surface, grid, min_area_m2=3000.0) == ()


def test_a_drawn_guide_is_taken_as_it_stands_or_corrected(designed):
    dem, surface, grid, valleys, _ = designed
    sketch = shapely.LineString([(1250, 5165), (1330, 5190), (1400, 5196), (1470, 5160)])
    kept = guide_line(sketch, dem, surface, grid, valleys)
    assert kept.keypoint_id == 0
    assert kept.flags == ()
    assert kept.level_error_m > 0.5
    assert kept.line.equals(sketch.reverse())  # only turned, so that the higher ground is right
    level = guide_line(sketch, dem, surface, grid, valleys, corrected=True)
    assert level.level_error_m <= 0.05
    assert shapely.hausdorff_distance(level.line, sketch) < 30
    lines = cultivation_lines(surface, grid, level, limits(surface, grid), **LINES)
    above, _ = families(lines)
    assert above.share_right_pct > 80


def test_a_given_keypoint_is_kept_where_it_is(designed):
    _, surface, grid, valleys, _ = designed
    point = shapely.Point(1366, 5150)
    given = given_keypoint(surface, grid, valleys, point)
    assert given.point.equals(point)
    assert given.kind == "given"
    assert valleys[given.valley_id - 1].line.distance(point) < 10
    assert given.slope_below_pct == pytest.approx(6, abs=1.5)
    with pytest.raises(ValueError, match="outside"):
        given_keypoint(surface, grid, valleys, shapely.Point(0, 0))


def test_numbers_out_of_range_are_refused(designed):
    dem, surface, grid, valleys, found = designed
    with pytest.raises(ValueError, match="flank_m"):
        valley_lines(surface, grid, min_area_m2=1000.0, flank_m=0.0)
    with pytest.raises(ValueError, match="min_confidence"):
        find_keypoints(surface, grid, valleys, min_confidence=1.5, **KEYPOINTS)
    with pytest.raises(ValueError, match="half_length_m"):
        keyline(found[0], dem, surface, grid, valleys, half_length_m=0.0)
    guide = keyline(found[0], dem, surface, grid, valleys)
    with pytest.raises(ValueError, match="width_m"):
        cultivation_lines(surface, grid, guide, limits(surface, grid), **(LINES | {"width_m": 0}))
    with pytest.raises(ValueError, match="cross itself"):
        guide_line(
            shapely.LineString([(0, 0), (9, 9), (9, 0), (0, 9)]), dem, surface, grid, valleys
        )
