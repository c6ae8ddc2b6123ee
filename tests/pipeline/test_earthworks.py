"""From the drawn design to the ground: what is dug holds or leaks, is staked and billed."""

import json
import re
import xml.etree.ElementTree as ET

import fiona
import matplotlib.tri as tri
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from tests.pipeline.conftest import Silent

pytestmark = pytest.mark.usefixtures("stages_kept")

PAD = {
    "name": "Yard",
    "fall_pct": 1.0,
    "falls_to_deg": 180.0,
    "shape": shapely.box(112, 92, 124, 104),
}
POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 38).buffer(8)
END = shapely.Point(80, 18)
STORM = "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"
# a level line on the west side of the valley, where the ground falls eastwards to the stream
SWALE = shapely.LineString([(30, 100), (31, 112), (32, 124)])


def plan(**changes):
    """A pond that spills to a basin that spills to a named discharge point."""
    layers = {
        "drawn_ponds": [{"name": "Upper pond", "depth_m": 1.2, "shape": POND}],
        "drawn_basins": [{"name": "Lower basin", "depth_m": 0.4, "shape": BASIN}],
        "discharge_points": [{"name": "Brook", "shape": END}],
        "stockpiles": [{"name": "Heap", "shape": shapely.Point(120, 60)}],
    }
    return layers | changes


def run(site, tables="", *options, **changes):
    site.tables = STORM + tables
    site.write_plan(**plan(**changes))
    done = site.run(*(options or ("--draft",)))
    assert done.code == 0, done.err
    return done


def by_element(site, name):
    return site.table(name).set_index("element_id")


@pytest.fixture(scope="module")
def built(tmp_path_factory, site_class):
    """One finished run that several tests look at."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("built"), Silent(), patch)
        run(
            site,
            "[stakes]\nbenchmark = 'Nail'\nbenchmark_level_m = 130.0\nlines = ['keylines']\n"
            "[rates]\ncut_per_m3 = 4.0\n",
            "--only",
            "rasters",
            "--only",
            "stakes",
            drawn_pads=[PAD],
        )
        yield site


def test_what_is_dug_holds_and_spills_to_what_it_should(built):
    proof = by_element(built, "design_proof")
    elements = by_element(built, "elements")
    assert set(proof.index) == set(elements.index)
    np.testing.assert_allclose(proof["brim_level_m"], proof["spill_level_m"], atol=0.02)
    np.testing.assert_allclose(proof["holds_m3"], proof["storage_m3"], rtol=0.03)
    assert (proof["reached_id"] == proof["meant_id"]).all()
    assert not proof["flag"].any()
    paths = built.layer("proof_paths").set_index("element_id")
    pond = shapely.get_point(paths.geometry["Upper pond"], 0)
    assert elements.geometry["Upper pond"].contains(pond)


def test_the_designed_surface_is_the_survey_where_nothing_is_built(built):
    with rasterio.open(built.results / "rasters" / "design_surface.tif") as file:
        design, where = file.read(1), file.transform
    with rasterio.open(built.results / "rasters" / "elevation.tif") as file:
        ground = file.read(1)
    volumes = by_element(built, "earth_volumes")
    moved = float(np.nansum(design.astype(float) - ground)) * where.a**2
    assert moved == pytest.approx(volumes["fill_m3"].sum() - volumes["cut_m3"].sum(), abs=0.5)
    worked = pd.concat([built.layer(name).geometry for name in ("elements", "pads")])
    near = rasterio.features.geometry_mask(
        worked.buffer(25), out_shape=design.shape, transform=where, invert=True
    )
    np.testing.assert_array_equal(design[~near], ground[~near])
    assert (np.abs(design - ground)[near] > 0.5).any()


def test_earth_by_cells_and_by_sections_agree_and_spoil_has_a_place(built):
    volumes = by_element(built, "earth_volumes")
    np.testing.assert_allclose(volumes["cut_m3"], volumes["cut_sections_m3"], rtol=0.02, atol=0.5)
    np.testing.assert_allclose(volumes["fill_m3"], volumes["fill_sections_m3"], rtol=0.05, atol=1.0)
    assert (volumes["built_m3"] >= volumes["fill_m3"]).all()
    hauls = built.table("spoil_hauls")
    for name in volumes.index:
        gone = hauls[hauls["from_id"] == name]["bank_m3"].sum()
        come = hauls[hauls["to_id"] == name]["bank_m3"].sum()
        assert gone == pytest.approx(volumes.loc[name, "spoil_m3"], rel=1e-6)
        assert come == pytest.approx(volumes.loc[name, "fill_needed_m3"], rel=1e-6)
    assert "Heap" in set(hauls["to_id"])
    assert "spoil-no-place" not in "".join(volumes["flag"].fillna(""))


def test_stakes_stand_at_design_levels_and_say_what_the_survey_cannot(built):
    stakes = built.layer("stakes")
    assert stakes["stake_id"].is_unique
    np.testing.assert_allclose(stakes["cut_m"], stakes["ground_m"] - stakes["design_m"], atol=1e-9)
    np.testing.assert_allclose(stakes.geometry.z, stakes["design_m"], atol=1e-9)
    elements = by_element(built, "elements")
    for name in elements.index:
        mine = stakes[stakes["element_id"] == name]
        sills = mine[mine["role"] == "sill"]
        assert len(sills) == 2
        np.testing.assert_allclose(
            sills["design_m"], elements.loc[name, "spill_level_m"], atol=1e-3
        )
        width = built.layer("overflows").set_index("from_id").loc[name, "sill_width_m"]
        assert sills.geometry.iloc[0].distance(sills.geometry.iloc[1]) == pytest.approx(
            width, abs=1e-6
        )
        edge = mine[(mine["role"] == "edge") & (mine["offset_m"] == 0)]
        np.testing.assert_allclose(edge["design_m"], elements.loc[name, "spill_level_m"], atol=1e-3)
    assert (stakes["build_m"] >= stakes["design_m"] - 1e-9).all()
    # 130 m and 1.5 m of sight over it
    np.testing.assert_allclose(stakes["rod_m"], 131.5 - stakes["build_m"], atol=1e-9)
    np.testing.assert_allclose(stakes["rod_ground_m"], 131.5 - stakes["ground_m"], atol=1e-9)
    read = stakes[["rod_m", "rod_ground_m"]]
    off = (read.min(axis=1) < 0) | (read.max(axis=1) > 5)
    assert (stakes["flag"].fillna("").str.contains("off-rod") == off).all()
    beyond = stakes[stakes["tolerance_m"] < 1.96 * np.sqrt(2) * 0.10]
    fine = stakes["flag"].fillna("").str.contains("level-on-site")
    assert set(stakes[fine]["element_id"]) == set(beyond["element_id"])
    assert stakes[fine]["element_id"].is_unique  # once an element, not on every stake
    own = stakes[stakes["role"].isin(["floor", "crest", "edge"])]
    assert (
        own["tolerance_m"] <= own["role"].map({"floor": 0.03, "crest": 0.05, "edge": 0.1})
    ).all()
    assert not (stakes["tolerance_m"] > stakes["bears_m"]).any()
    said = stakes["say"].fillna("").str.contains("level on site before digging")
    assert (said == fine).all()


def test_a_pad_is_brought_to_its_plane_and_staked(built):
    pad = built.layer("pads").set_index("element_id").loc["Yard"]
    assert pad["falls_to_deg"] == pytest.approx(180)
    assert pad["fall_pct"] == pytest.approx(1.0)
    middle = pad.geometry.centroid
    stakes = built.layer("stakes").query("element_id == 'Yard' and offset_m == 0")
    assert {"edge", "plane"} == set(stakes["role"])
    # it falls southwards at 1 %
    plane = pad["level_m"] + 0.01 * (stakes.geometry.y - middle.y)
    np.testing.assert_allclose(stakes["design_m"], plane, atol=1e-3)
    volumes = by_element(built, "earth_volumes").loc["Yard"]
    # at the mean level of the ground it takes about as much as it gives
    assert volumes["cut_m3"] > 5
    assert volumes["fill_m3"] == pytest.approx(volumes["cut_m3"], rel=0.25)
    assert not built.table("design_proof")["element_id"].eq("Yard").any()


def test_lines_that_are_asked_for_are_staked_at_their_level(built):
    lines = built.layer("keylines").set_index("keyline_id")
    stakes = built.layer("stakes").query("role == 'mark'")
    assert len(lines)
    assert set(stakes["element_id"]) == {f"Keyline {number}" for number in lines.index}
    for number, line in lines.iterrows():
        mine = stakes[stakes["element_id"] == f"Keyline {number}"]
        np.testing.assert_allclose(mine["design_m"], line["level_m"], atol=1e-9)
        assert mine["chainage_m"].max() == pytest.approx(line.geometry.length)
        assert mine.geometry.distance(line.geometry).max() < 1e-6
        told = mine["say"].str.contains("level on site before digging")
        assert told.iloc[0]
        assert told.sum() == 1  # once a line, not at every stake


def test_the_bill_follows_the_order_of_building(built):
    steps = built.table("building_steps")
    order = [(row.action, row.element_id) for row in steps.itertuples()]
    assert order == [
        ("make safe", "Brook"), ("dig", "Yard"), ("dig", "Upper pond"), ("dig", "Lower basin"),
        ("open overflow", "Upper pond"), ("open overflow", "Lower basin"),
    ]  # fmt: skip
    bill = built.table("bill")
    due = bill["step"][bill["step"] > 0]
    assert due.is_monotonic_increasing
    # stakes on lines that are not dug fall due with no step and come last
    assert set(bill["item"][len(due) :]) == {"set_out"}
    cut = bill[bill["item"] == "cut"].set_index("element_id")
    np.testing.assert_allclose(cut["cost"], 4.0 * cut["amount"])
    np.testing.assert_allclose(
        cut["amount"], by_element(built, "earth_volumes")["spoil_m3"][cut.index]
    )
    assert bill[bill["item"] == "fill"]["cost"].isna().all()
    staked = built.layer("stakes")["element_id"].value_counts()
    each = bill[bill["item"] == "set_out"].set_index("element_id")["amount"]
    assert each.to_dict() == staked.to_dict()


def test_exchange_files_are_read_by_others(built):
    folder = built.results / "stakes"
    stakes = built.layer("stakes")
    with fiona.open(folder / "site.gpx", layer="waypoints") as file:
        assert {row["properties"]["name"] for row in file} == set(stakes["stake_id"])
    with fiona.open(folder / "site.dxf") as file:
        drawn = {row["properties"]["Layer"] for row in file}
    assert {"stakes", "elements", "contours", "overflows", "stakes_text"} <= drawn
    assert len(json.loads((folder / "stakes.geojson").read_text())["features"]) == len(stakes)
    table = pd.read_csv(folder / "stakes.csv")
    np.testing.assert_allclose(table["easting_m"], stakes.geometry.x, atol=5e-4)
    np.testing.assert_allclose(table["build_m"], stakes["build_m"], atol=5e-4)
    logger = pd.read_csv(folder / "stakes_for_logger.csv", header=None)
    np.testing.assert_allclose(logger[1], stakes.geometry.y, atol=5e-4)
    root = ET.parse(folder / "site.xml").getroot()
    space = {"x": "http://www.landxml.org/schema/LandXML-1.2"}
    surfaces = {one.attrib["name"]: one for one in root.iterfind(".//x:Surface", space)}
    assert set(surfaces) == set(stakes.query("role != 'mark'")["element_id"])
    # an independent reading of the plane: between its triangles, at the stakes
    yard = stakes.query("element_id == 'Yard' and role == 'plane'")
    np.testing.assert_allclose(_surface(surfaces["Yard"])(yard.geometry.x, yard.geometry.y),
                               yard["build_m"], atol=0.011)  # fmt: skip
    edge = stakes[(stakes["element_id"] == "Upper pond") & (stakes["role"] == "edge")]
    edge = edge[edge["offset_m"] == 0]
    # the edge is a bend of the surface, which cells of 0.25 m round off
    found = _surface(surfaces["Upper pond"])(edge.geometry.x, edge.geometry.y)
    np.testing.assert_allclose(found, edge["build_m"], atol=0.08)


def test_staking_sheets_show_every_element_and_every_stake(built):
    text = (built.results / "stakes" / "sheets.html").read_text(encoding="utf-8")
    stakes = built.layer("stakes")
    sheets = text.split('id="fittings"')[0].split('<section class="page sheet" id="sheet-')[1:]
    assert len(sheets) == stakes["element_id"].nunique()
    for sheet in sheets:
        name = re.search(r"<h2[^>]*>([^<]+?) <small>", sheet)[1]
        mine = stakes[stakes["element_id"] == name].set_index("stake_id")
        rows = re.findall(r"(<th scope=\"row\">.*?)</tr>", sheet)
        cells = [re.sub(r"<[^>]+>", "|", row).split("|") for row in rows]
        cells = [[cell for cell in row if cell] for row in cells]
        assert {f"{name}-{row[0].removesuffix(' ●')}" for row in cells} == set(mine.index)
        assert len(cells) == len(mine)
        for row in rows:
            stake = mine.loc[f"{name}-{re.search('>([^<]+)</th>', row)[1].removesuffix(' ●')}"]
            assert f"<td>{stake['build_m']:.3f}</td>" in row
            says = "●" in row
            assert says == ("level-on-site" in (stake["flag"] or ""))
        assert sheet.count("<svg") >= 2  # a plan, then pages of sections
        cut = set(built.table("profiles").set_index("element_id").loc[name, "kind"])
        usual = {"along"} if name.startswith("Keyline") else {"across", "along"}
        assert cut == usual | ({"sill"} if name in ("Upper pond", "Lower basin") else set())
    assert "Level of the line of sight</dt><dd>131.500" in text


def test_sections_over_a_sill_pass_between_its_stakes_at_its_level(built):
    cuts, elements = built.table("profiles"), by_element(built, "elements")
    for name, rows in cuts[cuts["kind"] == "sill"].groupby("element_id"):
        nearest = built.layer("stakes").query("element_id == @name and role == 'sill'")
        middle = nearest.geometry.union_all().centroid
        gap = np.hypot(rows["x_m"] - middle.x, rows["y_m"] - middle.y)
        near = rows["design_m"][gap < 0.5] - elements.loc[name, "spill_level_m"]
        assert near.abs().min() < 1e-3
        assert near.max() < 1e-3


def _surface(one):
    space = {"x": "http://www.landxml.org/schema/LandXML-1.2"}
    north, east, level = _numbers(one.iterfind(".//x:P", space)).T
    faces = _numbers(one.iterfind(".//x:F", space)).astype(int) - 1
    return tri.LinearTriInterpolator(tri.Triangulation(east, north, faces), level)


def _numbers(elements):
    return np.array([[float(part) for part in element.text.split()] for element in elements])


def test_a_swale_whose_sill_stands_over_its_line_leaks_without_wings(site):
    x, y = shapely.get_coordinates(SWALE).astype(int).T
    level = round(float(np.median(site.dem[site.size - 1 - y, x])), 2)
    swale = {"name": "Side swale", "shape": SWALE, "depth_m": 0.5, "level_m": level}
    high = {"name": "High sill", "from_id": "Side swale", "crest_level_m": level + 0.2,
            "sill_width_m": 1.5, "shape": shapely.LineString([(31, 112), (80, 38)])}  # fmt: skip
    changes = {"drawn_swales": [swale], "drawn_ponds": [], "drawn_overflows": [high]}
    run(site, "[earthworks]\nwing_m = 0\n", "--until", "proof", **changes)
    found = by_element(site, "design_proof").loc["Side swale"]
    assert "leaks" in found["flag"]
    assert found["brim_level_m"] < level + 0.12
    run(site, **changes)
    found = by_element(site, "design_proof").loc["Side swale"]
    assert "leaks" not in (found["flag"] or "")
    # topsoil goes into no mound that holds water: what the spoil does not fill is borrowed
    hauls = site.table("spoil_hauls").set_index("to_id").loc[["Side swale"]]
    bill = site.table("bill").query("element_id == 'Side swale'").set_index("item")
    assert bill.loc["form", "amount"] == pytest.approx(SWALE.length)
    borrowed = hauls[hauls["kind"] == "borrow"]["bank_m3"].sum()
    volumes = by_element(site, "earth_volumes").loc["Side swale"]
    lacking = volumes["fill_needed_m3"] - volumes["spoil_m3"]
    from_others = hauls[hauls["kind"] == "other fill"]["bank_m3"].sum()
    assert borrowed + from_others == pytest.approx(lacking)
    assert borrowed > 1
    assert found["brim_level_m"] == pytest.approx(level + 0.2, abs=0.05)


def test_an_overflow_that_the_ground_does_not_lead_to_its_target_is_told(site):
    # The basin is drawn beside the valley floor: nothing leads the pond's water there.
    aside = {"name": "Lower basin", "depth_m": 0.4, "spill_level_m": 126.0,
             "shape": shapely.Point(105, 40).buffer(6)}  # fmt: skip
    pond = plan()["drawn_ponds"][0] | {"spills_to": "Lower basin"}
    run(site, "", "--until", "proof", drawn_ponds=[pond], drawn_basins=[aside])
    found = by_element(site, "design_proof").loc["Upper pond"]
    assert "reaches-other" in found["flag"]
    assert found["reached_id"] == "Brook"


def test_the_flood_is_run_only_where_it_is_asked_for(built, site):
    assert not (built.results / "rasters" / "flood_depth_m.tif").exists()
    assert "flooding" not in built.manifest["stages"]
    tables = "[proof]\nrain_on_grid = true\nafter_h = 0.1\n"
    site.tables = "[storm]\ndepth_mm = 60\nduration_h = 0.5\n" + tables
    site.write_plan(**plan())
    assert site.run("--until", "flooding", "--only", "rasters").code == 0
    levels = by_element(site, "flood_levels")
    assert set(levels.index) == {"Upper pond", "Lower basin"}
    np.testing.assert_allclose(
        levels["difference_m"], levels["flood_peak_m"] - levels["cascade_peak_m"], atol=1e-9
    )
    # two ways of reckoning that share only the ground, the rain and the curve number
    assert levels["difference_m"].abs().max() < 0.15
    depth, speed = site.raster("flood_depth_m"), site.raster("flood_speed_m_s")
    pond = by_element(site, "elements").loc["Upper pond"]
    deepest = levels.loc["Upper pond", "flood_peak_m"] - pond["floor_level_m"]
    assert np.nanmax(depth) == pytest.approx(deepest, abs=0.1)
    assert 0.1 < np.nanmax(speed) < 5


def test_what_is_broken_on_purpose_is_told(site):
    # a house on the way, no outlet, and a boundary that the last overflow has to cross
    corner = np.array([site.west, site.north - site.size])
    house = shapely.transform(shapely.box(76, 50, 84, 56), lambda xy: xy + corner)
    site.write_shapes("keep_out", [house], kind=["building"], setback_m=[0.0], name=["House"])
    site.write_boundary(inset=27)
    run(site, "", "--draft", "--until", "proof", discharge_points=[])
    found = by_element(site, "design_proof")
    assert "at-building" in found.loc["Upper pond", "flag"]
    assert "over-boundary" not in found.loc["Upper pond", "flag"]
    assert "over-boundary" in found.loc["Lower basin", "flag"]
    assert "m outside" in found.loc["Lower basin", "notes"]
    assert "at-building" not in found.loc["Lower basin", "flag"]


def test_water_that_crosses_a_long_basin_the_short_way_is_told(site):
    # 50 m long and 4 m wide, square to the valley: water comes in and leaves in its middle
    trench = {"name": "Trench", "depth_m": 0.4, "shape": shapely.box(55, 36, 105, 40)}
    run(site, "", "--draft", "--until", "proof", drawn_basins=[trench])
    found = by_element(site, "design_proof")
    assert "short-circuit" in found.loc["Trench", "flag"]
    assert "Upper pond" in found.loc["Trench", "notes"]
    assert not found.loc["Upper pond", "flag"]


def test_a_plan_without_elements_has_empty_tables(site):
    run(site, "", "--only", "stakes", drawn_ponds=[], drawn_basins=[])
    for name in ("earth_volumes", "bill", "building_steps", "design_proof"):
        assert len(site.table(name)) == 0
    assert len(site.layer("stakes")) == 0
    layers = {name for name, _ in pyogrio.list_layers(site.results / "site.gpkg")}
    assert {"stakes", "proof_paths"} <= layers
    assert not (site.results / "stakes" / "stakes.csv").exists()
