"""Point clouds as a survey, written here with known levels and read back."""

import struct

import laspy
import numpy as np
import pytest
from laspy.vlrs.known import GeoKeyDirectoryVlr
from pyproj import CRS, Transformer

from brimline.errors import InputError, Severity
from brimline.io.elevation import read_elevation
from brimline.io.points import canopy_height_m
from brimline.units import FOOT_M, US_SURVEY_FOOT_M

UTM = "EPSG:32633"
EAST, NORTH = 500_000.0, 5_200_000.0


def plane(x, y):
    return 300 + 0.1 * (x - EAST) - 0.05 * (y - NORTH)


@pytest.fixture
def cloud(tmp_path):
    """Write a LAS or LAZ file of scattered points and return its path."""

    def make(
        *,
        name="survey.las",
        crs=UTM,
        count=20_000,
        size=100.0,
        origin=(EAST, NORTH),
        level=plane,
        classes=None,
        version="1.4",
        point_format=6,
        seed=2,
        scale=0.001,
    ):
        rng = np.random.default_rng(seed)
        header = laspy.LasHeader(version=version, point_format=point_format)
        header.offsets = [*origin, 0.0]
        header.scales = [scale, scale, 0.001]
        if crs is not None:
            header.add_crs(CRS.from_user_input(crs))
        las = laspy.LasData(header)
        x = origin[0] + rng.uniform(0, size, count)
        y = origin[1] + rng.uniform(0, size, count)
        las.x, las.y, las.z = x, y, level(x, y)
        las.classification = np.full(count, 2) if classes is None else classes(count, rng)
        las.return_number = np.ones(count, dtype=np.uint8)
        las.number_of_returns = np.ones(count, dtype=np.uint8)
        path = tmp_path / name
        las.write(path)
        return path

    return make


def texts(read, severity=None):
    return " | ".join(str(n) for n in read.notices if severity in (None, n.severity))


def refused(*args, **kwargs):
    with pytest.raises(InputError) as caught:
        read_elevation(*args, **kwargs)
    assert all(p.mend for p in caught.value.problems)
    return str(caught.value)


def error_m(read, level=plane):
    x, y = read.grid.xy(*np.indices(read.grid.shape))
    known = np.isfinite(read.dem)
    return np.abs(read.dem - level(x, y))[known].max()


@pytest.mark.parametrize("name", ["survey.las", "survey.laz"])
def test_a_plane_of_points_becomes_a_plane_of_cells(cloud, name):
    read = read_elevation(cloud(name=name))
    assert read.grid.cell_m == 1.0  # 2 points a square metre: spacing 0.71 m
    assert read.grid.crs == UTM
    assert np.isfinite(read.dem).mean() > 0.95
    assert error_m(read) < 0.002  # levels are stored to the millimetre
    assert "20000 ground points of 20000" in texts(read, Severity.NOTICE)
    assert not texts(read, Severity.WARNING)


def test_only_ground_points_count(cloud):
    def some(count, rng):
        return rng.choice([2, 5, 6, 7], count, p=[0.4, 0.3, 0.2, 0.1])

    def lifted(x, y):
        rng = np.random.default_rng(2)
        rng.uniform(0, 1, x.size), rng.uniform(0, 1, x.size)
        return np.where(some(x.size, rng) == 2, plane(x, y), plane(x, y) + 9)

    read = read_elevation(cloud(classes=some, level=lifted))
    assert error_m(read) < 0.002


def test_withheld_points_do_not_count(cloud):
    path = cloud()
    las = laspy.read(path)
    out = np.random.default_rng(3).random(len(las.x)) < 0.3
    las.withheld = out.astype(np.uint8)
    las.z = np.where(out, las.z + 9, las.z)
    las.write(path)
    assert error_m(read_elevation(path)) < 0.002


def test_grid_lines_lie_at_whole_cells_and_the_asked_cell_is_used(cloud):
    grid = read_elevation(cloud(origin=(EAST + 0.37, NORTH + 0.81)), cell_m=2.5).grid
    assert grid.cell_m == 2.5
    assert grid.west_m % 2.5 == 0
    assert grid.north_m % 2.5 == 0


def test_map_and_levels_in_survey_feet(cloud):
    # EPSG:2903: New Mexico Central in US survey feet
    def feet(x, y):
        return 7000 + 0.1 * (x - 1_639_600) - 0.2 * (y - 1_454_500)

    def metres(x, y):
        return feet(x / US_SURVEY_FOOT_M, y / US_SURVEY_FOOT_M) * US_SURVEY_FOOT_M

    path = cloud(crs="EPSG:2903", origin=(1_639_600.0, 1_454_500.0), level=feet, size=300.0)
    read = read_elevation(path)
    assert read.grid.cell_m == 1.0  # 91 m square, 20 000 points: spacing 0.65 m
    assert error_m(read, metres) < 0.002
    assert "US survey feet were assumed" in texts(read, Severity.WARNING)
    stated = read_elevation(path, vertical_unit="us-ft")
    assert not texts(stated, Severity.WARNING)
    np.testing.assert_array_equal(stated.dem, read.dem)


def test_levels_in_feet_by_the_compound_crs(cloud):
    # NAD83 / UTM 15N with NAVD88 height in US survey feet
    read = read_elevation(cloud(crs="EPSG:26915+6360"))
    assert read.grid.crs == "EPSG:26915"
    assert error_m(read, lambda x, y: plane(x, y) * US_SURVEY_FOOT_M) < 0.002


def test_points_in_degrees_are_brought_to_utm(cloud):
    to_utm = Transformer.from_crs("EPSG:4326", UTM, always_xy=True)

    def level(lon, lat):
        return plane(*to_utm.transform(lon, lat))

    read = read_elevation(
        cloud(crs="EPSG:4326", origin=(15.001, 46.95), size=0.001, level=level, scale=1e-8)
    )
    assert read.grid.crs == UTM
    assert error_m(read) < 0.005


def test_tiles_of_points_join(cloud):
    whole = read_elevation([cloud(name="a.las"), cloud(name="b.las", origin=(EAST + 100, NORTH))])
    assert whole.grid.cols == 200
    assert error_m(whole) < 0.002
    assert np.isfinite(whole.dem[:, 95:105]).mean() > 0.98  # no seam


def test_clouds_in_different_systems_are_named(cloud):
    message = refused([cloud(name="a.las"), cloud(name="b.las", crs="EPSG:32632")])
    assert "b.las: is in WGS 84 / UTM zone 32N" in message


def test_a_void_larger_than_the_gap_stays_empty(cloud):
    def ring(count, _rng):
        rng = np.random.default_rng(2)
        x, y = rng.uniform(0, 100, count), rng.uniform(0, 100, count)
        return np.where(np.hypot(x - 50, y - 50) < 25, 9, 2)  # class 9: water

    read = read_elevation(cloud(classes=ring))
    assert read.holes == 1
    assert 500 < read.hole_cells < 900  # a disc of 25 - 10 m radius: 707 m²
    filled = read_elevation(cloud(classes=ring), max_gap_m=30)
    assert filled.holes == 0


def test_unclassified_points_are_filtered_with_a_warning(cloud):
    def treed(x, y):
        tall = np.random.default_rng(5).random(x.size) < 0.2
        return plane(x, y) + np.where(tall, 4.0, 0.0)

    read = read_elevation(cloud(classes=lambda count, _: np.ones(count), level=treed))
    assert "by a morphological filter" in texts(read, Severity.WARNING)
    assert error_m(read) < 0.25
    assert np.isfinite(read.dem).mean() > 0.95


def test_a_cloud_without_ground_names_its_classes(cloud):
    message = refused(cloud(classes=lambda count, _: np.full(count, 5), count=100))
    assert "neither points of ground" in message
    assert "class 5: 100" in message


def test_missing_crs_is_refused_and_can_be_stated(cloud):
    path = cloud(crs=None)
    assert "coordinate reference system" in refused(path)
    assert read_elevation(path, crs=UTM).grid.crs == UTM


def test_damaged_and_empty_clouds_are_refused(cloud, tmp_path):
    path = cloud(name="cut.laz")
    path.write_bytes(path.read_bytes()[:-20_000])
    assert "cannot be read as a point cloud" in refused(path)
    other = tmp_path / "text.las"
    other.write_text("nothing of the kind, and long enough to look at" * 20)
    assert "cannot be read as a point cloud" in refused(other)
    assert "holds no points" in refused(cloud(count=0))


# places in the header by ASPRS LAS 1.4 R15, table 3
@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ([("<H", 105, 7686)], "a point takes 7686 bytes"),
        ([("<Q", 247, 6 << 40)], "ends after 100 of the"),
        ([("<I", 96, 1 << 31)], "ends after 0 of the"),
        ([("<Q", 235, 400), ("<I", 243, 1)], "records are longer than it is"),
        ([("<Q", 235, 400), ("<I", 243, 1 << 30)], "more records than it holds"),
    ],
)
def test_a_header_that_the_file_cannot_hold_is_told_before_memory_is_asked_for(cloud, fields, told):
    path = cloud(count=100)
    content = bytearray(path.read_bytes())
    for code, at, value in fields:
        struct.pack_into(code, content, at, value)
    if fields[0][1] == 235:  # a record's length stands 20 bytes from its begin
        struct.pack_into("<Q", content, 420, 0 if fields[1][2] > 1 else 1 << 60)
    path.write_bytes(content)
    assert told in refused(path)


def test_unclassified_points_off_the_stated_extent_are_told(cloud):
    path = cloud(count=100, classes=lambda count, _: np.zeros(count))
    content = bytearray(path.read_bytes())
    for at in (179, 187):  # largest and smallest easting: 1 km farther east
        struct.pack_into("<d", content, at, struct.unpack_from("<d", content, at)[0] + 1000)
    path.write_bytes(content)
    assert "in fewer than 3 cells of the extent that its header states" in refused(path)


def test_too_large_a_grid_is_refused(cloud):
    assert "million cells" in refused(cloud(), cell_m=0.01, max_cells=1_000_000)


def test_old_format_with_geotiff_keys(cloud):
    read = read_elevation(cloud(version="1.2", point_format=1))
    assert read.grid.crs == UTM
    assert error_m(read) < 0.002


def with_unit_keys(path, **keys):
    """Add GeoTIFF unit keys (OGC GeoTIFF 1.1) to a cloud: plan is 3076, height is 4099."""
    las = laspy.read(path)
    directory = GeoKeyDirectoryVlr()
    entries = [
        (number, 0, 1, code)
        for number, code in ((3076, keys.get("plan")), (4099, keys.get("height")))
        if code is not None
    ]
    words = [1, 1, 0, len(entries), *(word for entry in entries for word in entry)]
    directory.parse_record_data(np.array(words, dtype="<u2").tobytes())
    las.header.vlrs.append(directory)
    las.write(path)
    return path


@pytest.mark.parametrize(
    ("code", "unit_m"), [(9002, FOOT_M), (9003, US_SURVEY_FOOT_M)], ids=["feet", "survey feet"]
)
def test_a_cloud_whose_unit_key_says_feet_is_read_in_feet_though_its_crs_says_metres(
    cloud, code, unit_m
):
    def feet(x, y):
        return plane(x * unit_m, y * unit_m) / unit_m

    path = cloud(origin=(EAST / unit_m, NORTH / unit_m), size=100.0 / unit_m, level=feet)
    read = read_elevation(with_unit_keys(path, plan=code, height=code), cell_m=1.0)
    assert read.grid.crs == read_elevation(cloud(name="metres.las")).grid.crs
    assert read.grid.shape == pytest.approx((100, 100), abs=2)
    assert error_m(read) < 0.01
    assert "its own key says that its coordinates are in" in texts(read, Severity.WARNING)


def test_a_unit_key_that_would_put_a_cloud_off_its_crs_is_told_and_not_followed(cloud):
    # ETRS89 / UTM 33N is meant for Europe; the same numbers as feet lie in the Sahel
    path = with_unit_keys(cloud(crs="EPSG:25833"), plan=9002, height=9001)
    read = read_elevation(path, cell_m=1.0)
    assert read.grid.shape == pytest.approx((100, 100), abs=2)
    assert error_m(read) < 0.002
    assert "they were read as metres" in texts(read, Severity.WARNING)


def test_a_unit_key_that_agrees_with_the_crs_is_not_told(cloud):
    read = read_elevation(with_unit_keys(cloud(), plan=9001, height=9001), cell_m=1.0)
    assert "own key" not in texts(read)
    assert "meant for" not in texts(read)


def test_a_stated_crs_goes_before_the_unit_key(cloud):
    read = read_elevation(with_unit_keys(cloud(), plan=9002), crs=UTM, cell_m=1.0)
    assert read.grid.shape == pytest.approx((100, 100), abs=2)


def test_data_outside_the_area_that_their_crs_is_meant_for_are_told(cloud):
    read = read_elevation(cloud(origin=(EAST, NORTH / 8)), cell_m=1.0)
    assert "outside the area that" not in texts(read)  # a zone reaches from the equator north
    read = read_elevation(cloud(origin=(EAST + 1_000_000, NORTH)), cell_m=1.0)
    assert "outside the area that" in texts(read, Severity.WARNING)


def lifted_lines(path, step_m, *, overlap=(30.0, 70.0)):
    """Give points of the west and the east a flight line each; line 4 lies higher."""
    las = laspy.read(path)
    east = np.asarray(las.x) - EAST
    other = (east > overlap[1]) | ((east > overlap[0]) & (np.arange(east.size) % 2 == 0))
    las.point_source_id = np.where(other, 4, 3).astype(np.uint16)
    las.z = np.asarray(las.z) + np.where(other, step_m, 0.0)
    las.write(path)
    return path


def test_a_step_between_flight_lines_is_told_and_taken_off_where_asked(cloud):
    path = lifted_lines(cloud(count=40_000), 0.2)
    read = read_elevation(path)
    assert "flight lines 3 and 4 differ by +0." in texts(read, Severity.WARNING)
    assert "terrain.level_steps" in texts(read, Severity.WARNING)
    assert read.facts.steps[0].left_m is None
    off = read_elevation(path, level_steps=True)
    step = off.facts.steps[0]
    assert (step.one, step.other) == ("3", "4")
    assert step.step_m == pytest.approx(0.2, abs=0.02)
    assert abs(step.left_m) < 0.02
    assert not texts(off, Severity.WARNING)
    assert "levelled, at most" in texts(off, Severity.NOTICE)

    def with_mean(x, y):  # half the points were lifted, and the mean stays
        return plane(x, y) + 0.1

    assert error_m(off, with_mean) < 0.02
    assert error_m(read, with_mean) > 0.09


def test_a_step_between_files_that_overlap_is_taken_off_too(cloud):
    one = cloud(name="a.las", count=40_000)
    other = cloud(name="b.las", count=40_000, seed=9, level=lambda x, y: plane(x, y) - 0.3)
    read = read_elevation([one, other], level_steps=True)
    step = next(s for s in read.facts.steps if s.between == "files that overlap")
    assert (step.one, step.other) == ("a.las", "b.las")
    assert step.step_m == pytest.approx(-0.3, abs=0.02)
    assert abs(step.left_m) < 0.02
    assert error_m(read, lambda x, y: plane(x, y) - 0.15) < 0.02


def test_the_days_of_a_survey_are_those_of_its_points_else_of_its_headers(cloud):
    path = cloud()
    las = laspy.read(path)
    written = las.header.creation_date.isoformat()
    assert read_elevation(path).facts.dated_by == "date in the files' headers"
    assert read_elevation(path).facts.last_day == written
    las.header.global_encoding.gps_time_type = laspy.header.GpsTimeType.STANDARD
    # 2020-01-01 and 2020-01-02, 00:00 GPS time: 14605 and 14606 days after 1980-01-06
    time_s = np.full(len(las.x), 14_605 * 86_400 - 1e9)
    time_s[::2] += 86_400
    las.gps_time = time_s
    las.write(path)
    facts = read_elevation(path).facts
    assert (facts.first_day, facts.last_day) == ("2020-01-01", "2020-01-02")
    assert facts.dated_by == "time of the points"


def test_points_are_counted_by_cell(cloud):
    read = read_elevation(cloud())
    assert read.counts.sum() == read.facts.ground_points == read.facts.points == 20_000
    assert read.known_share == pytest.approx((read.counts > 0).sum() / np.isfinite(read.dem).sum())


def test_the_canopy_is_the_highest_point_over_the_ground_noise_left_out(cloud):
    def classes(count, rng):
        return np.resize([2, 2, 2, 5, 7], count)

    def level(x, y):
        lifted = np.resize([0.0, 0.0, 0.0, 8.0, 90.0], x.size)
        return plane(x, y) + lifted

    path = cloud(classes=classes, level=level, count=100_000)
    read = read_elevation(path, cell_m=2.0)
    height_m = canopy_height_m([path], read.grid, read.dem, vertical_unit="auto", crs=None)
    inner = height_m[2:-2, 2:-2]  # cells on the rim hold few points
    assert np.isfinite(inner).all()
    # the plane rises by as much within a cell; one cell in 7500 (0.8^40) holds no canopy
    assert (np.abs(inner - 8.0) < 0.3).mean() > 0.998
    assert inner.max() < 8.3


def test_the_canopy_of_bare_ground_is_low_and_never_below_it(cloud):
    path = cloud(count=40_000)
    read = read_elevation(path, cell_m=1.0)
    height_m = canopy_height_m([path], read.grid, read.dem, vertical_unit="auto", crs=None)
    assert 0 <= np.nanmin(height_m) <= np.nanmax(height_m) < 0.2
