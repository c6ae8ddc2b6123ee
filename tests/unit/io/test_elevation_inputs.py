"""Every kind of elevation raster that a person may bring, on surfaces with exact levels."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.control import GroundControlPoint
from scipy import ndimage

from brimline.errors import InputError, Severity
from brimline.grid import held_levels
from brimline.io.elevation import read_elevation

UTM = "EPSG:32633"
HALF_M = 1 / 4096 + 1e-5  # levels are read to the nearest 1/2048 m


def sloped(rows=30, cols=40, *, base=200.0, dtype=np.float32):
    row, col = np.indices((rows, cols))
    return held_levels(base + 0.1 * col - 0.05 * row).astype(dtype)


def texts(read, severity=None):
    found = [n for n in read.notices if severity is None or n.severity is severity]
    return " | ".join(str(notice) for notice in found)


def refused(*args, **kwargs):
    with pytest.raises(InputError) as caught:
        read_elevation(*args, **kwargs)
    assert all(p.mend for p in caught.value.problems)
    return str(caught.value)


def test_plain_metric_raster_is_read_as_it_is(tif):
    dem = sloped()
    read = read_elevation(tif(dem))
    np.testing.assert_array_equal(read.dem, dem)
    assert read.dem.dtype == np.float32
    assert read.grid.crs == UTM
    assert (read.grid.cell_m, read.grid.west_m, read.grid.north_m) == (2.0, 500_000, 5_200_000)
    assert read.notices == ()
    assert read.holes == 0


def test_whole_number_levels_with_scale_and_offset(tif):
    stored = np.arange(1200, dtype=np.int16).reshape(30, 40)
    read = read_elevation(tif(stored, scale=0.01, offset=150.0))
    np.testing.assert_allclose(read.dem, 150 + stored * 0.01, rtol=0, atol=HALF_M)


def test_tagged_nodata_and_nan_become_nan_and_holes_are_told(tif):
    dem = sloped()
    dem[5:7, 5:8] = -9999
    dem[10, 10] = np.nan
    dem[0, :] = -9999  # the edge is outside the data rather than a hole in it
    read = read_elevation(tif(dem, nodata=-9999.0))
    assert np.isnan(read.dem).sum() == 6 + 1 + 40
    assert (read.holes, read.hole_cells) == (2, 7)
    assert "2 holes" in texts(read)
    assert "28 m²" in texts(read)  # 7 cells of 4 m²
    assert not texts(read, Severity.WARNING)


@pytest.mark.parametrize("marker", [-9999.0, -32768.0, 32767.0, -3.4028235e38, 1e20, 1e30])
def test_untagged_markers_are_caught_with_a_warning(tif, marker):
    dem = sloped()
    dem[3:6, 3:6] = marker
    read = read_elevation(tif(dem))
    assert np.isnan(read.dem).sum() == 9
    assert "not tagged" in texts(read, Severity.WARNING)


def test_traces_of_a_resampled_marker_are_nodata_too(tif):
    dem = sloped()
    dem[3:6, 3:6] = -9999
    dem[2, 3:6] = [-4800, -3000, -1200]  # what a bilinear resampling leaves round a marker
    read = read_elevation(tif(dem))
    assert np.isnan(read.dem).sum() == 12


def test_untagged_zero_fill_is_caught_where_ground_lies_well_above(tif):
    dem = sloped()
    dem[:, :4] = 0
    read = read_elevation(tif(dem))
    assert np.isnan(read.dem[:, :4]).all()
    assert "exactly 0" in texts(read, Severity.WARNING)


def test_zero_is_a_level_near_the_sea(tif):
    dem = sloped(base=-0.5)
    dem[0, 0] = 0
    read = read_elevation(tif(dem))
    assert np.isfinite(read.dem).all()


def test_levels_off_the_earth_are_warned_of(tif):
    read = read_elevation(tif(sloped(base=12_000.0)))
    assert "outside -500 to 9000 m" in texts(read, Severity.WARNING)


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("ft", 0.3048), ("foot", 0.3048), ("us-ft", 1200 / 3937), ("US survey foot", 1200 / 3937)],
)
def test_levels_in_feet_by_tag_are_converted(tif, unit, metres):
    dem = sloped()
    read = read_elevation(tif(dem, unit=unit))
    np.testing.assert_allclose(read.dem, dem * metres, rtol=0, atol=HALF_M)
    assert "converted to metres" in texts(read, Severity.NOTICE)


def test_levels_in_feet_by_compound_crs_are_converted(tif):
    # EPSG:6360 is NAVD88 height in US survey feet
    dem = sloped()
    read = read_elevation(tif(dem, crs="EPSG:26915+6360"))
    np.testing.assert_allclose(read.dem, dem * 1200 / 3937, rtol=0, atol=HALF_M)
    assert read.grid.crs == "EPSG:26915"  # heights are metres now
    assert "converted to metres" in texts(read, Severity.NOTICE)


def test_the_levels_own_unit_wins_over_the_reference_systems_with_a_warning(tif):
    dem = sloped()
    read = read_elevation(tif(dem, crs="EPSG:26915+5703", unit="ft"))  # 5703: heights in metres
    np.testing.assert_allclose(read.dem, dem * 0.3048, rtol=0, atol=HALF_M)
    assert "its reference system says metres; feet were taken" in texts(read, Severity.WARNING)


def test_levels_in_feet_as_stated_are_converted(tif):
    dem = sloped()
    read = read_elevation(tif(dem), vertical_unit="ft")
    np.testing.assert_allclose(read.dem, dem * 0.3048, rtol=0, atol=HALF_M)
    assert "furlong" in refused(tif(dem), vertical_unit="furlong")


def test_map_in_feet_becomes_metres_without_resampling(tif):
    # EPSG:2903: New Mexico Central, US survey feet
    dem = sloped()
    path = tif(dem, crs="EPSG:2903", cell=3.0, west=1_639_600.0, north=1_454_700.0)
    read = read_elevation(path)
    foot = 1200 / 3937
    np.testing.assert_allclose(read.dem, dem * foot, rtol=0, atol=HALF_M)
    assert read.grid.cell_m == pytest.approx(3 * foot, rel=1e-9)
    assert read.grid.west_m == pytest.approx(1_639_600 * foot, abs=1e-6)
    assert "without resampling" in texts(read, Severity.NOTICE)
    assert "were assumed" in texts(read, Severity.WARNING)  # the unit of height was not told
    # the same place on the Earth, by an independent way through geographic coordinates
    there = Transformer.from_crs("EPSG:2903", 4152, always_xy=True).transform(1_639_600, 1_454_700)
    here = Transformer.from_crs(CRS(read.grid.crs), 4152, always_xy=True).transform(
        read.grid.west_m, read.grid.north_m
    )
    np.testing.assert_allclose(here, there, atol=1e-8)  # degrees: a millimetre


@pytest.mark.parametrize(
    ("feet", "metres", "west", "north"),
    [
        ("EPSG:2903", "EPSG:2826", 1_639_600, 1_454_700),  # New Mexico Central
        ("EPSG:2225", "EPSG:26941", 6_000_000, 2_000_000),  # California 1
        ("EPSG:2263", "EPSG:32118", 984_250, 200_000),  # New York Long Island
    ],
)
def test_the_sibling_in_metres_has_the_registrys_code_where_there_is_one(
    tif, feet, metres, west, north
):
    read = read_elevation(tif(sloped(), crs=feet, west=west, north=north))
    assert read.grid.crs == metres


def test_a_sites_own_projection_in_feet_stays_its_own(tif):
    # as surveyors lay them out, at the scale of the site's own height
    own = (
        "+proj=tmerc +lat_0=46.5 +lon_0=-93.92 +k=1.0001 +x_0=30480 +y_0=15240 +datum=NAD83"
        " +units=ft"
    )
    read = read_elevation(tif(sloped(), crs=own, cell=5.0, west=100_000.0, north=50_000.0))
    assert CRS(read.grid.crs).axis_info[0].unit_name == "metre"
    assert read.grid.cell_m == pytest.approx(1.524)
    assert (read.grid.west_m, read.grid.north_m) == pytest.approx((30_480, 15_240))
    lon, lat = Transformer.from_crs(read.grid.crs, 4269, always_xy=True).transform(30_480, 15_240)
    assert (lon, lat) == pytest.approx((-93.92, 46.5), abs=1e-8)


def test_stated_metres_win_over_the_map_in_feet(tif):
    dem = sloped()
    read = read_elevation(tif(dem, crs="EPSG:2903", west=1.6e6, north=1.45e6), vertical_unit="m")
    np.testing.assert_array_equal(read.dem, dem)


def geographic_plane(tif, crs="EPSG:4326", west=15.2, north=46.9, step=1e-5):
    """A plane in UTM coordinates, sampled on a grid of degrees: levels are known everywhere."""
    rows, cols = 400, 300
    lon = west + (np.arange(cols) + 0.5) * step
    lat = north - (np.arange(rows) + 0.5) * step
    east, up = Transformer.from_crs(crs, UTM, always_xy=True).transform(*np.meshgrid(lon, lat))
    levels = plane(east, up)
    transform = Affine(step, 0, west, 0, -step, north)
    return tif(levels.astype(np.float64), crs=crs, transform=transform)


def plane(east, north):
    return 300 + 0.08 * (east - 515_000) - 0.03 * (north - 5_194_000)


def test_degrees_are_reprojected_to_the_fitting_utm_zone(tif):
    read = read_elevation(geographic_plane(tif))
    assert read.grid.crs == UTM
    assert "EPSG:32633" in texts(read, Severity.NOTICE)
    assert "bilinear" in texts(read, Severity.NOTICE)
    # cells are about as large: 1e-5° is 1.11 m northwards and 0.76 m eastwards here
    assert read.grid.cell_m == pytest.approx(np.sqrt(1.11 * 0.76), rel=0.03)
    x, y = read.grid.xy(*np.indices(read.grid.shape))
    inside = np.isfinite(read.dem)
    assert inside.mean() > 0.95
    inner = ndimage.binary_erosion(inside, iterations=2)  # less the rim of half a cell
    # a plane comes through bilinear sampling to float32 rounding
    np.testing.assert_allclose(read.dem[inner], plane(x, y)[inner], rtol=0, atol=2 * HALF_M)


def test_grid_lines_of_a_reprojected_survey_lie_at_whole_cells(tif):
    grid = read_elevation(geographic_plane(tif)).grid
    assert grid.west_m / grid.cell_m == pytest.approx(round(grid.west_m / grid.cell_m), abs=1e-6)
    assert grid.north_m / grid.cell_m == pytest.approx(round(grid.north_m / grid.cell_m), abs=1e-6)


@pytest.mark.parametrize(
    ("crs", "west", "north", "expected"),
    [
        ("EPSG:4326", 15.2, 46.9, "EPSG:32633"),
        ("EPSG:4326", -68.2, -16.5, "EPSG:32719"),  # south of the equator
        ("EPSG:4258", 15.2, 46.9, "EPSG:25833"),  # stays on ETRS89
        ("EPSG:4269", -93.9, 46.5, "EPSG:26915"),  # stays on NAD83
        ("EPSG:4326", 5.3, 60.4, "EPSG:32632"),  # south-west Norway's wide zone
    ],
)
def test_fitting_zone_keeps_the_datum(tif, crs, west, north, expected):
    transform = Affine(1e-5, 0, west, 0, -1e-5, north)
    read = read_elevation(tif(sloped(), crs=crs, transform=transform))
    assert read.grid.crs == expected


def test_web_map_coordinates_are_not_taken_for_metres(tif):
    # Web Mercator stretches lengths by 1/cos(latitude): 46 % at 46.9°
    read = read_elevation(
        tif(sloped(), crs="EPSG:3857", west=1_692_000.0, north=5_925_000.0, cell=2.0)
    )
    assert read.grid.crs == UTM
    assert "46 % off" in texts(read, Severity.NOTICE)
    assert read.grid.cell_m == pytest.approx(2.0 * np.cos(np.radians(46.9)), rel=0.03)


def test_south_up_rows_are_turned_without_resampling(tif):
    dem = sloped()
    south = 5_200_000 - 60
    read = read_elevation(tif(dem[::-1], transform=Affine(2, 0, 500_000, 0, 2, south)))
    np.testing.assert_array_equal(read.dem, dem)
    assert read.grid.north_m == 5_200_000


def test_mirrored_columns_are_turned_without_resampling(tif):
    dem = sloped()
    east = 500_000 + 2 * dem.shape[1]
    read = read_elevation(tif(dem[:, ::-1], transform=Affine(-2, 0, east, 0, -2, 5_200_000)))
    np.testing.assert_array_equal(read.dem, dem)
    assert read.grid.west_m == 500_000


def test_oblong_cells_are_resampled_to_squares(tif):
    row, col = np.indices((60, 40))
    dem = (100 + 0.1 * (col + 0.5) * 2 - 0.2 * (row + 0.5) * 1).astype(np.float32)
    read = read_elevation(tif(dem, transform=Affine(2, 0, 500_000, 0, -1, 5_200_000)))
    assert read.grid.cell_m == pytest.approx(1.4)  # √2 to two digits
    x, y = read.grid.xy(*np.indices(read.grid.shape))
    expected = 100 + 0.1 * (x - 500_000) - 0.2 * (5_200_000 - y)
    inner = (slice(2, -2), slice(2, -2))
    np.testing.assert_allclose(read.dem[inner], expected[inner], rtol=0, atol=2 * HALF_M)
    assert "not square" in texts(read, Severity.NOTICE)


def test_turned_grid_is_resampled_north_up(tif):
    turn = Affine.translation(500_000, 5_200_000) @ Affine.rotation(30) @ Affine.scale(2, -2)
    row, col = np.indices((60, 80))
    x, y = turn @ (col + 0.5, row + 0.5)
    level = 100 + 0.1 * (x - 500_000) - 0.2 * (y - 5_200_000)
    read = read_elevation(tif(level.astype(np.float32), transform=turn))
    assert "turned from north" in texts(read, Severity.NOTICE)
    assert read.grid.cell_m == pytest.approx(2.0)
    x, y = read.grid.xy(*np.indices(read.grid.shape))
    col, row = ~turn @ (x, y)
    inner = (col > 1) & (col < 79) & (row > 1) & (row < 59)
    expected = 100 + 0.1 * (x - 500_000) - 0.2 * (y - 5_200_000)
    np.testing.assert_allclose(read.dem[inner], expected[inner], rtol=0, atol=2 * HALF_M)


def test_asked_cell_size_averages_when_much_larger(tif):
    dem = sloped(rows=40, cols=40)
    read = read_elevation(tif(dem), cell_m=8.0)
    assert read.grid.cell_m == 8.0
    blocks = dem.reshape(10, 4, 10, 4).mean(axis=(1, 3))
    np.testing.assert_allclose(read.dem, blocks, rtol=0, atol=HALF_M)
    assert "averaged" in texts(read, Severity.NOTICE)


def test_missing_crs_is_refused_with_the_mend_and_can_be_stated(tif):
    path = tif(sloped(), crs=None)
    message = refused(path)
    assert "coordinate reference system" in message
    assert "EPSG:32633" in message  # the example of how to state it
    assert read_elevation(path, crs=UTM).grid.crs == UTM


def test_stated_crs_wins_over_the_files_with_a_warning(tif):
    read = read_elevation(tif(sloped(), crs="EPSG:32632"), crs=UTM)
    assert read.grid.crs == UTM
    assert "configuration was followed" in texts(read, Severity.WARNING)


def test_a_picture_is_refused_and_a_second_band_is_warned_of(tif):
    picture = np.zeros((3, 10, 10), dtype=np.uint8)
    assert "picture" in refused(tif(picture, name="ortho.tif"))
    two = np.stack([sloped(), sloped(base=0.0)])
    read = read_elevation(tif(two, name="two.tif"))
    assert "2 bands" in texts(read, Severity.WARNING)
    np.testing.assert_array_equal(read.dem, two[0])


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_an_ungeoreferenced_raster_is_refused(tif):
    assert "not georeferenced" in refused(tif(sloped(), crs=None, transform=Affine.identity()))


def test_degrees_that_are_none_are_refused(tif):
    # coordinates in metres under a CRS in degrees
    assert "are not degrees" in refused(tif(sloped(), crs="EPSG:4326"))


def test_a_text_grid_is_read_with_a_stated_crs(tmp_path):
    path = tmp_path / "dem.asc"
    path.write_text(
        "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 5200000\ncellsize 5\n"
        "NODATA_value -9999\n1 2 3\n4 -9999 6\n"
    )
    read = read_elevation(path, crs=UTM)
    np.testing.assert_array_equal(read.dem, [[1, 2, 3], [4, np.nan, 6]])
    assert (read.grid.cell_m, read.grid.north_m) == (5.0, 5_200_010)


def test_a_raster_on_control_points_is_refused_with_the_mend(tmp_path):
    path = tmp_path / "scan.tif"
    corners = [(0, 0), (0, 9), (9, 0)]
    points = [GroundControlPoint(r, c, 500_000 + 2 * c, 5_200_000 - 2 * r) for r, c in corners]
    with rasterio.open(
        path, "w", driver="GTiff", count=1, height=9, width=9, dtype="float32", gcps=points, crs=UTM
    ) as file:
        file.write(np.ones((1, 9, 9), dtype=np.float32))
    assert "ground control points" in refused(path)


def test_an_all_nodata_raster_is_refused(tif):
    assert "all is nodata" in refused(tif(np.full((4, 4), np.nan, dtype=np.float32)))


def test_a_file_that_is_no_raster_is_refused(tmp_path):
    path = tmp_path / "terrain.tif"
    path.write_text("not a raster")
    assert "cannot be read as a raster" in refused(path)


def test_a_truncated_raster_is_refused(tif):
    path = tif(np.random.default_rng(1).random((300, 300)).astype(np.float32) + 100)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert "damaged" in refused(path)


def test_a_missing_file_names_the_nearest(tif, tmp_path):
    tif(sloped(), name="terrain.tif")
    assert 'did you mean "terrain.tif"' in refused(tmp_path / "terain.tif")
    assert "fits no file" in refused(str(tmp_path / "*.laz"))
    assert "is a folder" in refused(tmp_path)


def test_an_unknown_height_unit_is_warned_of(tif):
    read = read_elevation(tif(sloped(), unit="furlong"))
    assert '"furlong" is not known' in texts(read, Severity.WARNING)


# several files -----------------------------------------------------------------------------


def tiles(tif, dem, *, overlap=0, **kwargs):
    """Cut a surface into four tiles on one grid."""
    half_row, half_col = dem.shape[0] // 2, dem.shape[1] // 2
    for number, (top, left) in enumerate(
        [(0, 0), (0, half_col), (half_row, 0), (half_row, half_col)]
    ):
        top, left = max(0, top - overlap), max(0, left - overlap)
        part = dem[top : top + half_row + overlap, left : left + half_col + overlap]
        tif(
            part,
            name=f"tiles/part_{number}.tif",
            west=500_000 + 2.0 * left,
            north=5_200_000 - 2.0 * top,
            **kwargs,
        )


@pytest.mark.parametrize("overlap", [0, 3])
def test_tiles_join_to_the_whole(tif, tmp_path, overlap):
    dem = sloped()
    tiles(tif, dem, overlap=overlap)
    read = read_elevation(str(tmp_path / "tiles" / "*.tif"))
    np.testing.assert_array_equal(read.dem, dem)
    assert len(read.files) == 4
    assert read.notices == ()


def test_a_notice_that_all_tiles_share_is_said_once(tif, tmp_path):
    tiles(tif, sloped(), unit="furlong")
    read = read_elevation(tmp_path.glob("tiles/*.tif"))
    assert len(read.notices) == 1
    assert "and 3 more" in str(read.notices[0])


def test_tiles_in_different_units_join_in_metres(tif):
    dem = sloped()
    left = tif(dem[:, :20], name="a.tif")
    right = tif(dem[:, 20:] / np.float32(0.3048), name="b.tif", west=500_040.0, unit="ft")
    read = read_elevation([left, right])
    np.testing.assert_allclose(read.dem, dem, rtol=0, atol=HALF_M)


def test_tiles_that_do_not_fit_are_all_named(tif):
    dem = sloped()
    paths = [
        tif(dem, name="a.tif"),
        tif(dem, name="b.tif", cell=1.0),
        tif(dem, name="c.tif", west=500_000.7),
        tif(dem, name="d.tif", crs="EPSG:32632"),
        tif(dem, name="e.tif", crs=None),
    ]
    message = refused(paths)
    assert "b.tif: has cells of 1, but a.tif has cells of 2" in message
    assert "c.tif: lies 0.35 of a cell off the grid of a.tif" in message
    assert "d.tif: is in WGS 84 / UTM zone 32N" in message
    assert "e.tif: does not say its coordinate reference system" in message


def test_overlapping_tiles_that_disagree(tif):
    dem = sloped()
    first = tif(dem, name="a.tif")
    bumped = dem.copy()
    bumped[0, 0] += 0.5
    read = read_elevation([first, tif(bumped, name="b.tif")])
    assert "differs by up to 0.50 m" in texts(read, Severity.WARNING)
    np.testing.assert_array_equal(read.dem, dem)  # the first by name is kept
    assert "differs by 3.00 m (median" in refused([first, tif(dem + 3, name="c.tif")])


def test_a_step_between_tiles_that_only_meet_is_measured_along_the_seam(tif):
    dem = sloped(rows=60, cols=60)
    west, east = tif(dem[:, :30], name="a.tif"), dem[:, 30:] + 0.25
    read = read_elevation([west, tif(east, name="b.tif", west=500_000 + 60.0)])
    (step,) = read.facts.steps
    assert (step.between, step.one, step.other) == ("files that meet", "a.tif", "b.tif")
    assert step.step_m == pytest.approx(0.25, abs=0.01)
    assert step.cells == 60
    south = tif(dem[30:] - 0.1, name="c.tif", north=5_200_000 - 60.0)
    read = read_elevation([tif(dem[:30], name="n.tif"), south])
    assert read.facts.steps[0].step_m == pytest.approx(-0.1, abs=0.01)


def test_the_date_of_a_raster_is_its_tag(tif):
    path = tif(sloped())
    assert read_elevation(path).facts.dated_by == ""
    with rasterio.open(path, "r+") as file:
        file.update_tags(TIFFTAG_DATETIME="2019:07:30 11:12:13")
    facts = read_elevation(path).facts
    assert (facts.first_day, facts.dated_by) == ("2019-07-30", "date in the files' headers")


def test_a_gap_between_tiles_is_a_hole(tif):
    dem = sloped(rows=30, cols=30)
    frame = dem.copy()
    frame[10:20, 10:20] = np.nan
    read = read_elevation([tif(frame)])
    assert (read.holes, read.hole_cells) == (1, 100)


def test_too_large_a_grid_says_how_large_and_what_to_do(tif):
    near, far = tif(sloped(), name="a.tif"), tif(sloped(), name="b.tif", west=900_000.0)
    message = refused([near, far], max_cells=1000)
    assert "million cells" in message
    assert "lie far apart" in message
    assert "larger cell_m" in refused(geographic_plane(tif), cell_m=0.05, max_cells=200_000)


def test_rasters_and_point_clouds_do_not_mix(tif, tmp_path):
    cloud = tmp_path / "points.laz"
    cloud.write_bytes(b"")
    assert "cannot be mixed" in refused([tif(sloped()), cloud])


@pytest.mark.parametrize("level", [8000.0, -400.0])
def test_a_single_impossible_cell_is_taken_as_nodata_and_told(tif, level):
    levels = sloped()
    levels[10, 12] = level
    read = read_elevation(tif(levels))
    assert np.isnan(read.dem[10, 12])
    assert np.isnan(read.dem).sum() == 1
    told = texts(read, Severity.WARNING)
    assert f"row 10, column 12: {level:.1f} m in ground of" in told


def test_cliffs_and_narrow_walls_are_no_spikes(tif):
    levels = sloped()
    levels[:, 20:] += 300  # a cliff along the whole grid
    levels[5:8, 5] += 150  # three cells in a row
    read = read_elevation(tif(levels))
    np.testing.assert_array_equal(read.dem, levels)
    assert "stand" not in texts(read)


def test_a_wholly_flat_survey_is_told(tif):
    read = read_elevation(tif(np.full((20, 20), 120.0, np.float32)))
    assert "is wholly flat: every cell has 120 m" in texts(read, Severity.WARNING)
