"""Inputs that are not quite right: converted with a notice, or refused with the mend."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Transformer
from rasterio.transform import from_origin


def test_boundary_in_another_crs_is_reprojected_and_said(site):
    site.write_boundary(to_crs="EPSG:4326")
    done = site.run("--until", "site")
    assert done.code == 0
    assert "EPSG:4326" in done.err
    boundary = site.layer("boundary")
    assert boundary.crs == site.crs
    assert boundary.area[0] == pytest.approx((site.size - 24) ** 2, rel=1e-4)


def test_geographic_elevation_goes_to_the_fitting_utm_zone(site):
    to_degrees = Transformer.from_crs(site.crs, "EPSG:4326", always_xy=True)
    west, north = to_degrees.transform(site.west, site.north)
    step = 1 / 111_000
    site.write_terrain(crs="EPSG:4326", transform=from_origin(west, north, step, step))
    site.write_shapes("boundary", [shapely.box(west + 40 * step, north - 120 * step,
                                               west + 110 * step, north - 40 * step)],
                      crs="EPSG:4326", name=["x"])  # fmt: skip
    done = site.run("--until", "site")
    assert done.code == 0
    assert "notice" in done.err
    assert "32626" in done.err
    assert site.layer("boundary").crs == site.crs


def test_elevation_in_feet_is_converted_and_said(site):
    metres = site.dem.copy()
    site.dem = metres / 0.3048
    site.write_terrain(units=("ft",))
    done = site.run("--until", "survey", "--only", "rasters")
    assert done.code == 0
    assert "converted to metres" in done.err
    np.testing.assert_allclose(site.raster("elevation"), metres, atol=1e-3)


def test_nodata_holes_are_reported_and_small_ones_spanned(site):
    site.dem[40:44, 40:44] = np.nan
    site.dem[100:120, 100:120] = np.nan
    done = site.run("--until", "survey", "--only", "rasters")
    assert done.code == 0
    assert "2 holes" in done.err
    elevation = site.raster("elevation")
    assert np.isfinite(elevation[40:44, 40:44]).all()
    assert np.isnan(elevation[100:120, 100:120]).all()


def test_a_boundary_larger_than_the_data_names_the_uncovered_share(site):
    site.write_boundary(inset=-20.0)
    for done in (site.check(), site.run()):
        assert done.code == 2
        share = 100 * (1 - site.size**2 / (site.size + 40) ** 2)
        assert f"{share:.1f} % of the boundary has no elevation" in done.err
        assert "in its north and east and south and west" in done.err
    assert not site.results.exists()


def test_an_intake_outside_the_data_is_named(site):
    site.write_intakes([(80, 30), (400, 30)], names=["Lower ford", "Far spring"])
    done = site.check()
    assert done.code == 2
    assert "Far spring" in done.err
    assert "Lower ford" not in done.err


def test_without_intakes_the_rest_still_runs(site):
    done = site.run("--only", "rasters")
    assert done.code == 0
    assert len(site.layer("flow_paths")) > 0
    assert len(site.layer("intakes")) == 0
    assert len(site.layer("subcatchments")) == 0
    assert (site.raster("subcatchment") == 0).all()


def test_a_crossed_boundary_is_repaired_with_a_notice_or_refused_with_its_place(site):
    square = shapely.get_coordinates(site.box(12))
    spike = np.vstack([square[:2], [square[1] + (0, 5)], [square[1]], square[2:]])
    site.write_shapes("boundary", [shapely.Polygon(spike)], name=["x"])
    repaired = site.check()
    assert repaired.code == 0
    west, north = site.west, site.north
    corners = [(20, 20), (140, 140), (140, 20), (20, 140)]
    bow = shapely.Polygon([(west + x, north - y) for x, y in corners])
    site.write_shapes("boundary", [bow], name=["x"])
    crossed = site.check()
    assert "boundary" in crossed.err
    place = f"{site.west + 80:.1f}"
    assert place in crossed.err or "repaired" in crossed.err


def test_elevation_without_a_crs_is_refused_with_the_mend(site):
    site.write_terrain(crs=None)
    done = site.check()
    assert done.code == 2
    assert "mend:" in done.err
    assert "coordinate reference system" in done.err.lower() or "crs" in done.err.lower()


def test_all_problems_are_told_at_once(site):
    site.write_boundary(inset=-20.0)
    site.write_intakes([(400, 30)], names=["Far spring"])
    site.inputs["soils"] = "soil.gpkg"
    site.inputs["weather"] = "weather.csv"
    done = site.check("--json")
    assert done.code == 2
    told = " ".join(problem["message"] + problem["source"] for problem in done.json["problems"])
    for part in ("of the boundary has no elevation", "Far spring", "soil.gpkg", "weather.csv"):
        assert part in told
    assert not (site.folder / ".brimline").exists()  # check writes nothing


def test_a_missing_layer_names_those_that_are_there(site):
    site.write()
    site.inputs["keep_out"] = "boundary.gpkg"
    frame = gpd.GeoDataFrame({"kind": ["well"]}, geometry=[site.box(70)], crs=site.crs)
    frame.to_file(site.folder / "boundary.gpkg", layer="wells", driver="GPKG")
    done = site.check()
    assert done.code == 2
    assert "holds several layers (boundary, wells)" in done.err
