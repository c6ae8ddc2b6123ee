"""Single levels as people bring them, and the rows that cannot be right."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from brimline.errors import InputError, Severity
from brimline.io.elevation import read_elevation, run_crs
from brimline.io.levels import read_levels
from brimline.io.vectors import VectorSource

UTM = "EPSG:32633"
EAST, NORTH = 500_000.0, 5_200_000.0


def garden(seed=0, count=90):
    """Levels over 40 m by 30 m that fall 5 % to the south, read to a centimetre or so."""
    rng = np.random.default_rng(seed)
    x = EAST + np.concatenate([[0, 40, 40, 0], rng.uniform(0, 40, count)])
    y = NORTH + np.concatenate([[0, 0, 30, 30], rng.uniform(0, 30, count)])
    return x, y, 100 + 0.05 * (y - NORTH) + rng.normal(0, 0.01, x.size)


def table(path, x, y, z, *, head="name,easting,northing,level,code", mark=",", comma=False):
    rows = [head]
    for number, (east, north, level) in enumerate(zip(x, y, z, strict=True), start=1):
        cells = [f"p{number}", f"{east:.3f}", f"{north:.3f}", f"{level:.3f}", "gs"]
        rows.append(mark.join(cell.replace(".", ",") if comma else cell for cell in cells))
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def read(path, **kwargs):
    settings = {
        "cell_m": None, "vertical_unit": "auto", "crs": UTM, "max_cells": 1_000_000,
        "breaklines": None,
    }  # fmt: skip
    return read_levels(path, **(settings | kwargs))


def warnings_of(found):
    return [(p.place, p.message) for p in found.notices if p.severity is Severity.WARNING]


def off_plane(found):
    _, y = found.grid.xy(*np.mgrid[0 : found.grid.rows, 0 : found.grid.cols])
    return found.dem - (100 + 0.05 * (y - NORTH))


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"head": "Point;E;N;Z;Description", "mark": ";"},
        {"head": "nr\tx\ty\theight\tcode", "mark": "\t"},
        {"head": "no;x;y;z;code", "mark": ";", "comma": True},
        {"head": "id;Easting;Northing;RL;code", "mark": ";"},
        {"head": "Nr;X;Y;Höhe;code", "mark": ";", "comma": True},
        {"head": "Punkt;Rechtswert;Hochwert;Höhe;Bemerkung", "mark": ";", "comma": True},
    ],
    ids=[
        "plain",
        "semicolons",
        "tabs",
        "decimal commas",
        "reduced levels",
        "another tongue",
        "words of a land office",
    ],
)
def test_usual_tables_of_levels_become_the_ground(tmp_path, how):
    found = read(table(tmp_path / "levels.csv", *garden(), **how))
    assert np.abs(off_plane(found)[np.isfinite(found.dem)]).max() < 0.08
    assert found.grid.crs == UTM
    assert warnings_of(found) == []
    assert 0.005 < found.error.rmse_m < 0.03


def test_a_file_without_a_header_is_read_as_controllers_write_it(tmp_path):
    x, y, z = garden()
    rows = [
        f"p{i},{n:.3f},{e:.3f},{h:.3f},gs" for i, (e, n, h) in enumerate(zip(x, y, z, strict=True))
    ]
    path = tmp_path / "levels.txt"
    path.write_text("\n".join(rows))
    found = read(path)
    assert np.nanmax(np.abs(off_plane(found))) < 0.08


@pytest.mark.parametrize("driver", ["GPKG", "GeoJSON"])
def test_points_with_heights_or_a_column_of_levels(tmp_path, driver):
    x, y, z = garden()
    path = tmp_path / ("levels.gpkg" if driver == "GPKG" else "levels.geojson")
    shapes = shapely.points(x, y, z) if driver == "GPKG" else shapely.points(x, y)
    rows = gpd.GeoDataFrame({"level_m": z}, geometry=shapes, crs=UTM)
    if driver == "GPKG":
        rows = rows.drop(columns="level_m")
    rows.to_crs("EPSG:4326" if driver == "GeoJSON" else UTM).to_file(path, driver=driver)
    found = read(path, crs=None)
    assert np.nanmax(np.abs(off_plane(found))) < 0.08


@pytest.mark.parametrize(
    ("mark", "around"),
    [("wpt", "{}"), ("trkpt", "<trk><trkseg>{}</trkseg></trk>"), ("rtept", "<rte>{}</rte>")],
)
def test_waypoints_and_tracks_of_a_phone_or_receiver_with_heights(tmp_path, mark, around):
    x, y, z = garden(count=40)
    places = gpd.GeoSeries(shapely.points(x, y), crs=UTM).to_crs("EPSG:4326")
    points = around.format(
        "".join(
            f'<{mark} lat="{p.y:.8f}" lon="{p.x:.8f}"><ele>{h:.3f}</ele></{mark}>'
            for p, h in zip(places, z, strict=True)
        )
    )
    path = tmp_path / "levels.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>'
    )
    found = read(path, crs=None)
    assert np.nanmax(np.abs(off_plane(found))) < 0.08


def test_degrees_are_brought_to_metres(tmp_path):
    x, y, z = garden()
    places = gpd.GeoSeries(shapely.points(x, y), crs=UTM).to_crs("EPSG:4326")
    rows = [f"{p.x:.8f},{p.y:.8f},{h:.3f}" for p, h in zip(places, z, strict=True)]
    path = tmp_path / "levels.csv"
    path.write_text("\n".join(["longitude,latitude,elevation", *rows]))
    found = read(path, crs=None)
    assert found.grid.crs == UTM
    assert np.nanmax(np.abs(off_plane(found))) < 0.08
    assert run_crs([path]) == UTM


def test_no_reference_system_is_said_with_the_mend(tmp_path):
    path = table(tmp_path / "levels.csv", *garden())
    with pytest.raises(InputError, match=r"does not say .*state terrain\.crs"):
        read(path, crs=None)


def test_the_cell_follows_the_distance_between_levels(tmp_path):
    x, y, z = garden(count=150)
    fine = read(table(tmp_path / "a.csv", x, y, z)).grid.cell_m
    wide = read(table(tmp_path / "b.csv", EAST + 10 * (x - EAST), NORTH + 10 * (y - NORTH), z))
    assert fine == 0.1
    assert wide.grid.cell_m == pytest.approx(1.0)
    assert read(tmp_path / "a.csv", cell_m=0.5).grid.cell_m == 0.5


def test_the_ground_goes_on_a_little_beyond_the_outermost_levels_and_that_is_said(tmp_path):
    x, y, z = garden()
    found = read(table(tmp_path / "levels.csv", x, y, z))
    west, south, east, north = found.grid.bounds
    assert west < EAST - 1
    assert east > EAST + 41
    assert any("beyond the outermost levels" in notice.message for notice in found.notices)
    row, col = found.grid.cell(EAST - 1, NORTH + 15)
    assert found.dem[row, col] == pytest.approx(100.75, abs=0.08)
    assert (south, north) == pytest.approx((NORTH, NORTH + 30), abs=15)


def test_a_kerb_drawn_with_a_level_stands_in_the_ground(tmp_path):
    x, y, z = garden()
    z = np.where(y > NORTH + 15, 101.0, 100.0)
    kerb = [
        shapely.LineString([(EAST, NORTH + 14.99), (EAST + 40, NORTH + 14.99)]),
        shapely.LineString([(EAST, NORTH + 15.01), (EAST + 40, NORTH + 15.01)]),
    ]
    lines = gpd.GeoDataFrame({"level_m": [100.0, 101.0]}, geometry=kerb, crs=UTM)
    lines.to_file(tmp_path / "kerb.gpkg", layer="breaklines")
    keep = np.abs(y - NORTH - 15) > 0.05
    found = read(
        table(tmp_path / "levels.csv", x[keep], y[keep], z[keep]),
        breaklines=VectorSource(tmp_path / "kerb.gpkg", "breaklines"),
    )
    east, north = found.grid.xy(*np.mgrid[0 : found.grid.rows, 0 : found.grid.cols])
    inside = (east > EAST) & (east < EAST + 40) & (np.abs(north - NORTH - 15) < 10)
    upper = inside & (north > NORTH + 15.02)
    lower = inside & (north < NORTH + 14.98)
    np.testing.assert_allclose(found.dem[upper], 101.0, atol=1e-4)
    np.testing.assert_allclose(found.dem[lower], 100.0, atol=1e-4)


def test_two_levels_at_one_place_are_told_by_row(tmp_path):
    x, y, z = garden()
    x[20], y[20], z[20] = x[10], y[10], z[10] + 0.4
    told = warnings_of(read(table(tmp_path / "levels.csv", x, y, z)))
    assert ("rows 12 and 22" in {place for place, _ in told}) is True


def test_swapped_numbers_are_told_by_row(tmp_path):
    x, y, z = garden()
    x[33], y[33] = y[33], x[33]
    with pytest.raises(InputError, match=r"row 35: .*look swapped"):
        read(table(tmp_path / "levels.csv", x, y, z))


def test_a_place_far_off_is_told_by_row(tmp_path):
    x, y, z = garden()
    x[33] += 5000
    with pytest.raises(InputError, match=r"row 35: lies 5\d{3} m from the middle"):
        read(table(tmp_path / "levels.csv", x, y, z))


def test_one_wild_level_is_told_by_row_first(tmp_path):
    x, y, z = garden()
    z[40] += 3.0
    place, message = warnings_of(read(table(tmp_path / "levels.csv", x, y, z)))[0]
    assert place == "row 42"
    assert "the levels around say about" in message


def test_a_level_in_feet_among_metres_is_told_as_such(tmp_path):
    x, y, z = garden()
    z[40] /= 0.3048
    place, message = warnings_of(read(table(tmp_path / "levels.csv", x, y, z)))[0]
    assert place == "row 42"
    assert "in feet" in message


def test_all_levels_in_feet_are_converted(tmp_path):
    x, y, z = garden()
    found = read(table(tmp_path / "levels.csv", x, y, z / 0.3048), vertical_unit="ft")
    assert np.nanmax(np.abs(off_plane(found))) < 0.08


def test_a_run_reads_them_as_its_elevation(tmp_path):
    found = read_elevation(table(tmp_path / "levels.csv", *garden()), crs=UTM)
    assert np.isfinite(found.dem).mean() > 0.9
    table(tmp_path / "more.csv", *garden(1))
    with pytest.raises(InputError, match="join the files first"):
        read_elevation([tmp_path / "levels.csv", tmp_path / "more.csv"], crs=UTM)


def test_coordinates_of_a_grid_of_ones_own_under_a_real_reference_system_are_told(tmp_path):
    x, y, z = garden()
    path = table(tmp_path / "levels.csv", x - EAST + 100, y - NORTH + 50, z)
    told = [p for p in read(path).notices if "outside the area" in p.message]
    assert len(told) == 1
    assert "latitude 0.00" in told[0].message
    assert "local" in told[0].mend
    assert not [p for p in read(path, crs="local").notices if "outside the area" in p.message]
